"""From a trial, its arrangements and the survey to what the page shows."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import numpy as np

from klangprobe.page.model import BarsPage, Figure, PassagePage, Picture, StemPage, VariantPage

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from base.store import Store
    from compare.heard import Heard
    from compare.trial import Trial
    from klangprobe.page.engrave import Engraver
    from mapping.arrangement import Arrangement
    from mapping.spec import Answer
    from reading.findings import Finding

__all__ = ["passage_page"]

Audio = np.ndarray[Any, np.dtype[np.float32]]

PIANO = "the piano itself"
_QUESTIONS = 3
_SILENT = 1e-5  # a player whose samples stay below -100 dB has no stem on the page
_STEM_VERSION = 1
_TITLES = {
    "spectrum": "Where the sound lies, low to high",
    "third-octaves": "The same in bands a third of an octave wide",
    "difference": "What each has more or less of than the first",
    "excitation": "As the ear divides it",
    "spectrogram": "How it unfolds in time",
}


def passage_page(
    trial: Trial,
    arrangements: Sequence[Arrangement],
    spans: tuple[tuple[int, int], ...],
    *,
    where: str = "",
    engraver: Engraver | None = None,
    clips: Mapping[str, Path] | None = None,
    plots: Mapping[str, Path] | None = None,
    findings: Sequence[Finding] = (),
    answers: Sequence[Answer] = (),
    differences: Sequence[tuple[str, Sequence[str]]] = (),
    stems: bool = True,
    store: Store | None = None,
) -> PassagePage:
    """Gather what the page shows of one passage.

    Parameters
    ----------
    trial : Trial
    arrangements : sequence of Arrangement
        Those of the trial's variants, in the same order.
    spans : tuple of (int, int)
        First and last bar index of each stretch of the passage.
    where : str
        The bars in words; made from *spans* where empty.
    engraver : Engraver, optional
        Without it the page has no bars.
    clips : mapping of str to Path, optional
        FLAC files of the clips *as scored* by variant, if they are written already; encoded here otherwise.
    plots : mapping of str to Path, optional
        SVG files by kind, in the order to show.
    findings : sequence of Finding
        Of the whole survey; those inside the passage give its question.
    answers : sequence of Answer
        Of the spec; those to findings of the passage are shown.
    differences : sequence of (str, sequence of str)
        A heading and its sentences for each pair of variants; the trial's own where empty.
    stems : bool
        Whether the players can be heard one by one.
    store : Store, optional
        Keeps encoded stems by the stem's key.
    """
    here = _inside(findings, spans)
    given = [answer for answer in answers if answer.finding in {finding.name for finding in here}]
    heard = [*trial.variants, *([trial.piano] if trial.piano else [])]
    scores = [*arrangements, *([None] if trial.piano else [])]
    chosen = {answer.choice for answer in given}
    variants = tuple(
        _variant(item, arrangement, trial, chosen, (clips or {}).get(item.variant), stems=stems, store=store)
        for item, arrangement in zip(heard, scores, strict=True)
    )
    where = where or _where(arrangements[0], spans)
    bars = engraver.passage(spans, heard[0].rendering, f"Piano, {where}") if engraver else BarsPage()
    return PassagePage(
        name=trial.passage,
        where=where,
        duration_s=len(heard[0].rendering.mix) / trial.sample_rate_hz,
        variants=variants,
        bars=bars,
        questions=tuple(dict.fromkeys(finding.question for finding in here))[:_QUESTIONS],
        answers=tuple(_answer(answer) for answer in given),
        differences=tuple((head, tuple(lines)) for head, lines in differences) or _differences(trial),
        figures=_figures(heard),
        pictures=_pictures(plots or {}, trial),
        notes=tuple(dict.fromkeys((*trial.notes, *(note for item in heard for note in item.rendering.warnings)))),
    )


def _inside(findings: Sequence[Finding], spans: tuple[tuple[int, int], ...]) -> list[Finding]:
    """Return findings that begin inside the passage, the most pressing first."""
    here = [finding for finding in findings if any(first <= finding.first_bar_index <= last for first, last in spans)]
    return sorted(here, key=lambda finding: (finding.rank, -finding.strength))


def _differences(trial: Trial) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Say what changed between every two variants, those with the first before the others."""
    first = trial.variants[0].variant
    changes = sorted(trial.changes, key=lambda change: change.first != first)
    return tuple((f"{change.second}, beside {change.first}", change.sentences) for change in changes)


