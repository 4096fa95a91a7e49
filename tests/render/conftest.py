"""Shared by the tests of sound."""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def make_music():
    """The module make_music, without a package or a path hack."""
    spec = importlib.util.spec_from_file_location("make_music", Path(__file__).with_name("make_music.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
