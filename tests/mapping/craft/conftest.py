"""Shared by the tests of the mapping craft."""

import importlib.util
from pathlib import Path

import pytest


def _module(name):
    """A helper module beside this file, without a package or a path hack."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def build():
    """Scores and arrangements built by hand."""
    return _module("craft_builder")
