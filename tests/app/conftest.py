"""One small piece heard once, for all tests of the app."""

from __future__ import annotations

import os
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from klangprobe.cli import main

if TYPE_CHECKING:
    from collections.abc import Callable

DEMO = Path(__file__).resolve().parents[2] / "demo"


@dataclass(frozen=True)
class Ran:
    """What a run of the program gave."""

    code: int
    out: str
    err: str


@pytest.fixture
def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Ran]:
    """Return a function that runs the program in a fresh folder."""
    monkeypatch.chdir(tmp_path)

    def call(*arguments: object) -> Ran:
        monkeypatch.setattr(sys, "argv", ["klangprobe", *map(str, arguments)])
        code = 0
        try:
            main()
        except SystemExit as left:
            code = int(left.code or 0)
        heard = capsys.readouterr()
        return Ran(code, heard.out, heard.err)

    return call


@pytest.fixture(scope="session")
def heard(tmp_path_factory: pytest.TempPathFactory, cache_folder: Path) -> Path:
    """The folder of one passage of the demo in all its variants, heard with the real synth and soundfont."""
    from klangprobe.hearing import Wish, hear

    folder = tmp_path_factory.mktemp("heard")
    shutil.copy(DEMO / "weathercock.musicxml", folder)
    shutil.copy(DEMO / "weathercock.yaml", folder)
    kept = os.environ.get("KLANGPROBE_CACHE")
    os.environ["KLANGPROBE_CACHE"] = str(cache_folder)
    try:
        wish = Wish(folder / "weathercock.yaml", passages=("the shutter",), out=folder / "out", stems=True, pack=True)
        hear(wish)
    finally:
        if kept is not None:
            os.environ["KLANGPROBE_CACHE"] = kept
    return folder
