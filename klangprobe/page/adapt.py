"""From a trial, its arrangements and the survey to what the page shows."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import numpy as np

from compare.acting import steps_here
from klangprobe.page.model import BarsPage, Difference, Figure, PassagePage, Picture, VariantPage
from klangprobe.page.players import ROOM

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from compare.changes import Change
    from compare.heard import Heard
    from compare.quantity import Measured, Quantity
    from compare.trial import Trial
    from klangprobe.page.engrave import Engraver
    from klangprobe.page.model import StemPage
    from mapping.arrangement import Arrangement
    from mapping.spec import Answer
    from reading.findings import Finding

__all__ = ["passage_page"]

Audio = np.ndarray[Any, np.dtype[np.float32]]

PIANO = "the piano itself"
_QUESTIONS = 3
_FIGURES = 5  # as many as one listens for at a time; the rest lies below
_TITLES = {
    "spectrum": "Where the sound lies, low to high",
    "third-octaves": "The same in bands a third of an octave wide",
    "difference": "What each has more or less of than the first",
    "loudness": "How loud it is, bar by bar",
    "tune": "How much of the melody comes through, bar by bar",
    "spectrograms": "How the sound unfolds",
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
    sounds: Mapping[str, tuple[StemPage, ...]] | None = None,
    slug: str = "",
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
    sounds : mapping of str to tuple of StemPage, optional
        The players' own sounds by variant (:func:`player_sounds`), so that they can be heard one by one.
    slug : str
        Part of its files' names.
    """
    here = _inside(findings, spans)
    given = [answer for answer in answers if answer.finding in {finding.name for finding in here}]
    heard = [*trial.variants, *([trial.piano] if trial.piano else [])]
    acting = {arrangement.variant: steps_here(arrangement, spans) for arrangement in arrangements}
    chosen = {answer.choice for answer in given}
    variants = tuple(
        _variant(item, trial, acting.get(item.variant, ()), chosen, (clips or {}).get(item.variant), sounds or {})
        for item in heard
    )
    where = where or _where(arrangements[0], spans)
    return PassagePage(
        name=trial.passage,
        where=where,
        duration_s=len(heard[0].rendering.mix) / trial.sample_rate_hz,
        variants=variants,
        bars=engraver.passage(spans, heard[0].rendering, f"Piano, {where}") if engraver else BarsPage(),
        questions=tuple(dict.fromkeys(finding.question for finding in here))[:_QUESTIONS],
        answers=tuple(_answer(answer) for answer in given),
        differences=_differences(trial, acting),
        figures=_figures(heard, len(trial.variants)),
        pictures=_pictures(plots or {}, trial),
        notes=_notes(heard, trial),
        players=_players(arrangements[0], variants),
        slug=slug,
    )


def _notes(heard: Sequence[Heard], trial: Trial) -> tuple[str, ...]:
    """What the listener should know: variants that are one and the same here, and what comparing and rendering say."""
    alike = [
        f"In these bars ‘{second.variant}’ sounds exactly as ‘{first.variant}’."
        for first, second in combinations(trial.variants, 2)
        if np.array_equal(first.rendering.mix, second.rendering.mix)
    ]
    warnings = (note for item in heard for note in item.rendering.warnings)
    return tuple(dict.fromkeys((*alike, *trial.notes, *warnings)))


def _players(arrangement: Arrangement, variants: Sequence[VariantPage]) -> tuple[str, ...]:
    """Players that sound in some variant, in score order; the room last."""
    sounding = {stem.name for variant in variants for stem in variant.stems}
    return tuple(name for name in (*(part.player.name for part in arrangement.parts), ROOM) if name in sounding)


def _inside(findings: Sequence[Finding], spans: tuple[tuple[int, int], ...]) -> list[Finding]:
    """Return findings that begin inside the passage, the most pressing first."""
    here = [finding for finding in findings if any(first <= finding.first_bar_index <= last for first, last in spans)]
    return sorted(here, key=lambda finding: (finding.rank, -finding.strength))


