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


@pytest.fixture(scope="session")
def xml():
    """The module musicxml_writer: small documents from text."""
    spec = importlib.util.spec_from_file_location("musicxml_writer", Path(__file__).with_name("musicxml_writer.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def reads(tmp_path):
    """Write a text or bytes to a file and read it as a score."""
    from reading.reader import read

    def made(content, name="score.musicxml", store=None):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read(path, store=store)

    return made
