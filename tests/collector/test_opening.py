"""The start of a run: whatever became of the store's bytes, a collector starts, and no file is lost."""

import random
import shutil

import pytest

from collector.clock import Clock
from collector.opening import open_store
from collector.store.archive import Archive
from tests.collector.stores import HOUR, START, cook_one
from tui.nights import night_settings

PAGE = 4096


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    path = tmp_path_factory.mktemp("whole") / "cooks.db"
    cook_one(path, "old", START - 10 * HOUR)
    cook_one(path, "tonight", START, ended=False)
    return path


def start(path, plan=None):
    plan = plan or night_settings().plan
    return open_store(path, plan, Clock(), cook="", start_unix=START + 1500, keep_days=0, settled_only=False)


@pytest.mark.parametrize("seed", [1, 7, 23, 30, 44, 75, 104, 121])
def test_whatever_became_of_its_bytes_a_collector_starts(whole, tmp_path, seed):
    """Text that is no text any more, columns that are empty and may not be, pages of the list of tables."""
    choose, path = random.Random(seed), tmp_path / "cooks.db"
    shutil.copy(whole, path)
    size = path.stat().st_size
    with path.open("r+b") as file:
        for _ in range(choose.choice([1, 1, 2, 5, 20])):
            length = choose.choice([1, 8, 64, PAGE])
            file.seek(choose.randrange(size - length) if length < PAGE else PAGE * choose.randrange(size // PAGE))
            file.write(choose.randbytes(length) if choose.random() < 0.7 else bytes(length))
    found = start(path)
    found.opened.engine.advance(START + 1600)
    assert found.opened.engine.snapshot().cook == "tonight"
    found.database.close()
    kept = [p for p in tmp_path.iterdir() if ".damaged-" in p.name and not p.name.endswith(("-wal", "-shm"))]
    assert len(kept) == bool(found.set_aside)
    assert all(p.stat().st_size == size for p in kept)
    assert {p.name for p in tmp_path.iterdir() if ".damaged-" not in p.name} == {"cooks.db", "cooks.db.lock"}


def test_a_fault_of_ours_sets_no_sound_store_aside(whole, tmp_path, monkeypatch):
    path = tmp_path / "cooks.db"
    shutil.copy(whole, path)
    with monkeypatch.context() as patched:
        patched.setattr("collector.cooks.rebuild", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            start(path)
    assert {p.name for p in tmp_path.iterdir()} == {"cooks.db", "cooks.db.lock"}
    with Archive(path) as archive:
        assert archive.names() == ["old", "tonight"]
    found = start(path)
    found.database.close()
    assert (found.set_aside, found.opened.resumed) == ("", True)


def test_what_was_read_and_cannot_be_used_is_kept_too(whole, tmp_path, monkeypatch):
    path = tmp_path / "cooks.db"
    path.write_bytes(whole.read_bytes()[:-PAGE] + bytes(PAGE))
    with path.open("r+b") as file:
        file.write(bytes(PAGE))
    rebuilt = []

    def fails_once(*_):
        rebuilt.append(1)
        raise ValueError("makes no sense")

    monkeypatch.setattr("collector.cooks.rebuild", fails_once)
    found = start(path)
    found.database.close()
    assert len(rebuilt) == 1
    assert "makes no sense" in found.set_aside
    assert not found.opened.resumed
    assert len([p for p in tmp_path.iterdir() if ".damaged-" in p.name]) == 2
