"""Shared by the tests of reading."""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def form_builder():
    """The module form_builder, without a package or a path hack."""
    spec = importlib.util.spec_from_file_location("form_builder", Path(__file__).with_name("form_builder.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
