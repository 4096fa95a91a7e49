"""Variants of one passage as sound, all of one length."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from base.identity import digest
from render.dynamics import Dynamics
from render.lines import Line, instrumentarium, lines_of, span_of
from render.mixing import Placing, mixed
from render.room import LENGTH_S, ROOM_VERSION, impulse_response
from render.sound import SAMPLE_RATE_HZ, Rendering, Stem
from render.stage import STAGE_VERSION, fade_in
from render.stems import sound_stems
from soundfonts.balance import power_table

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from concurrent.futures import Executor

    from base.store import Store
    from mapping.arrangement import Arrangement
    from render.lines import Instrumentarium
    from render.passage import Passage
    from render.request import StemSound, Synth
    from render.settings import RenderSettings

__all__ = ["prepare", "render_variants"]

Samples = np.ndarray[Any, np.dtype[np.float32]]


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
    players = instrumentarium(settings)
    score = arrangements[0].score
    with ThreadPoolExecutor(1) as aside:
        aside.submit(_prepare, players.synth, settings)  # meanwhile the notes are performed
        span, dynamics = span_of(score, bars), Dynamics(score)
        variants = [lines_of(one, span, settings, players, dynamics) for one in arrangements]
    requests = [line.voiced.request for lines in variants for line in lines]
    sounded = iter(sound_stems(requests, players.synth, store=store, workers=workers, progress=progress))
    stems = [[next(sounded) for _ in lines] for lines in variants]
    length = _length(variants, stems, span, settings)
    stems.reverse()
    placed_before: dict[str, Stem] = {}
    about = _about(players, settings)
    bar_starts_s = span.bar_starts_s()
    renderings = []
    with ThreadPoolExecutor(max(1, workers)) as pool:
        for arrangement, lines in zip(arrangements, variants, strict=True):
            sounds = stems.pop()  # and so let go, unless a later variant needs some of it again
            placed, mix, room = _on_stage(lines, sounds, length, settings, pool, placed_before)
            said = [text for line, (_, sound) in zip(lines, sounds, strict=True) for text in line.warnings(sound)]
            warnings, onsets = (*players.warnings, *said), _onsets(lines)
            name = arrangement.variant
            renderings.append(Rendering(name, passage, tuple(placed), mix, bar_starts_s, onsets, warnings, about, room))
    return renderings


def prepare(settings: RenderSettings) -> None:
    """Do what needs no notes: find the soundfont, let the synth load it, build the room.

    For a thread of its own while notes are still read and mapped; what fails here fails again where it is told.
    """
    _prepare(instrumentarium(settings).synth, settings)


def _prepare(synth: Synth, settings: RenderSettings) -> None:
    """Let the synth load, build the room."""
    if ready := getattr(synth, "prepare", None):  # a synth need not have it
        ready()
    if settings.room:
        impulse_response()


def _length(
    variants: list[list[Line]], stems: list[list[tuple[str, StemSound]]], span: Passage, settings: RenderSettings
) -> int:
    """Return the samples of every mix: the longest stem where it sits, at least the passage, and the room's tail."""
    longest = round(span.end_s * SAMPLE_RATE_HZ)
    for lines, sounds in zip(variants, stems, strict=True):
        for line, (_, sound) in zip(lines, sounds, strict=True):
            longest = max(longest, len(sound.samples) + line.seat.delay_samples)
    return longest + (round(LENGTH_S * SAMPLE_RATE_HZ) if settings.room else 0)


def _on_stage(
    lines: list[Line],
    sounds: list[tuple[str, StemSound]],
    length: int,
    settings: RenderSettings,
    pool: Executor,
    before: dict[str, Stem],
) -> tuple[list[Stem], Samples, Samples | None]:
    """Place the stems of one variant, sum them, let the room answer; one placed *before* is the same array again."""
    stems, players = [], []
    for line, (key, sound) in zip(lines, sounds, strict=True):
        gain_db = line.voiced.gain_db
        name = digest("placed stem", STAGE_VERSION, key, line.seat, gain_db, line.performance.cut, length)
        known = before.get(name)
        out = known.samples if known else np.zeros((length, 2), np.float32)
        players.append(Placing(_as_heard(line, sound), sound.stretches, line.seat, gain_db, out, known is not None))
        stems.append(Stem(line.part.player.name, out, name))
        before[name] = stems[-1]
    return stems, *mixed(players, length, room=settings.room, pool=pool)


def _as_heard(line: Line, sound: StemSound) -> Samples:
    """Return the synth's samples, faded in where a note had to be struck anew."""
    if not line.performance.cut:
        return sound.samples
    samples = np.zeros_like(sound.samples)
    for first, last in sound.stretches:
        samples[first:last] = sound.samples[first:last]
    fade_in(samples)
    return samples


def _onsets(lines: list[Line]) -> dict[int, float]:
    """First sounding onset of every piano note."""
    onsets: dict[int, float] = {}
    for line in lines:
        for one in line.performance.played:
            source, start = int(one["source"]), float(one["start_s"])
            if source >= 0:
                onsets[source] = min(start, onsets.get(source, start))
    return dict(sorted(onsets.items()))


def _about(players: Instrumentarium, settings: RenderSettings) -> dict[str, Any]:
    """All it takes to repeat the run."""
    choices = asdict(settings)
    choices["soundfont"] = settings.soundfont.name if settings.soundfont else None  # no path: reports are passed on
    font = players.font
    return {
        "soundfont": font.name if font else None,
        "soundfont_sha256": font.sha256 if font else None,
        "attribution": " ".join(dict.fromkeys(one.attribution for one in players.fonts)),
        "further_fonts": {one.name: one.sha256 for one in players.presets.fonts},
        "advice": font.advice if font else "",
        "calibrated": players.calibration.measured,
        "balance_overruled": sorted(name for name, row in power_table().items() if row.sure == "yours"),
        "synth": players.synth.identity(),
        "settings": choices,
        "room_version": ROOM_VERSION if settings.room else None,
        "sample_rate_hz": SAMPLE_RATE_HZ,
    }
