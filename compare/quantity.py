"""What a measure measures: a quantity defined once, its reading for one variant, and how a difference is said.

A measure plugin (entry-point group ``klangprobe.measures``) is a class with a ``name``, a ``version``, the tuple of its
``quantities`` and one method::

    def measure(self, sound: Sound) -> dict[str, Reading]

It accepts a :class:`compare.sound.Sound` and must not change it; it returns a reading for any of its quantities (those
left out are shown as "not defined here"); values are finite. It may raise :class:`Undefined` with a reason. Anything
else it raises is reported with the plugin's name and takes nothing else down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar, Protocol

from base.errors import PluginFault
from base.plugins import find, load

if TYPE_CHECKING:
    from collections.abc import Iterable

    from base.plugins import Plugin
    from compare.sound import Sound

__all__ = ["GROUP", "Measure", "Measured", "Quantity", "Reading", "Undefined", "measure_all"]

GROUP = "klangprobe.measures"


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


class Measure(Protocol):
    """What a plugin of the group ``klangprobe.measures`` looks like."""

    name: ClassVar[str]
    version: ClassVar[int]
    quantities: ClassVar[tuple[Quantity, ...]]

    def measure(self, sound: Sound) -> dict[str, Reading]:
        """Return the readings by name of quantity."""
        ...


def measure_all(sound: Sound, names: Iterable[str] | None = None) -> tuple[Measured, ...]:
    """Return what every measure (or those named) reads for *sound*, in fixed order.

    A plugin that fails yields readings without value whose note names it; the others are not touched.

    Raises
    ------
    InputError
        For an unknown name in *names*.
    """
    known = find(GROUP)
    found: list[Measured] = []
    for name in sorted(known) if names is None else names:
        provider = _provider(known[name]) if name in known else ""
        found.extend(_measure_one(load(GROUP, name)(), name, provider, sound))
    return tuple(found)


@cache
def _provider(plugin: Plugin) -> str:
    """Distribution and version of a plugin (reading its metadata takes milliseconds)."""
    return plugin.provider


def _measure_one(plugin: Measure, name: str, provider: str, sound: Sound) -> list[Measured]:
    """Run one plugin and check what it returns."""
    signature = {"measure": name, "version": plugin.version, "provider": provider, **sound.signature}
    try:
        readings = plugin.measure(sound)
        _check(plugin, name, readings)
    except Undefined as reason:
        return [Measured(quantity, None, {}, signature, str(reason)) for quantity in plugin.quantities]
    except Exception as error:  # noqa: BLE001  (a plugin may fail in any way; the reading names it)
        note = f"measure '{name}' ({provider}) failed: {error!r}"
        return [Measured(quantity, None, {}, signature, note) for quantity in plugin.quantities]
    found = []
    for quantity in plugin.quantities:
        reading = readings.get(quantity.name)
        if reading is None:
            found.append(Measured(quantity, None, {}, signature, "too little sound to say"))
        else:
            found.append(Measured(quantity, float(reading.value), reading.detail, signature))
    return found


def _check(plugin: Measure, name: str, readings: dict[str, Reading]) -> None:
    """Raise PluginFault where a plugin returns what it did not declare, or a value that is not a number."""
    known = {quantity.name for quantity in plugin.quantities}
    for key, reading in readings.items():
        if key not in known:
            msg = f"measure '{name}' returned '{key}', which is none of its quantities"
            raise PluginFault(msg)
        if not math.isfinite(reading.value):
            msg = f"measure '{name}' returned {reading.value} for '{key}'"
            raise PluginFault(msg)
