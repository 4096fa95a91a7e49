"""The listening page: passages with their engraved bars, every variant switched at the same sample, the evidence below.

Takes :class:`PassagePage` objects (built by hand, or from a trial by :func:`passage_page`); gives one folder that works
offline, one file that holds everything, or a lesson pack. Times in seconds, gains linear.
"""

from klangprobe.page.adapt import passage_page
from klangprobe.page.engrave import Engraver
from klangprobe.page.model import (
    BarsPage,
    Difference,
    Figure,
    PageInfo,
    PassagePage,
    Picture,
    StemPage,
    VariantPage,
)
from klangprobe.page.pack import write_pack
from klangprobe.page.players import player_sounds
from klangprobe.page.write import light, write_page, write_passage, write_single

__all__ = [
    "BarsPage",
    "Difference",
    "Engraver",
    "Figure",
    "PageInfo",
    "PassagePage",
    "Picture",
    "StemPage",
    "VariantPage",
    "light",
    "passage_page",
    "player_sounds",
    "write_pack",
    "write_page",
    "write_passage",
    "write_single",
]
