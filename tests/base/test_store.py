"""The cache gives back what was put, survives damage and other processes, and keeps to its limit."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest

from base.store import Store, StoreWarning


def _filled(store: Store, *keys: str, size: int = 100) -> None:
    for position, key in enumerate(keys):
        store.put(key, {"a": np.full(size, position, np.int64)}, {"n": position})
        os.utime(store.path(key), (1_000_000 + position, 1_000_000 + position))


def test_what_is_put_comes_back(tmp_path) -> None:
    """Arrays and facts return with dtype and value unchanged."""
    store = Store(tmp_path)
    array = np.array([(1, 2.5)], np.dtype([("a", "<i4"), ("b", "<f4")]))
    store.put("ab12", {"table": array}, {"words": "é", "n": [1, None]})
    arrays, meta = store.get("ab12")
    assert arrays["table"].dtype == array.dtype
    assert arrays["table"].tolist() == array.tolist()
    assert meta == {"words": "é", "n": [1, None]}


def test_an_absent_entry_is_none(tmp_path) -> None:
    """Asking for what was never put is not an error."""
    assert Store(tmp_path).get("ffff") is None


@pytest.mark.parametrize("damage", [b"", b"PK\x03\x04 not really", "half"])
def test_a_damaged_entry_is_noticed_and_dropped(tmp_path, damage) -> None:
    """A truncated or overwritten entry warns, vanishes, and can be made again."""
    store = Store(tmp_path)
    _filled(store, "aa")
    path = store.path("aa")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2] if damage == "half" else damage)
    with pytest.warns(StoreWarning, match="unreadable"):
        assert store.get("aa") is None
    _filled(store, "aa")
    assert store.get("aa")[1] == {"n": 0}


def test_the_oldest_go_first(tmp_path) -> None:
    """Past the limit the least recently used entries are deleted, no more than needed."""
    store = Store(tmp_path)
    _filled(store, "aa", "bb", "cc")
    size = store.path("aa").stat().st_size
    small = Store(tmp_path, limit_bytes=2 * size + 10)
    assert small.trim() == size
    assert [path.stem for _, _, path in small.entries()] == ["bb", "cc"]


def test_what_a_killed_run_left_goes_and_what_a_living_one_writes_stays(tmp_path) -> None:
    """A file aside is deleted once its process is dead, and not before."""
    store = Store(tmp_path)
    _filled(store, "aa")
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    living = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    for process in (dead, living):
        (tmp_path / "aa" / f".aa-{process.pid}-x1y2.part.npz").write_bytes(b"half")
    assert store.trim() == len(b"half")
    names = [path.name for path in (tmp_path / "aa").iterdir()]
    living.communicate(b"\n")
    assert sorted(names) == [f".aa-{living.pid}-x1y2.part.npz", "aa.npz"]


def test_an_unwritable_folder_is_a_warning(tmp_path) -> None:
    """Work goes on without a cache where none can be written."""
    (tmp_path / "file").write_text("in the way")
    with pytest.warns(StoreWarning, match="cannot be written"):
        Store(tmp_path / "file").put("aa", {"a": np.zeros(1)})


def test_processes_share_the_folder(tmp_path) -> None:
    """Several processes writing one key at once leave one whole entry and nothing else."""
    code = (
        "import sys, numpy as np; from pathlib import Path; from base.store import Store\n"
        "s = Store(Path(sys.argv[1]))\n"
        "for _ in range(20): s.put('aabb', {'a': np.arange(5000)}, 1); assert s.get('aabb')[1] == 1"
    )
    jobs = [subprocess.Popen([sys.executable, "-W", "error", "-c", code, str(tmp_path)]) for _ in range(3)]
    assert [job.wait() for job in jobs] == [0, 0, 0]
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == ["aabb.npz"]