def _differences(trial: Trial, acting: Mapping[str, tuple[str, ...]]) -> tuple[Difference, ...]:
    """Say what changed between every two variants, those with the first before the others."""
    first = trial.variants[0].variant
    changes = sorted(trial.changes, key=lambda change: change.first != first)
    return tuple(_difference(change, acting) for change in changes)


def _difference(change: Change, acting: Mapping[str, tuple[str, ...]]) -> Difference:
    """Players, and the figures that moved most; the rest of the figures below.

    Steps stand under *how* already; they are named only where no player has a note more or less through them.
    """
    here = set(acting.get(change.first, ())) | set(acting.get(change.second, ()))
    lines = change.player_sentences
    if not lines:
        lines += [f"New: {step}." for step in change.steps_added if step in here]
        lines += [f"Gone: {step}." for step in change.steps_removed if step in here]
    figures = [f"It {figure.words}." for figure in change.figures]
    lines += figures[:_FIGURES]
    return Difference(
        f"{change.second}, beside {change.first}",
        tuple(lines) or ("In these bars they do not differ by anything one would notice.",),
        tuple(figures[_FIGURES:]),
    )


def _capital(words: str) -> str:
    """Begin a sentence."""
    return words[:1].upper() + words[1:]


def _where(arrangement: Arrangement, spans: tuple[tuple[int, int], ...]) -> str:
    """Bars as printed, in words."""
    numbers = arrangement.score.bar_numbers
    words = ["–".join(dict.fromkeys((numbers[first - 1], numbers[last - 1]))) for first, last in spans]
    return f"{'bar' if len(words) == 1 and '–' not in words[0] else 'bars'} {', '.join(words)}"


def _answer(answer: Answer) -> str:
    """Say a recorded answer as a sentence."""
    because = f", because: {answer.because}" if answer.because else ""
    return f"{answer.choice} (for {answer.finding}){because}"


def _variant(
    heard: Heard,
    trial: Trial,
    steps: tuple[str, ...],
    chosen: set[str],
    clip: Path | None,
    sounds: Mapping[str, tuple[StemPage, ...]],
) -> VariantPage:
    """One variant: its clip as scored, and the factor that makes it as loud as the others."""
    reference = heard is trial.piano
    return VariantPage(
        name=PIANO if reference else heard.variant,
        says="as it stands, with its pedal" if reference else heard.says,
        audio=clip.read_bytes() if clip else _audio(heard.clip("scored"), ".flac", trial.sample_rate_hz),
        gain_matched=heard.gain_matched / heard.gain_scored,
        gain_scored=1.0,
        steps=() if reference else steps,
        stems=() if reference else sounds.get(heard.variant, ()),
        chosen=heard.variant in chosen and not reference,
        reference=reference,
    )


def _audio(samples: Audio, suffix: str, rate: int) -> bytes:
    """Encode to memory."""
    from render.audio import write_audio

    with TemporaryDirectory() as folder:
        path = Path(folder) / f"clip{suffix}"
        write_audio(path, samples, sample_rate=rate)
        return path.read_bytes()


def _figures(heard: Sequence[Heard], variants: int) -> tuple[Figure, ...]:
    """Every measure that has a value for some of *heard*, of which the first *variants* are variants."""
    return tuple(
        _figure(column, variants)
        for column in zip(*(item.measures for item in heard), strict=False)
        if any(item.value is not None for item in column)
    )


def _figure(column: Sequence[Measured], variants: int) -> Figure:
    """One measure; whether it tells the variants apart is judged without the piano."""
    quantity = column[0].quantity
    values = [item.value for item in column[:variants] if item.value is not None]
    return Figure(
        quantity.title,
        tuple("–" if item.value is None else quantity.text(item.value) for item in column),
        f"noticed from {_noticeable(quantity)}",
        differs=any(quantity.differs(one, other) for one, other in combinations(values, 2)),
        definition=f"{_capital(quantity.definition).rstrip('.')}. Source: {quantity.source.rstrip('.')}.",
    )


def _noticeable(quantity: Quantity) -> str:
    """Smallest difference worth saying, in words."""
    return f"{quantity.noticeable:.0%}" if quantity.relative else quantity.text(quantity.noticeable)


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
