"""No circle of imports: the contract is kept, and no module goes round by the front of its own package."""

from __future__ import annotations

import tomllib
from pathlib import Path

import grimp
import pytest
from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def imports():
    """Who imports whom among our modules, with what is imported inside functions and for types alone."""
    stages = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["root_packages"]
    return grimp.build_graph(*stages, cache_dir=None)


def test_the_contract_is_kept(capsys):
    """Stages import to the left only, and inside a stage no imports run in a circle but those the contract names."""
    kept = lint_imports(str(ROOT / "pyproject.toml"), no_cache=True) == EXIT_STATUS_SUCCESS
    assert kept, capsys.readouterr().out


def test_imports_for_types_and_inside_functions_count(imports):
    """A circle is one, too, where an import waits for a call or for the type checker."""
    assert imports.direct_import_exists(importer="compare.measuring", imported="compare.sound")  # for types
    assert imports.direct_import_exists(importer="mapping.spec_check", imported="mapping.orchestra")  # in a function


def test_no_module_asks_the_front_of_its_own_package(imports):
    """A package's ``__init__`` hands on its modules' names, so a module that takes one from there closes a circle."""
    found = set()
    for package in imports.modules:
        own = {module for module in imports.modules if module.startswith(f"{package}.")}
        if imports.find_modules_directly_imported_by(package) & own:
            found |= {(module, package) for module in imports.find_modules_that_directly_import(package) & own}
    assert found == set()
