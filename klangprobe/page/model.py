"""What the page shows, as plain data: no sound library, no notation library, nothing computed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from compare.naming import file_names

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "BarsPage",
    "Difference",
    "Figure",
    "PageInfo",
    "PassagePage",
    "Picture",
    "StemPage",
    "VariantPage",
    "page_slugs",
]


@dataclass(frozen=True)
class PageInfo:
    """What stands at the head and foot of the page.

    Attributes
    ----------
    title, composer, arranger : str
        Of the piece; composer and arranger may be empty.
    soundfont : str
        Name and version of the sound, for the foot.
    attribution : str
        Licence and author of the soundfont and of the piece, as they ask to be named.
    made_with : str
        Program and version.
    notes : tuple of str
        What every listener should know (a small soundfont served, a preset was missing …).
    """

    title: str
    composer: str = ""
    arranger: str = ""
    soundfont: str = ""
    attribution: str = ""
    made_with: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class BarsPage:
    """The engraved piano bars of a passage and when they sound.

    Attributes
    ----------
    wide, narrow : str
        SVG markup for a page column and for a telephone. A note carries ``data-m`` (row of ``moments_s``), a bar
        carries ``data-bar`` (row of ``bars``).
    moments_s : tuple of float
        Seconds from the first sample at which the notes of each moment begin, rising.
    bars : tuple of (str, float)
        Printed number and start in seconds of every bar.
    font_css : str
        Rule for the notation font in texts (metronome marks); the page carries it once.
    """

    wide: str = ""
    narrow: str = ""
    moments_s: tuple[float, ...] = ()
    bars: tuple[tuple[str, float], ...] = ()
    font_css: str = ""


@dataclass(frozen=True)
class StemPage:
    """One player's sound.

    Attributes
    ----------
    name, key : str
        Equal keys mean equal *audio*, which is stored once.
    audio : bytes
        Encoded, at a level of its own.
    gain : float
        Linear factor that brings *audio* to the level it has in the variant's clip.
    media : str
        Media type of *audio*.
    """

    name: str
    key: str
    audio: bytes
    gain: float = 1.0
    media: str = "audio/ogg"


@dataclass(frozen=True)
class VariantPage:
    """One variant of a passage.

    Attributes
    ----------
    name, says : str
        From the spec.
    audio : bytes
        The mix, encoded; all variants of a passage have one length.
    media : str
        Media type of *audio*.
    gain_matched, gain_scored : float
        Linear factors on *audio*: all variants equally loud, and weight differences kept.
    steps : tuple of str
        What it does, in words.
    stems : tuple of StemPage
        Its players; their sum is the clip. May be empty.
    chosen : bool
        The recorded answer.
    reference : bool
        Not a variant but what the variants come from: the piano.
    """

    name: str
    says: str
    audio: bytes
    media: str = "audio/flac"
    gain_matched: float = 1.0
    gain_scored: float = 1.0
    steps: tuple[str, ...] = ()
    stems: tuple[StemPage, ...] = ()
    chosen: bool = False
    reference: bool = False


@dataclass(frozen=True)
class Figure:
    """One measure for every variant.

    Attributes
    ----------
    title : str
    values : tuple of str
        In words with unit, one per variant.
    meaning : str
        A few words under the title.
    differs : bool
        Whether any two variants differ by more than is noticeable; the others are folded away.
    definition : str
        How it is computed and where that comes from; explained once for the whole page.
    """

    title: str
    values: tuple[str, ...]
    meaning: str = ""
    differs: bool = True
    definition: str = ""


@dataclass(frozen=True)
class Difference:
    """What one variant has otherwise than another.

    Attributes
    ----------
    title : str
        ``horns held, beside plain``.
    lines : tuple of str
        What matters most, as sentences or parts of sentences.
    more : tuple of str
        Smaller differences, shown when asked for.
    """

    title: str
    lines: tuple[str, ...]
    more: tuple[str, ...] = ()


@dataclass(frozen=True)
class Picture:
    """A plot: SVG file content, title, and the sentence read out in its place."""

    title: str
    svg: str
    description: str


@dataclass(frozen=True)
class PassagePage:
    """One passage, complete.

    Attributes
    ----------
    name, where : str
        Name from the spec; the bars in words (``bars 9–16``).
    duration_s : float
        Of every clip.
    variants : tuple of VariantPage
    bars : BarsPage
    questions : tuple of str
        The survey's questions to these bars, the most pressing first.
    answers : tuple of str
        The recorded answers with their reasons.
    differences : tuple of Difference
        Every variant beside the first, then the other pairs.
    figures : tuple of Figure
    pictures : tuple of Picture
    notes : tuple of str
        Silent variants, short passages, missing presets.
    players : tuple of str
        Names in score order of those who have stems.
    slug : str
        Part of its files' names, distinct within the page; made from the name where empty.
    """

    name: str
    where: str
    duration_s: float
    variants: tuple[VariantPage, ...]
    bars: BarsPage = BarsPage()
    questions: tuple[str, ...] = ()
    answers: tuple[str, ...] = ()
    differences: tuple[Difference, ...] = ()
    figures: tuple[Figure, ...] = ()
    pictures: tuple[Picture, ...] = ()
    notes: tuple[str, ...] = ()
    players: tuple[str, ...] = ()
    slug: str = ""


def page_slugs(passages: Sequence[PassagePage]) -> tuple[str, ...]:
    """Return the part of its files' names for every passage: the one it has, or one made from its name."""
    given = tuple(passage.slug for passage in passages)
    names = file_names(passage.name for passage in passages)
    return given if all(given) else tuple(names[passage.name].lower() for passage in passages)
