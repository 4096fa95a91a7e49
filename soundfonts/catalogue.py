"""The free soundfonts we know: licence, source and checksum.

References
----------
Licences as printed in the Debian copyright files of the packages ``fluid-soundfont-gm`` and ``timgm6mb-soundfont``.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["BETTER_FONT_HINT", "KNOWN", "KnownFont", "known"]


@dataclass(frozen=True)
class KnownFont:
    """A soundfont with a licence that lets one use it here.

    Attributes
    ----------
    name : str
    sha256 : tuple of str
        Of every edition of the file that was seen.
    file_names : tuple of str
        As distributions name it.
    licence : str
        SPDX identifier.
    attribution : str
        The line that goes on a page or into a pack made with it.
    source : str
        Where it comes from.
    debian_package : str
    full : bool
        False for a small font that serves only where nothing better is installed.
    """

    name: str
    sha256: tuple[str, ...]
    file_names: tuple[str, ...]
    licence: str
    attribution: str
    source: str
    debian_package: str
    full: bool


KNOWN = (
    KnownFont(
        name="FluidR3 GM",
        sha256=("74594e8f4250680adf590507a306655a299935343583256f3b722c48a1bc1cb0",),
        file_names=("FluidR3_GM.sf2",),
        licence="MIT",
        attribution="Sound: FluidR3 GM soundfont by Frank Wen, MIT licence.",
        source="https://packages.debian.org/fluid-soundfont-gm",
        debian_package="fluid-soundfont-gm",
        full=True,
    ),
    KnownFont(
        name="TimGM6mb",
        sha256=(
            "c5378b62028c920cb11e4803327983fee2f2cdff5dc89c708e39da417e51c854",
            "82475b91a76de15cb28a104707d3247ba932e228bada3f47bba63c6b31aaf7a1",
        ),
        file_names=("TimGM6mb.sf2",),
        licence="GPL-2.0-only",
        attribution="Sound: TimGM6mb soundfont by Tim Brechbill, GPL 2.",
        source="https://packages.debian.org/timgm6mb-soundfont",
        debian_package="timgm6mb-soundfont",
        full=False,
    ),
)
"""In order of preference."""

BETTER_FONT_HINT = (
    "FluidR3 GM (MIT licence) sounds better: on Debian or Ubuntu, 'apt install fluid-soundfont-gm'; "
    "elsewhere put FluidR3_GM.sf2 into ~/.local/share/soundfonts."
)


def known(sha256: str) -> KnownFont | None:
    """Return what is known of the font with this checksum, or None."""
    return next((font for font in KNOWN if sha256 in font.sha256), None)
