"""What a measure measures: a quantity defined once, its reading for one variant, and how a difference is said.

What a measure plugin is, and how it is run, is told in :mod:`compare.measuring`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

__all__ = ["Measured", "Quantity", "Reading", "Undefined"]


class Undefined(Exception):
    """The measure has no value for this sound; the text says why."""


@dataclass(frozen=True)
class Quantity:
    """One figure, defined.

    Attributes
    ----------
    name : str
        Identifier in JSON (``standing_sound``).
    title : str
        What a page calls it.
    unit : str
    definition : str
        How it is computed, for who wants to repeat it.
    source : str
        Where the definition or its constants come from.
    meaning : str
        A sentence for a musician; ``{value}`` is replaced by the number with its unit.
    noticeable : float
        Smallest difference worth saying: the larger of the just-noticeable difference and what a re-performance by
        human players would change. In the unit, or as a share (0.17 = 17 %) where ``relative``.
    noticeable_from : str
        Source of that figure.
    more, less : str
        Said of a variant with the higher and with the lower value; ``{amount}`` is the difference with its unit,
        ``{value}`` and ``{reference}`` are the values themselves.
    relative : bool
    least : float
        Where relative: smaller differences than this, in the unit, are never worth saying.
    decimals : int
        For people; data keep every digit.
    matched : bool
        Taken from the loudness-matched clip (True) or from the clip as scored.
    step_unit : str
        Unit of differences, where it is not that of values (LU for LUFS, percentage points for %).
    floor : float or None
        Value that stands for "nothing there".
    from_nothing, to_nothing : str
        Said where the value rises from the floor, or falls to it.
    """

    name: str
    title: str
    unit: str
    definition: str
    source: str
    meaning: str
    noticeable: float
    noticeable_from: str
    more: str
    less: str
    relative: bool = False
    least: float = 0.0
    decimals: int = 1
    matched: bool = True
    step_unit: str = ""
    floor: float | None = None
    from_nothing: str = ""
    to_nothing: str = ""

    def text(self, value: float) -> str:
        """Return the number with its unit, rounded for people."""
        rounded = round(value, self.decimals)
        number = f"{rounded + 0.0:.{self.decimals}f}".replace("-", "−")
        return f"{number} {self.unit}".strip()

    def times_noticeable(self, value: float, reference: float) -> float:
        """Return the difference in units of what is noticeable."""
        share = self.noticeable * min(abs(value), abs(reference))
        step = max(share, self.least) if self.relative else self.noticeable
        apart = abs(value - reference)
        return apart / step if step > 0.0 else (0.0 if apart == 0.0 else 1e9)

    def differs(self, value: float, reference: float) -> bool:
        """Return whether the difference is larger than what is noticeable."""
        return self.times_noticeable(value, reference) > 1.0

    def difference(self, value: float, reference: float) -> str:
        """Return what *value* has more or less than *reference*, in words; empty where it is not noticeable."""
        if not self.differs(value, reference):
            return ""
        if self.floor is not None and min(value, reference) <= self.floor:
            return self.from_nothing if value > reference else self.to_nothing
        phrase = self.more if value > reference else self.less
        if self.relative:
            larger, smaller = max(abs(value), abs(reference)), min(abs(value), abs(reference))
            amount = f"{100.0 * (larger / smaller - 1.0):.0f} %" if smaller > 0.0 else self.text(larger)
        else:
            amount = self.text(abs(value - reference))
        if self.step_unit and not self.relative:
            amount = f"{amount.removesuffix(self.unit).strip()} {self.step_unit}"
        return phrase.format(amount=amount, value=self.text(value), reference=self.text(reference))


@dataclass(frozen=True)
class Reading:
    """One value with what stands behind it (curves per beat, per register …; JSON-ready)."""

    value: float
    detail: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Measured:
    """A quantity as measured for one variant.

    Attributes
    ----------
    quantity : Quantity
    value : float or None
        None where the measure has no value; ``note`` says why.
    detail : dict
    signature : dict
        Measure, version, provider, parameters: enough to know what this number is.
    note : str
    """

    quantity: Quantity
    value: float | None
    detail: dict[str, Any]
    signature: dict[str, Any]
    note: str = ""

    @property
    def sentence(self) -> str:
        """The value as a plain sentence."""
        if self.value is None:
            return f"{self.quantity.title}: not defined here ({self.note})."
        return self.quantity.meaning.format(value=self.quantity.text(self.value))

    def to_json(self) -> dict[str, Any]:
        """Return value, unit, sentence, detail and signature as JSON-ready data."""
        return {
            "value": self.value,
            "unit": self.quantity.unit,
            "title": self.quantity.title,
            "sentence": self.sentence,
            "noticeable": self.quantity.noticeable,
            "relative": self.quantity.relative,
            "detail": self.detail,
            "signature": self.signature,
            "note": self.note,
        }
