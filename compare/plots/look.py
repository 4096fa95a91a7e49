"""How every plot looks: ink that follows the page, line styles before colours, note names beside hertz.

A plot must be read in grey, by colour-blind readers, on light and on dark pages, and in print. Variants are therefore
told apart by dash pattern and name first; the colours have mid luminance (at least 3:1 against white and against near
black, WCAG 2.2 criterion 1.4.11) and differ for the common kinds of colour blindness (after Okabe and Ito's set).
In SVG the ink is ``currentColor``: an inlined plot takes the page's text colour, a plot opened by itself or as an image
follows the reader's light or dark setting.
"""

from __future__ import annotations

import base64
import io
import re
import threading
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from base.writing import write_bytes
from compare.scales import midi_to_hz, note_name

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["INK", "STYLES", "Style", "figure", "frequency_axis", "label", "legend", "plain_axes", "save", "style"]

INK = "#010203"
"""Stands for the page's text colour in SVG; in PNG, on white, it is what it is: black."""
_LIGHT_INK, _DARK_INK = "#333333", "#dddddd"
_SALT = "klangprobe"
_LONGEST_LABEL = 40
_LOCK = threading.Lock()  # matplotlib's settings are global; plots may be asked for by several threads

_RC: dict[str, Any] = {
    "svg.hashsalt": _SALT,
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.5,
    "path.simplify": True,
    "axes.unicode_minus": True,
    "text.parse_math": False,  # people may call a variant "$5"
}


@dataclass(frozen=True)
class Style:
    """How one variant's line looks: colour, dash pattern in line widths (empty = solid), width in points."""

    color: str
    dashes: tuple[float, ...]
    width: float

    def line(self) -> dict[str, Any]:
        """Return the style as arguments of matplotlib's line-drawing calls."""
        return {"color": self.color, "linewidth": self.width, "linestyle": (0, self.dashes) if self.dashes else "-"}


STYLES = (
    Style("#2f78b7", (), 1.8),
    Style("#c96a00", (5.0, 1.6), 1.8),
    Style("#1b8a66", (1.2, 1.3), 2.2),
    Style("#b0559f", (7.0, 1.6, 1.2, 1.6), 1.8),
    Style("#8a7a1f", (2.6, 1.2), 1.4),
    Style("#7a7a7a", (9.0, 3.0), 1.4),
)


def style(number: int) -> Style:
    """Return the style of the variant in place *number* (from 0)."""
    return STYLES[number % len(STYLES)]


def label(name: str) -> str:
    """Return a name as it may stand in a plot: no control characters, at most 40 characters, never hidden."""
    plain = _printable(name)
    short = plain if len(plain) <= _LONGEST_LABEL else plain[: _LONGEST_LABEL - 1] + "…"
    return f" {short}" if short.startswith("_") else short  # a leading underscore would keep it out of the legend


def figure(width_in: float = 6.8, height_in: float = 3.3) -> Figure:
    """Return an empty figure without any global plotting state."""
    from matplotlib.figure import Figure

    fig = Figure(figsize=(width_in, height_in))
    fig.patch.set_facecolor("none")
    return fig


def plain_axes(ax: Axes, *, x: str, y: str) -> None:
    """Name the axes, ink them, leave two sides open and draw a light grid."""
    ax.set_xlabel(x, color=INK)
    ax.set_ylabel(y, color=INK)
    ax.set_facecolor("none")
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color(INK)
        ax.spines[side].set_alpha(0.6)
    ax.tick_params(colors=INK, which="both", labelcolor=INK)
    ax.grid(visible=True, color=INK, alpha=0.13, linewidth=0.6)
    ax.minorticks_off()


