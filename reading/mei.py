"""MEI into the draft: the format itself, and the road by which kern and ABC come in (through verovio's export).

Onsets are counted from the encoding, layer by layer; nothing is unfolded.

References
----------
Music Encoding Initiative Guidelines 5, chapters 4 (Common Music Notation) and 2.3 (shared events).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from base.errors import ScoreError
from reading.draft import RawBar
from reading.mei_controls import read_control
from reading.mei_heads import LayerReader
from reading.mei_score import number_of, parts_of, read_score_def, title_of
from reading.mei_state import MeiState
from reading.safety import parse_xml

if TYPE_CHECKING:
    from pathlib import Path

    from reading.draft import Draft

__all__ = ["MeiReader", "read_mei"]


def read_mei(data: bytes, path: Path) -> Draft:
    """Return what an MEI document holds.

    Parameters
    ----------
    data : bytes
        The document.
    path : Path
        For messages.

    Raises
    ------
    ScoreError
        Where it is not MEI, or says something impossible (with the bar).
    """
    root = parse_xml(data, path)
    for element in root.iter():
        if isinstance(element.tag, str):
            element.tag = element.tag.rpartition("}")[2]
    if root.tag not in ("mei", "music"):
        raise ScoreError(f"an XML file, but not a score: its root is <{root.tag}>", path=path)
    return MeiReader(root, path).read()


class MeiReader(MeiState):
    """Walks through the score; what it knows on the way is the state that the readers of its parts share."""

    def read(self) -> Draft:
        """Walk through the first movement of the document."""
        self.draft.title, self.draft.composer = title_of(self.root)
        score = self.root.find(".//score")
        if score is None:
            raise ScoreError("the document holds no score", path=self.path)
        try:
            parts_of(self, score)
            self._section(score)
        except (ValueError, OverflowError) as error:
            bars = self.draft.bars
            place = f"after bar {bars[-1].number}" if bars else "at the beginning"
            raise ScoreError(str(error), path=self.path, place=place, hint="Mend it in the score program.") from error
        for element, bar in self.controls:
            try:
                read_control(self, element, bar)
            except (ValueError, OverflowError, ZeroDivisionError) as error:
                raise self._bad(error, bar, element) from error
        self._tie()
        self._accidentals()
        for bar in self.draft.bars:
            if bar.filled > bar.nominal:
                text = f"holds {bar.filled / 10_080:g} quarters where its metre asks for {bar.nominal / 10_080:g}; kept"
                self.draft.repair("long bar", text, bar.index)
        self.draft.place()
        return self.draft

    def _accidentals(self) -> None:
        """Say so where a document leaves the key signature to the reader; MEI gives sounding accidentals at notes."""
        keyed = any(bar.fifths for bar in self.draft.bars)
        if keyed and not any(
            note.get("accid.ges") or note.find("accid") is not None for note in self.root.iter("note")
        ):
            text = "no note has a sounding accidental (accid.ges), though there is a key signature; read as written"
            self.draft.lose("accidentals", text)

    def _bad(self, error: Exception, bar: RawBar, element: Any) -> ScoreError:
        """Return the error with its place."""
        place = f"bar {bar.number} (line {element.sourceline})"
        return ScoreError(str(error), path=self.path, place=place, hint="Mend it in the score program.")

    def _section(self, parent: Any) -> None:
        """Sections, endings, measures and changes of metre or key, in order."""
        for child in parent:
            tag = child.tag
            if tag in ("section", "expansion", "part", "parts"):
                self._section(child)
            elif tag == "ending":
                bits = number_of(child.get("n"), 0)
                before, self.volta = self.volta, 1 << (bits - 1) if 1 <= bits <= 32 else 0
                self._section(child)
                self.volta = before
            elif tag in ("scoreDef", "staffDef"):
                read_score_def(self, child)
            elif tag == "measure":
                self._measure(child)

    def _measure(self, element: Any) -> None:
        """One measure: layers first, then what hangs on them."""
        bar = self._new_bar(element)
        try:
            for staff in element.findall("staff"):
                for layer in staff.findall("layer"):
                    LayerReader(self, bar, number_of(staff.get("n"), 1), layer.get("n") or "1").read(layer)
        except (ValueError, OverflowError, ZeroDivisionError, RecursionError) as error:
            raise self._bad(error, bar, element) from error
        self.controls.extend((child, bar) for child in element if child.tag != "staff")

    def _new_bar(self, element: Any) -> RawBar:
        """Return the bar with its metre, key, repeats and printed number."""
        bars = self.draft.bars
        number = (element.get("n") or (bars[-1].number if bars else "0"))[:16]
        bar = RawBar(len(bars) + 1, 0, number, *self.metre, *self.key, volta=self.volta)
        left, right = element.get("left") or "", element.get("right") or ""
        bar.repeat_start = left in ("rptstart", "rptboth")
        bar.repeat_end = 2 if right in ("rptend", "rptboth") else 0
        bar.double_bar = right in ("dbl", "end", "rptend", "rptboth", "dbldashed", "dblheavy")
        bar.xml_id = element.get("{http://www.w3.org/XML/1998/namespace}id") or ""
        bar.implicit = element.get("metcon") == "false"
        if bars and bars[-1].repeat_end == -1:
            bars[-1].repeat_end, bar.repeat_start = 2, True
        if right == "rptboth":
            bar.repeat_end = -1  # the next bar starts a repeat, too
        self.draft.add_bar(bar)
        if self.speed:
            self.draft.mark("tempo", bar.index, 0, value=self.speed)
            self.speed = ""
        return bar

    def _tie(self) -> None:
        """Mark the notes at both ends of every tie."""
        for start, end, bar in self.ties:
            first, last = self.by_id.get(start, []), self.by_id.get(end, [])
            if not first or not last:
                self.draft.repair("tie to nowhere", "a tie without a note at both ends; left out", bar)
            for note in first:
                if any(other.pitch == note.pitch for other in last):
                    note.tie_start = True
            for note in last:
                if any(other.pitch == note.pitch for other in first):
                    note.tie_stop = True
