"""Shared by all tests: the cache goes to a temporary folder, never to the user's own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from pathlib import Path

settings.register_profile("klangprobe", derandomize=True, deadline=None, max_examples=40)
settings.load_profile("klangprobe")


@pytest.fixture(scope="session")
def cache_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One cache for the whole run, so that a score is read once."""
    return tmp_path_factory.mktemp("cache")


@pytest.fixture(autouse=True)
def _own_cache(cache_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Point every test at the run's own cache and user data."""
    monkeypatch.setenv("KLANGPROBE_CACHE", str(cache_folder))
    monkeypatch.setenv("XDG_DATA_HOME", str(cache_folder / "data"))