def frequency_axis(ax: Axes, *, vertical: bool = False, low_hz: float = 40.0, high_hz: float = 16_000.0) -> None:
    """Make one axis logarithmic in hertz and write the C of every octave on the opposite side."""
    axis = ax.yaxis if vertical else ax.xaxis
    (ax.set_yscale if vertical else ax.set_xscale)("log")
    (ax.set_ylim if vertical else ax.set_xlim)(low_hz, high_hz)
    ticks = [hz for hz in (50, 100, 200, 500, 1000, 2000, 5000, 10_000) if low_hz <= hz <= high_hz]
    axis.set_ticks(ticks, labels=[f"{hz // 1000}k" if hz >= 1000 else str(hz) for hz in ticks])
    axis.set_minor_locator(_no_ticks())
    for pitch in range(24, 121, 12):
        hz = float(midi_to_hz(pitch))
        if not low_hz <= hz <= high_hz:
            continue
        where: dict[str, Any] = {"color": INK, "alpha": 0.75, "fontsize": 8}
        if vertical:
            ax.text(1.008, hz, f"– {note_name(pitch)}", transform=ax.get_yaxis_transform(), va="center", **where)
        else:
            where |= {"ha": "center", "va": "bottom", "linespacing": 0.8}
            ax.text(hz, 1.0, f"{note_name(pitch)}\n|", transform=ax.get_xaxis_transform(), **where)


def _no_ticks() -> Any:
    """Locator without ticks."""
    from matplotlib.ticker import NullLocator

    return NullLocator()


def legend(ax: Axes, **where: Any) -> None:
    """Draw the legend with line samples long enough to show the dash pattern."""
    drawn = ax.legend(frameon=False, handlelength=4.2, fontsize=9, **where)
    for text in drawn.get_texts():
        text.set_color(INK)


def save(draw: Callable[[], tuple[Figure, str]], paths: Sequence[Path]) -> None:
    """Draw once and write to every path, by its ending ``.svg`` or ``.png``; equal data give equal bytes.

    Parameters
    ----------
    draw : callable
        Returns the figure and what it shows in words (the accessible name of the SVG).
    paths : sequence of Path
    """
    import matplotlib as mpl

    with _LOCK, mpl.rc_context(_RC), warnings.catch_warnings():  # type: ignore[arg-type]  # keys are literals there
        # Text stays text: the reader's own font has the signs that the measuring font lacks.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        fig, words = draw()
        for path in paths:
            data = _svg(fig, words) if path.suffix == ".svg" else _png(fig)
            write_bytes(path, data)


def _svg(fig: Figure, words: str) -> bytes:
    """Figure as SVG with page ink, a title for screen readers and no date."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    stream = io.StringIO()
    metadata = {"Date": None, "Creator": None, "Format": None, "Type": None}
    FigureCanvasSVG(fig).print_svg(stream, metadata=metadata)  # type: ignore[no-untyped-call]
    text = stream.getvalue().replace(INK, "currentColor")
    text = re.sub(r"(data:image/png;base64,)([^\"]+)", lambda m: m.group(1) + _smaller(m.group(2)), text)
    head = (
        f"<title>{escape(_printable(words))}</title><style>.kp-plot:root{{color:{_LIGHT_INK}}}"
        f"@media (prefers-color-scheme:dark){{.kp-plot:root{{color:{_DARK_INK}}}}}</style>"
    )
    text = re.sub(r"<svg ([^>]*)>", lambda m: f'<svg class="kp-plot" role="img" {m.group(1)}>{head}', text, count=1)
    # Inlined in a page, a plot must neither style what is around it nor repeat the names of another plot's groups.
    text = text.replace(">*{stroke-linejoin", ">.kp-plot *{stroke-linejoin")
    text = re.sub(r"<!DOCTYPE[^>]*>\s*", "", text)
    return re.sub(r'<g id="[^"]*"', "<g", text).encode("utf-8")


def _printable(words: str) -> str:
    """Words without control characters, which XML forbids."""
    return "".join(sign if sign.isprintable() else " " for sign in words)


def _smaller(encoded: str) -> str:
    """Image with a palette in place of four bytes per point: a third of the size."""
    from PIL import Image

    with Image.open(io.BytesIO(base64.b64decode(encoded))) as image:
        stream = io.BytesIO()
        image.convert("RGB").quantize(64, dither=Image.Dither.NONE).save(stream, "PNG", optimize=True)
    return base64.b64encode(stream.getvalue()).decode()


def _png(fig: Figure) -> bytes:
    """Figure as PNG on white, for slides and paper."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    fig.patch.set_facecolor("white")
    stream = io.BytesIO()
    FigureCanvasAgg(fig).print_png(stream, metadata={"Software": None})  # type: ignore[no-untyped-call]
    return stream.getvalue()
