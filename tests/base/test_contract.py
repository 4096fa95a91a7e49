"""The architecture holds: every package on disk has its place in the one-way contract."""

from __future__ import annotations

import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_every_package_is_placed() -> None:
    """A package on disk that neither the contract nor the wheel knows would escape the check."""
    config = tomllib.loads((ROOT / "pyproject.toml").read_text())
    on_disk = {path.parent.name for path in ROOT.glob("*/__init__.py")}
    layers = set(config["tool"]["importlinter"]["contracts"][0]["layers"])
    assert on_disk == layers == set(config["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"])
    assert layers == set(config["tool"]["importlinter"]["root_packages"]) == set(config["tool"]["mypy"]["packages"])