def _where(arrangement: Arrangement, spans: tuple[tuple[int, int], ...]) -> str:
    """Bars as printed, in words."""
    numbers = arrangement.score.bar_numbers
    words = [
        numbers[first - 1] if first == last else f"{numbers[first - 1]}–{numbers[last - 1]}" for first, last in spans
    ]
    single = len(spans) == 1 and spans[0][0] == spans[0][1]
    return f"{'bar' if single else 'bars'} {', '.join(words)}"


def _answer(answer: Answer) -> str:
    """Say a recorded answer as a sentence."""
    because = f", because: {answer.because}" if answer.because else ""
    return f"{answer.choice} (for {answer.finding}){because}"


def _variant(
    heard: Heard,
    arrangement: Arrangement | None,
    trial: Trial,
    chosen: set[str],
    clip: Path | None,
    *,
    stems: bool,
    store: Store | None,
) -> VariantPage:
    """One variant: its clip as scored, and the factor that makes it as loud as the others."""
    name = heard.variant if arrangement else PIANO
    says = heard.says if arrangement else "as it stands, with its pedal"
    audio = clip.read_bytes() if clip else _audio(heard.clip("scored"), ".flac", trial.sample_rate_hz)
    return VariantPage(
        name=name,
        says=says,
        audio=audio,
        gain_matched=heard.gain_matched / heard.gain_scored,
        gain_scored=1.0,
        steps=tuple(step.words for step in arrangement.steps) if arrangement else (),
        stems=_stems(heard, trial.sample_rate_hz, store) if stems and arrangement else (),
        chosen=name in chosen,
    )


def _stems(heard: Heard, rate: int, store: Store | None) -> tuple[StemPage, ...]:
    """Every player that sounds, at the level it has in the clip as scored; libsndfile encodes in parallel."""
    sounding = [stem for stem in heard.rendering.stems if np.abs(stem.samples).max(initial=0.0) > _SILENT]
    gain = heard.gain_scored

    def encode(row: int) -> StemPage:
        stem = sounding[row]
        key = _stem_key(stem.key, gain)
        return StemPage(stem.name, key, _encoded(stem.samples, gain, rate, key, store))

    with ThreadPoolExecutor(2) as pool:
        return tuple(pool.map(encode, range(len(sounding))))


def _stem_key(key: str, gain: float) -> str:
    """Name of an encoded stem: its sound and its level."""
    from base.identity import digest

    return digest("page stem", _STEM_VERSION, key, gain)


def _encoded(samples: Audio, gain: float, rate: int, key: str, store: Store | None) -> bytes:
    """Ogg Vorbis of a stem, from the cache where it is there."""
    if store and (found := store.get(key)):
        return found[0]["ogg"].tobytes()
    data = _audio(samples * np.float32(gain), ".ogg", rate)
    if store:
        store.put(key, {"ogg": np.frombuffer(data, dtype=np.uint8)})
    return data


def _audio(samples: Audio, suffix: str, rate: int) -> bytes:
    """Encode to memory: FLAC decodes to the sample, Ogg Vorbis keeps the number of samples (no priming gap)."""
    from render.audio import write_audio

    with TemporaryDirectory() as folder:
        path = Path(folder) / f"clip{suffix}"
        write_audio(path, samples, sample_rate=rate)
        return path.read_bytes()


def _figures(heard: Sequence[Heard]) -> tuple[Figure, ...]:
    """Every measure that has a value for some variant; loudness first."""
    loudness = tuple(_lufs(item.loudness_scored.integrated_lufs) for item in heard)
    rows = [
        Figure("Loudness as scored", loudness, "the variants as loud as they are scored, before they are made equal")
    ]
    for column in zip(*(item.measures for item in heard), strict=False):
        quantity = column[0].quantity
        if all(item.value is None for item in column):
            continue
        values = tuple("–" if item.value is None else quantity.text(item.value) for item in column)
        rows.append(Figure(quantity.title, values, f"smallest difference worth saying: {_noticeable(quantity)}"))
    return tuple(rows)


def _noticeable(quantity: Any) -> str:
    """Smallest difference worth saying, in words."""
    return f"{quantity.noticeable:.0%}" if quantity.relative else str(quantity.text(quantity.noticeable))


def _lufs(value: float) -> str:
    """Loudness in words."""
    return f"{value:.1f} LUFS".replace("-", "−") if np.isfinite(value) else "silent"


def _pictures(plots: Mapping[str, Path], trial: Trial) -> tuple[Picture, ...]:
    """Give each plot a sentence for who cannot see it."""
    names = ", ".join(heard.variant for heard in trial.variants)
    return tuple(
        Picture(
            _TITLES.get(kind, kind.replace("-", " ").capitalize()),
            path.read_text(encoding="utf-8"),
            f"{_TITLES.get(kind, kind)}: {names}. The figures above say in numbers what it shows.",
        )
        for kind, path in plots.items()
    )
