"""Read instrument tables in YAML: the built-in one and the user's."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from base.errors import InputError, Problem, SpecError, nearest
from mapping.instrument_types import FAMILIES, Drums, Instrument, Register, Unpitched, midi_of

__all__ = ["build", "read_yaml", "span"]

_PLAIN = (
    "plural", "abbreviation", "family", "section", "staves", "leap", "slide", "notes_at_once", "hand_span",
    "pedal_s", "stop_reach",
)  # fmt: skip
_PAIRS = {"breath_s": ("breath_soft_s", "breath_loud_s"), "repeat": ("repeat_safe_hz", "repeat_max_hz")}
_KNOWN = {
    *_PLAIN, "clefs", "transpose", "written", "safe", "programs", "breath_s", "repeat", "pizzicato", "arpeggio",
    "open_strings", "natural_notes", "drums", "registers", "crooks", "unpitched",
}  # fmt: skip


def read_yaml(path: Path) -> dict[str, Any]:
    """Return a YAML file's mapping; SpecError with line and column where it is not YAML."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError

    try:
        data = YAML(typ="safe", pure=True).load(Path(path).read_text(encoding="utf-8"))
    except MarkedYAMLError as error:
        mark = error.problem_mark
        problem = Problem(str(error.problem or error), *((mark.line + 1, mark.column + 1) if mark else (None, None)))
        raise SpecError([problem], path=path) from error
    except (OSError, UnicodeDecodeError) as error:
        raise SpecError([Problem(f"cannot be read: {error}")], path=path) from error
    if not isinstance(data, dict):
        raise SpecError([Problem("expected a mapping such as 'instruments:' or 'ensembles:'")], path=path)
    return data


def build(
    name: str,
    entry: dict[str, Any],
    defaults: dict[str, str],
    sources: dict[str, str],
    base: Instrument | None = None,
) -> Instrument:
    """Return one instrument from its YAML *entry*.

    Parameters
    ----------
    name : str
    entry : dict
        One row of the table.
    defaults : dict
        Source key of each figure where the entry names none.
    sources : dict
        Source keys, spelt out.
    base : Instrument, optional
        The instrument to start from.

    Raises
    ------
    InputError, KeyError, TypeError, ValueError
        Where the entry does not make an instrument.
    """
    keys = {**defaults, **dict(entry.pop("sources", {}))}
    told = {field: sources.get(key, key) for field, key in keys.items()}
    values = _values(entry, base)
    values["sources"] = {**(base.sources if base else {}), **told}
    values["registers"] = _registers(entry.get("registers"), values, sources, base)
    if base:
        return replace(base, name=name, **values)
    return Instrument(name=name, **values)


def _values(entry: dict[str, Any], base: Instrument | None) -> dict[str, Any]:
    """Return the fields of an instrument named in *entry*."""
    if unknown := sorted(set(entry) - _KNOWN):
        raise InputError(f"unknown key '{unknown[0]}'.", hint=nearest(unknown[0], _KNOWN))
    if entry.get("family", "strings") not in FAMILIES:
        raise InputError(f"unknown family '{entry['family']}'.", hint=nearest(str(entry["family"]), FAMILIES))
    values: dict[str, Any] = {key: entry[key] for key in _PLAIN if key in entry}
    if base is None:
        values.setdefault("plural", "")
        values.setdefault("abbreviation", "")
        values["family"] = entry["family"]
    transpose = int(entry.get("transpose", base.transpose if base else 0))
    values["transpose"] = transpose
    if "unpitched" in entry:
        values["unpitched"] = _unpitched(entry["unpitched"])
        values["low"], values["high"] = values["safe_low"], values["safe_high"] = 0, -1
    elif "written" in entry or base is None:
        low, high = span(entry["written"])
        values["low"], values["high"] = low + transpose, high + transpose
        values["safe_low"], values["safe_high"] = values["low"], values["high"]
    if "safe" in entry:
        values["safe_low"], values["safe_high"] = span(entry["safe"])
    values.update(_technique_values(entry))
    values.update(_string_values(entry))
    if base is None:
        values.setdefault("clefs", ("treble",))
    return values


def _technique_values(entry: dict[str, Any]) -> dict[str, Any]:
    """Return the fields about playing: programs, breath, speed, strings, drums."""
    values: dict[str, Any] = {}
    if "clefs" in entry:
        values["clefs"] = tuple(entry["clefs"])
    if "programs" in entry:
        values["programs"] = {str(key): int(number) for key, number in entry["programs"].items()}
    for key, names in _PAIRS.items():
        if key in entry:
            values.update(zip(names, map(float, entry[key]), strict=True))
    if "crooks" in entry:
        values["crooks"] = {str(key): int(number) for key, number in entry["crooks"].items()}
    if "pizzicato" in entry:
        values["pizzicato_hz"] = float(entry["pizzicato"])
    if "arpeggio" in entry:
        values["poor_arpeggio"] = entry["arpeggio"] == "poor"
    return values


def _string_values(entry: dict[str, Any]) -> dict[str, Any]:
    """Return the fields about strings, natural notes and drums."""
    values: dict[str, Any] = {}
    for key in ("open_strings", "natural_notes"):
        if key in entry:
            values[key] = tuple(midi_of(note) for note in entry[key])
    if "drums" in entry:
        drums = entry["drums"]
        ranges = tuple(span(drum) for drum in drums["ranges"])
        values["drums"] = Drums(ranges, int(drums["usual"]), float(drums["tuning_s"]))
    return values


def _unpitched(entry: dict[str, Any]) -> Unpitched:
    """Return what is known of strokes: General MIDI key, ring, rolls, change, and the key that sounds them."""
    key = int(entry["key"])
    kit_key = int(entry.get("kit_key", key))
    if not all(0 <= number <= 127 for number in (key, kit_key)):
        raise InputError("keys are whole numbers from 0 to 127.")
    facts = float(entry["ring_s"]), bool(entry["rolls"]), float(entry["change_s"])
    return Unpitched(key, *facts, kit_key, int(entry.get("lower", 0)))


def _registers(
    rows: list[dict[str, str]] | None, values: dict[str, Any], sources: dict[str, str], base: Instrument | None
) -> tuple[Register, ...]:
    """Return the registers, each starting a semitone above the one before."""
    if rows is None:
        return base.registers if base else ()
    low = values.get("low", base.low if base else 0)
    found = []
    for row in rows:
        high = midi_of(row["to"])
        source = sources.get(row.get("source", ""), row.get("source", ""))
        limits = row.get("softest", ""), row.get("loudest", "")
        found.append(Register(row["name"], row["character"], low, high, *limits, source))
        low = high + 1
    return tuple(found)


def span(text: str) -> tuple[int, int]:
    """Return the MIDI pitches ``(low, high)`` of a range such as ``Bb3-C6``.

    Raises
    ------
    InputError
        Where it is not two pitches, the lower one first.
    """
    low, _, high = str(text).partition("-")
    bottom, top = midi_of(low), midi_of(high)
    if bottom > top:
        raise InputError(f"the range '{text}' runs downwards.", hint="Write the lower note first.")
    return bottom, top
