"""Text from a score file made safe for XML: escaped, and without the signs XML cannot hold."""

from __future__ import annotations

import re
from xml.sax.saxutils import escape

__all__ = ["plain"]

_IMPOSSIBLE = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def plain(text: str) -> str:
    """Return *text* for use in XML, as content or inside double quotes.

    References
    ----------
    Extensible Markup Language (XML) 1.0, fifth edition (W3C), production 2 (Char).
    """
    return escape(_IMPOSSIBLE.sub("", text), {'"': "&quot;"})
