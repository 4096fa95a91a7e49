"""Turn an arrangement into believable, balanced sound.

In: :class:`mapping.arrangement.Arrangement`, a range of bars, a soundfont, a stage. Out: stems and their mix, float32
at 48 kHz, named by content. Start with :func:`render.render_variants`; :func:`render.write_audio` makes files.
"""

from render.audio import write_audio
from render.settings import BALANCES, STAGES, RenderSettings
from render.sound import SAMPLE_RATE_HZ, Rendering, Stem
from render.stream import Streamed, stream_mix
from render.variants import prepare, render_variants

__all__ = [
    "BALANCES",
    "SAMPLE_RATE_HZ",
    "STAGES",
    "RenderSettings",
    "Rendering",
    "Stem",
    "Streamed",
    "prepare",
    "render_variants",
    "stream_mix",
    "write_audio",
]
