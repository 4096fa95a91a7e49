"""The architecture holds: every package on disk has its place in the one-way contract."""

from __future__ import annotations

import ast
import tomllib
from importlib import import_module
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_every_package_is_placed() -> None:
    """A package on disk that neither the contract nor the wheel knows would escape the check."""
    config = tomllib.loads((ROOT / "pyproject.toml").read_text())
    on_disk = {path.parent.name for path in ROOT.glob("*/__init__.py")}
    layers = set(config["tool"]["importlinter"]["contracts"][0]["layers"])
    assert on_disk == layers == set(config["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"])
    assert layers == set(config["tool"]["importlinter"]["root_packages"]) == set(config["tool"]["mypy"]["packages"])


def _missing(path: Path, packages: set[str]) -> list[str]:
    """Names a file takes from a package that the package does not give."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imports = [alias for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names]
    known = {alias.asname or alias.name: alias.name for alias in imports if alias.name in packages}
    used = {
        (known[node.value.id], node.attr)
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in known
    }
    return [
        f"{path.relative_to(ROOT)}: {package}.{name}"
        for package, name in used
        if not hasattr(import_module(package), name) and not (ROOT / package / f"{name}.py").exists()
    ]


def test_every_name_taken_from_a_package_is_there() -> None:
    """Packages give their names when first used, so no type checker sees one that is missing: this does."""
    packages = {path.parent.name for path in ROOT.glob("*/__init__.py")}
    files = [path for package in packages for path in (ROOT / package).rglob("*.py")]
    assert [missing for path in files for missing in _missing(path, packages)] == []
