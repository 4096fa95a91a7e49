"""Small passages whose sound says where in the clip one is."""

from __future__ import annotations

import io
import time

import numpy as np

from klangprobe.page import BarsPage, Difference, Figure, PageInfo, PassagePage, Picture, StemPage, VariantPage

RATE_HZ = 48_000
LENGTH_S = 4.0
SLOPE = 0.2  # of the ramp that tells the place: units of full scale per second


def wait(tab, condition: str, seconds: float = 10.0) -> None:
    """Wait until a JavaScript condition holds; the page's policy forbids the eval that Playwright's own wait uses."""
    until = time.monotonic() + seconds
    while not tab.evaluate(condition):
        assert time.monotonic() < until, f"never came true: {condition}"
        tab.wait_for_timeout(20)


def flac(samples: np.ndarray) -> bytes:
    """Encode to FLAC in memory."""
    import soundfile

    stream = io.BytesIO()
    soundfile.write(stream, samples, RATE_HZ, format="FLAC", subtype="PCM_16")
    return stream.getvalue()


def ramp(sign: float) -> np.ndarray:
    """Return a stereo clip whose value tells the place: *sign* times (0.05 + SLOPE × seconds)."""
    line = sign * (0.05 + SLOPE * np.arange(int(LENGTH_S * RATE_HZ)) / RATE_HZ)
    return np.stack([line, line], axis=1).astype(np.float32)


DRAWING = (
    '<svg role="img" aria-label="Piano, bars 1 to 2" viewBox="0 0 100 30" xmlns="http://www.w3.org/2000/svg">'
    '<g class="measure" data-bar="0"><g class="staff"><path d="M0 10 L50 10"/></g>'
    '<g class="note" data-m="0"><ellipse cx="10" cy="10" rx="3" ry="2"/></g></g>'
    '<g class="measure" data-bar="1"><g class="staff"><path d="M50 10 L100 10"/></g>'
    '<g class="note" data-m="1"><ellipse cx="60" cy="10" rx="3" ry="2"/></g></g></svg>'
)


def passage(name: str, **changes) -> PassagePage:
    """Return a passage of two variants (rising and falling ramp) with two players each."""
    halves = flac(ramp(0.5))
    variants = tuple(
        VariantPage(
            says_name,
            says,
            flac(ramp(sign)),
            gain_matched=1.0,
            gain_scored=scored,
            steps=("violins 1 play the melody",),
            stems=(
                StemPage("violins 1", "a", halves, media="audio/flac"),
                StemPage("horn 1", f"b{sign}", flac(ramp(sign / 4)), media="audio/flac"),
            ),
            chosen=sign < 0,
        )
        for says_name, says, sign, scored in (
            ("strings alone", "as the piano has it", 1.0, 0.5),
            ("horns held", "horns keep the harmony", -1.0, 1.0),
        )
    )
    given = {
        "name": name,
        "where": "bars 1–2",
        "duration_s": LENGTH_S,
        "variants": variants,
        "bars": BarsPage(DRAWING, DRAWING, (0.0, 2.0), (("1", 0.0), ("2", 2.0))),
        "questions": ("What gives the resonance?",),
        "answers": ("horns held, because: warmth",),
        "differences": (Difference("horns held, beside strings alone", ("Horn 1 joins.",), ("It is 1 dB louder.",)),),
        "figures": (
            Figure(
                "Loudness as scored", ("−20.0 LUFS", "−18.0 LUFS"), "noticed from 1.0 LUFS on", definition="By BS.1770."
            ),
        ),
        "pictures": (Picture("Where it lies", DRAWING, "Two curves."),),
    }
    return PassagePage(**{**given, **changes})


INFO = PageInfo("Two Bars", "made for this test", soundfont="none", attribution="Free to use.", made_with="a test")
