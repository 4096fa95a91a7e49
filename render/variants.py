"""Variants of one passage as sound, all of one length."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from base.plugins import load
from render.passage import LEAD_S, passage_of
from render.performance import perform
from render.sound import SAMPLE_RATE_HZ, Rendering, Stem
from render.stage import place, seat
from render.stems import sound_stems
from render.voicing import voice
from soundfonts import default, open_font
from soundfonts.calibration import calibration_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from base.store import Store
    from mapping.arrangement import Arrangement, Part
    from reading.score import Score
    from render.passage import Clock, Passage
    from render.performance import Performance
    from render.request import StemSound, Synth
    from render.settings import RenderSettings
    from render.voicing import Voiced
    from soundfonts import Font

__all__ = ["render_variants"]

_FADE_IN_S = 0.050


@dataclass(frozen=True, eq=False)
class _Line:
    """One player's part on its way to sound."""

    part: Part
    performance: Performance
    voiced: Voiced


def render_variants(
    arrangements: Sequence[Arrangement],
    bars: tuple[int, int] | Sequence[tuple[int, int]],
    *,
    passage: str,
    settings: RenderSettings,
    store: Store | None = None,
    workers: int = 2,
    progress: Callable[[int, int], None] | None = None,
) -> list[Rendering]:
    """Return the sound of one passage in every variant.

    Parameters
    ----------
    arrangements : sequence of Arrangement
        At least one, all of the same score.
    bars : (first, last) or sequence of such
        Bar indices from 1, both included; several ranges are heard one after the other.
    passage : str
        Its name.
    settings : RenderSettings
    store : Store, optional
        Cache of stems.
    workers : int
        Threads.
    progress : callable, optional
        Called with stems done and stems in all.

    Returns
    -------
    list of Rendering
        In the order of *arrangements*, all of one length to the sample.

    Raises
    ------
    MissingPart
        Without a soundfont or the synth's library.
    InputError
        For an unknown synth or a soundfont that is none.
    """
    font = (
        open_font(settings.soundfont) if settings.soundfont else (default() if settings.synth == "fluidsynth" else None)
    )
    synth: Synth = load("klangprobe.synths", settings.synth)(font)
    calibration = calibration_of(font)
    span = passage_of(arrangements[0].score, bars, _clock(arrangements[0].score))
    variants: list[list[_Line]] = []
    for arrangement in arrangements:
        lines = []
        for part in arrangement.parts:
            performance = perform(part, span, settings)
            if len(performance.played):
                lines.append(_Line(part, performance, voice(part.player, performance, settings, calibration)))
        variants.append(lines)
    requests = [line.voiced.request for lines in variants for line in lines]
    sounded = iter(sound_stems(requests, synth, store=store, workers=workers, progress=progress))
    stems = [[next(sounded) for _ in lines] for lines in variants]
    length = _length(variants, stems, span, settings)
    about = _about(font, synth, settings)
    return [
        _mixed(arrangement.variant, passage, lines, sounds, span, settings, length, about)
        for arrangement, lines, sounds in zip(arrangements, variants, stems, strict=True)
    ]


def _clock(score: Score) -> Clock:
    """The piece's clock."""
    try:
        from reading import Timeline  # type: ignore[attr-defined,unused-ignore]
    except ImportError:
        return _Steady(score)
    clock: Clock = Timeline(score)
    return clock


class _Steady:
    """Stand-in clock: the first tempo mark holds."""

    def __init__(self, score: Score) -> None:
        mark = next(iter(score.marks_of("tempo")), None)
        self.seconds_per_tick = 60.0 / (float(mark.value) if mark else 90.0) / 10_080

    def seconds(self, ticks: Any) -> Any:
        return np.asarray(ticks) * self.seconds_per_tick


def _length(
    variants: list[list[_Line]], stems: list[list[tuple[str, StemSound]]], span: Passage, settings: RenderSettings
) -> int:
    """Samples of every mix: the longest stem where it sits, and at least the passage."""
    longest = round(span.end_s * SAMPLE_RATE_HZ)
    for lines, sounds in zip(variants, stems, strict=True):
        for line, (_, sound) in zip(lines, sounds, strict=True):
            longest = max(longest, len(sound.samples) + seat(line.part.player, settings.stage).delay_samples)
    return longest


def _mixed(
    variant: str,
    passage: str,
    lines: list[_Line],
    sounds: list[tuple[str, StemSound]],
    span: Passage,
    settings: RenderSettings,
    length: int,
    about: dict[str, Any],
) -> Rendering:
    """One variant: stems on the stage and their sum."""
    stems, warnings = [], []
    mix = np.zeros((length, 2), np.float32)
    for line, (key, sound) in zip(lines, sounds, strict=True):
        where = seat(line.part.player, settings.stage)
        samples = place(sound.samples, where, line.voiced.gain_db, length)
        if line.performance.cut:
            _fade_in(samples)
        mix += samples
        stems.append(Stem(line.part.player.name, samples, key))
        warnings += _warnings(line, sound)
    return Rendering(variant, passage, tuple(stems), mix, span.bar_starts_s(), _onsets(lines), tuple(warnings), about)


def _fade_in(samples: np.ndarray[Any, np.dtype[np.float32]]) -> None:
    """Fade in up to the first bar line, in place: a note struck anew in its middle has no attack."""
    full, count = round(LEAD_S * SAMPLE_RATE_HZ), round(_FADE_IN_S * SAMPLE_RATE_HZ)
    samples[: full - count] = 0.0
    samples[full - count : full] *= np.linspace(0.0, 1.0, count, dtype=np.float32)[:, None]


def _onsets(lines: list[_Line]) -> dict[int, float]:
    """First sounding onset of every piano note."""
    onsets: dict[int, float] = {}
    for line in lines:
        for one in line.performance.played:
            source, start = int(one["source"]), float(one["start_s"])
            if source >= 0:
                onsets[source] = min(start, onsets.get(source, start))
    return dict(sorted(onsets.items()))


def _warnings(line: _Line, sound: StemSound) -> list[str]:
    """What the synth could not do, by player and note."""
    name = line.part.player.name
    found = [f"{name}: the soundfont has no preset bank {bank} program {program}" for bank, program in sound.missing]
    for row, instead in sound.replaced:
        key = int(line.voiced.request.sounds[row]["key"])
        how = "cannot sound" if instead < 0 else f"is sounded from key {instead}, shifted"
        found.append(f"{name}: the soundfont has no sample for key {key}; it {how}")
    return sorted(set(found))


def _about(font: Font | None, synth: Synth, settings: RenderSettings) -> dict[str, Any]:
    """All it takes to repeat the run."""
    choices = asdict(settings)
    choices["soundfont"] = str(settings.soundfont) if settings.soundfont else None
    return {
        "soundfont": font.name if font else None,
        "soundfont_sha256": font.sha256 if font else None,
        "attribution": font.attribution if font else "",
        "advice": font.advice if font else "",
        "synth": synth.identity(),
        "settings": choices,
        "sample_rate_hz": SAMPLE_RATE_HZ,
    }
