"""One passage, its variants, made comparable: the result of this stage and the way to it."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from base.errors import InputError
from compare.changes import Change, change_between, figure_changes
from compare.front import Fronts
from compare.heard import Audio, Heard, finite, hear, heard_json, rounded
from compare.loudness import CEILING_DBTP, TARGET_LUFS, Meter, matching_gains
from compare.scales import third_octave_centres_hz
from compare.sound import Sound
from compare.spectra import smooth
from render.sound import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from concurrent.futures import Executor

    from mapping.arrangement import Arrangement
    from reading.layers import Layers
    from render.sound import Rendering

__all__ = ["Trial", "compare_passage"]

_SILENCE_BETWEEN_S = 0.7


@dataclass(frozen=True, eq=False)
class Trial:
    """One passage with its variants side by side.

    Attributes
    ----------
    passage : str
    sample_rate_hz : int
    variants : tuple of Heard
        In the order given; the first is what the others are compared with.
    piano : Heard or None
        The piano itself, where it was given: matched and measured like a variant.
    matched_lufs : float
        Loudness of every matched clip.
    changes : tuple of Change
        For every pair of variants, the earlier one first.
    against_piano : tuple of Change
        Every variant as seen from the piano (figures only).
    notes : tuple of str
        What the listener should know (silent variants, short passages).
    """

    passage: str
    sample_rate_hz: int
    variants: tuple[Heard, ...]
    piano: Heard | None
    matched_lufs: float
    changes: tuple[Change, ...] = ()
    against_piano: tuple[Change, ...] = ()
    notes: tuple[str, ...] = ()

    def in_turn(self, kind: str = "matched") -> Audio:
        """Return every variant once, in order, with 0.7 s of silence between; float32, shape (n, 2)."""
        silence = np.zeros((round(_SILENCE_BETWEEN_S * self.sample_rate_hz), 2), dtype=np.float32)
        pieces = [self.variants[0].clip(kind)]
        for heard in self.variants[1:]:
            pieces += [silence, heard.clip(kind)]
        return np.concatenate(pieces)

    def in_turn_starts_s(self) -> tuple[float, ...]:
        """Return the second at which each variant begins in the in-turn clip."""
        step = len(self.variants[0].rendering.mix) / self.sample_rate_hz + _SILENCE_BETWEEN_S
        return tuple(number * step for number in range(len(self.variants)))

    def to_json(self) -> dict[str, Any]:
        """Return every figure as JSON-ready data (documented in ``docs/measures.md``)."""
        first = self.variants[0]
        return {
            "name": self.passage,
            "sample_rate_hz": self.sample_rate_hz,
            "matched_lufs": finite(self.matched_lufs),
            "ceiling_dbtp": CEILING_DBTP,
            "notes": list(self.notes),
            "third_octave_hz": rounded(third_octave_centres_hz(), 2),
            "spectrum_hz": rounded(smooth(first.spectrum)[0], 2),
            "variants": [heard_json(heard, first) for heard in self.variants],
            "piano": heard_json(self.piano, first) if self.piano else None,
            "changes": [change.to_json() for change in self.changes],
            "against_piano": [change.to_json() for change in self.against_piano],
        }


def compare_passage(
    renderings: Sequence[Rendering],
    *,
    arrangements: Sequence[Arrangement] | None = None,
    layers: Layers | None = None,
    piano: Rendering | None = None,
    passage: str,
    target_lufs: float = TARGET_LUFS,
    measures: Iterable[str] | None = None,
    fronts: Fronts | None = None,
) -> Trial:
    """Match, measure and compare the variants of one passage.

    Parameters
    ----------
    renderings : sequence of Rendering
        One per variant, all of one length; the first is the one the others are compared with. Variants that are the
        same in these bars may share one mix (the same array); it is measured once.
    arrangements : sequence of Arrangement, optional
        The same variants in the same order; without them there is no account of steps, players and notes, and no
        measure that needs to know which stem has the tune.
    layers : Layers, optional
        Roles of the piano's notes.
    piano : Rendering, optional
        The piano itself, as reference.
    passage : str
        Its name.
    target_lufs : float
        Loudness of the matched clips, where their peaks allow it.
    measures : iterable of str, optional
        Names of measure plugins; default all.
    fronts : Fronts, optional
        Analyses kept from earlier comparisons, so that an edited stem is the only one analysed again.

    Raises
    ------
    InputError
        Where there is nothing to compare, or the renderings do not fit together.
    """
    every = [*renderings, piano] if piano is not None else list(renderings)
    scores: list[Arrangement | None] = list(arrangements) if arrangements else [None] * len(renderings)
    _check(every, passage)
    if len(scores) != len(renderings):
        msg = f"passage '{passage}': {len(renderings)} renderings but {len(scores)} arrangements."
        raise InputError(msg)
    rate = _sample_rate(every)
    known, wanted = fronts or Fronts(), None if measures is None else tuple(measures)
    with ThreadPoolExecutor(max_workers=min(4, os.cpu_count() or 1)) as workers:
        meters = _meters([rendering.mix for rendering in every], rate, workers)
        gains, level = matching_gains(meters, target_lufs=target_lufs)
        scored = _scored_gain(meters[: len(renderings)], level)
        sounds = []
        for rendering, arrangement, meter, gain in zip(every, [*scores, None], meters, gains, strict=False):
            stems = known.of_rendering(rendering, rate) if arrangement else []
            # The piano has no weight in the orchestra to keep: as scored it sounds as loud as matched.
            kept = gain if rendering is piano else scored
            sounds.append(Sound(rendering, rate, meter, gain, kept, tuple(stems), arrangement, layers))
        heard = _heard(sounds, wanted, workers)
    reference = heard.pop() if piano is not None else None
    against = tuple(_against(reference, item) for item in heard) if reference else ()
    return Trial(passage, rate, tuple(heard), reference, level, _changes(heard, scores), against, _notes(heard))


def _meters(mixes: Sequence[Audio], rate: int, workers: Executor) -> list[Meter]:
    """One meter for every mix; the same for mixes that are one array."""
    first = {id(mix): mix for mix in mixes}
    made = dict(zip(first, workers.map(lambda mix: Meter(mix, rate), first.values()), strict=True))
    return [made[id(mix)] for mix in mixes]


def _heard(sounds: Sequence[Sound], measures: Sequence[str] | None, workers: Executor) -> list[Heard]:
    """Measure every variant; one that shares its sound with an earlier one shares its figures."""
    first = {id(sound.rendering.mix): sound for sound in reversed(sounds)}
    made = dict(zip(first, workers.map(lambda sound: hear(sound, measures), first.values()), strict=True))
    return [
        replace(
            made[id(sound.rendering.mix)],
            variant=sound.rendering.variant,
            says=sound.arrangement.says if sound.arrangement else "",
            rendering=sound.rendering,
            gain_matched=sound.gain_matched,
            gain_scored=sound.gain_scored,
        )
        for sound in sounds
    ]


def _against(piano: Heard, heard: Heard) -> Change:
    """One variant as seen from the piano: the figures of the matched clips."""
    return Change(piano.variant, heard.variant, (), (), (), figure_changes(piano, heard, scored=False))


def _changes(heard: Sequence[Heard], arrangements: Sequence[Arrangement | None]) -> tuple[Change, ...]:
    """Compare every pair, the earlier variant first."""
    found = []
    for (first, one), (second, other) in combinations(zip(heard, arrangements, strict=True), 2):
        pair = (one, other) if one is not None and other is not None else None
        found.append(change_between(first, second, pair))
    return tuple(found)


def _check(renderings: Sequence[Rendering], passage: str) -> None:
    """Refuse an empty comparison, two variants of one name and clips of different length."""
    if not renderings:
        msg = f"passage '{passage}' has no variant to compare."
        raise InputError(msg)
    names = [rendering.variant for rendering in renderings]
    if twice := {name for name in names if names.count(name) > 1}:
        msg = f"passage '{passage}' has two variants named '{min(twice)}'."
        raise InputError(msg)
    lengths = {rendering.variant: len(rendering.mix) for rendering in renderings}
    if len(set(lengths.values())) > 1:
        msg = f"the variants of passage '{passage}' differ in length: {lengths} samples."
        raise InputError(msg, hint="Render them in one call, so that all get one length.")
    if not len(renderings[0].mix):
        msg = f"passage '{passage}' holds no sound."
        raise InputError(msg)


def _sample_rate(renderings: Sequence[Rendering]) -> int:
    """Sample rate the renderings say they have, else the project's."""
    rates = {int(rendering.about.get("sample_rate_hz", SAMPLE_RATE_HZ)) for rendering in renderings}
    if len(rates) > 1:
        msg = f"renderings at different sample rates cannot be compared: {sorted(rates)} Hz."
        raise InputError(msg)
    return rates.pop()


def _scored_gain(meters: Sequence[Meter], level_lufs: float) -> float:
    """One gain for all: the loudest variant plays as loud as the matched clips, no peak passes the ceiling."""
    gains, _ = matching_gains(meters, target_lufs=level_lufs)
    heard = [(meter, gain) for meter, gain in zip(meters, gains, strict=True) if np.isfinite(meter.integrated())]
    if not heard:
        return 1.0
    ceiling = 10.0 ** (CEILING_DBTP / 20.0)
    return float(min([gain for _, gain in heard] + [ceiling / meter.true_peak for meter, _ in heard]))


def _notes(heard: Sequence[Heard]) -> tuple[str, ...]:
    """Tell what a listener should know about the clips."""
    notes = [f"{item.variant}: silent in this passage" for item in heard if item.loudness.sample_peak_dbfs == -np.inf]
    if note := heard[0].loudness.note:
        notes.append(note)
    return tuple(notes)
