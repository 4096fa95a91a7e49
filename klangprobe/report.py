"""``report.json``: every figure with its unit, and enough about soundfont, settings and versions to repeat the run."""

from __future__ import annotations

import json
import platform
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

from base.identity import file_digest
from base.writing import write_text
from klangprobe.folder import PROGRAM, REPORT

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from klangprobe.workbench import Workbench

__all__ = ["SCHEMA_VERSION", "report_of", "write_report"]

SCHEMA_VERSION = 1
_LIBRARIES = ("numpy", "scipy", "pyfluidsynth", "soundfile", "verovio", "matplotlib")


def report_of(
    bench: Workbench, passages: Sequence[dict[str, Any]], *, soundfont: dict[str, Any], settings: Any
) -> dict[str, Any]:
    """Return the report of one run; it holds no time of day, so that the same run gives the same report.

    Parameters
    ----------
    bench : Workbench
    passages : sequence of dict
        One per passage, in order.
    soundfont : dict
        Name, checksum, attribution; empty for a synth without font.
    settings : dict
        The choices that shaped the sound.
    """
    import reading
    from klangprobe import __version__

    spec, score = bench.spec, bench.score
    return {
        "program": PROGRAM,
        "version": __version__,
        "schema": SCHEMA_VERSION,
        "piece": {
            "title": spec.piece.title or score.title,
            "composer": spec.piece.composer or score.composer,
            "score": score.source,
            "sha256": score.sha256,
            "bars": len(score.bars),
        },
        "spec": {"file": bench.path.name, "sha256": file_digest(bench.path)},
        "reading": reading.account(score),
        "soundfont": soundfont,
        "settings": settings,
        "versions": {"python": platform.python_version(), **_versions()},
        "passages": list(passages),
        "answers": [answer.model_dump() for answer in spec.answers],
    }


def write_report(folder: Path, report: dict[str, Any]) -> None:
    """Write *report* into *folder*."""
    write_text(folder / REPORT, json.dumps(report, indent=1, ensure_ascii=False, allow_nan=False) + "\n")


def _versions() -> dict[str, str]:
    """Versions of the libraries that shape a figure."""
    found = {}
    for name in _LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found
