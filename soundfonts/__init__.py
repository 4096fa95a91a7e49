"""Which soundfonts there are, where they lie, and how loud each of their presets really is.

In: nothing, or the path of a soundfont. Out: :class:`Font` (a file with its licence and checksum), and the tables that
turn a sound power into a key velocity and a gain. Start with :func:`default`.
"""

from soundfonts.catalogue import KNOWN, KnownFont
from soundfonts.installed import Font, default, find, open_font

__all__ = ["KNOWN", "Font", "KnownFont", "default", "find", "open_font"]
