"""The store looked through, copied while it is written, trimmed, compacted; a broken one read at the start."""

import asyncio
import os
import sqlite3
import threading
from pathlib import Path
from types import SimpleNamespace

import pytest

from collector.errors import StoreDamagedError, StoreError
from collector.replay import differences
from collector.snapshot import TrendPoint
from collector.store.archive import Archive
from collector.store.database import Batch, Database
from collector.store.upkeep import back_up, check
from tui.cli import main

PLAN_JSON = '{"chamber":{}}'
HOUR_MS = 3_600_000


def filled(path, cooks=3, readings=2000):
    """Write a store of ended cooks a day apart, one reading a second."""
    database = Database(path)
    begin = 1_750_000_000_000
    for k in range(cooks):
        start = begin + k * 24 * HOUR_MS
        number = database.begin_cook(f"cook {k}", start, PLAN_JSON, "test")
        batch = Batch(series=[(1, "s", "k")])
        batch.rows = [((start + 1000 * i) << 12, 1, 100_000 + i % 7, 0, None, None) for i in range(readings)]
        database.commit(number, batch, full=True)
        database.end_cook(number, start + HOUR_MS)
    return database


def test_a_sound_store_is_called_sound_also_while_it_is_written(tmp_path):
    database = filled(tmp_path / "cooks.db")
    found = check(database.path)
    assert (found.complaints, found.cooks, found.readings) == ((), 3, 6000)
    assert found.bytes > 100_000
    database.close()
    assert check(database.path).readings == 6000


def test_a_broken_page_is_found(tmp_path, capsys):
    path = tmp_path / "cooks.db"
    filled(path).close()
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(size // 2)
        file.write(os.urandom(8192))
    assert main(["store", "check", "--store", str(path)]) == 74
    told = capsys.readouterr()
    assert "malformed" in told.err or "damaged" in told.out


def test_a_copy_is_whole_and_sound_though_the_collector_goes_on_writing(tmp_path):
    database = filled(tmp_path / "cooks.db", readings=20_000)
    enough = threading.Event()
    written = 0

    def write():
        nonlocal written
        number = database.begin_cook("tonight", 1_760_000_000_000, PLAN_JSON, "test")
        while not enough.wait(0.002):
            row = ((1_760_000_000_000 + written) << 12, 1, 1, 0, None, None)
            database.commit(number, Batch(rows=[row]), full=False)
            written += 1

    writer = threading.Thread(target=write)
    writer.start()
    copy = tmp_path / "far" / "copy.db"
    shares = []
    size = back_up(database.path, copy, progress=shares.append)
    enough.set()
    writer.join()
    assert written > 0
    assert size == copy.stat().st_size
    found = check(copy)
    assert found.complaints == ()
    assert 60_000 <= found.readings <= 60_000 + written
    assert shares[-1] == 1.0
    assert sorted(p.name for p in copy.parent.iterdir()) == ["copy.db"]
    assert copy.stat().st_mode & 0o077 == 0
    database.close()


def test_a_copy_that_cannot_be_made_leaves_the_last_one(tmp_path, monkeypatch):
    path, copy = tmp_path / "cooks.db", tmp_path / "copy.db"
    filled(path).close()
    copy.write_text("the last one")
    with pytest.raises(StoreError, match="is the store itself"):
        back_up(path, path)
    monkeypatch.setattr("shutil.disk_usage", lambda _: SimpleNamespace(free=10))
    with pytest.raises(StoreError, match="MB are needed"):
        back_up(path, copy)
    assert copy.read_text() == "the last one"


def test_old_cooks_go_with_all_that_is_theirs_and_their_room_comes_back(tmp_path, capsys):
    path = tmp_path / "cooks.db"
    filled(path, cooks=3, readings=20_000).close()
    words = ["store", "trim", "--store", str(path), "--days", "1"]
    assert main([*words, "--dry-run"]) == 0
    assert "would go: cook 0" in capsys.readouterr().out
    assert check(path).cooks == 3
    with Archive(path) as archive:
        third = archive.cooks()[2]
    database = Database(path)
    with Archive(path) as archive:
        assert database.forget(archive.ended_before(third.started_unix)) == 40_000
    database.close()
    found = check(path)
    assert (found.cooks, found.readings, found.complaints) == (1, 20_000, ())
    assert found.free_bytes > 0.5 * found.bytes
    assert main(["store", "compact", "--store", str(path)]) == 0
    assert "before" in capsys.readouterr().out
    after = check(path)
    assert after.free_bytes == 0
    assert after.bytes < 0.5 * found.bytes
    with Archive(path) as archive:
        assert len(list(archive.rows(archive.cooks()[0]))) == 20_000


def test_nothing_is_compacted_or_trimmed_under_a_collector(tmp_path, capsys):
    database = filled(tmp_path / "cooks.db")
    for words in (["compact"], ["trim", "--days", "1"]):
        assert main(["store", *words, "--store", str(database.path)]) == 74
        assert "another collector is writing here" in capsys.readouterr().err
    database.close()


def test_an_open_cook_is_never_forgotten(tmp_path):
    database = filled(tmp_path / "cooks.db", cooks=1)
    database.begin_cook("tonight", 1_760_000_000_000, PLAN_JSON, "test")
    with Archive(database.path) as archive:
        assert [cook.name for cook in archive.ended_before(2e9)] == ["cook 0"]
        with pytest.raises(ValueError, match="has not ended"):
            database.forget(archive.cooks())
    database.close()


@pytest.mark.parametrize("broken", ["header", "middle"])
async def test_a_damaged_store_is_kept_and_the_night_goes_on_with_what_can_be_read(collecting, pit_config, broken):
    running = collecting(pit_config(1))
    filled(running.store).close()
    with sqlite3.connect(running.store) as db:
        db.execute("UPDATE cook SET ended_ms = NULL WHERE id = 3")
    db.close()
    size = running.store.stat().st_size
    with running.store.open("r+b") as file:
        file.seek(0 if broken == "header" else 4096)
        file.write(os.urandom(4096 if broken == "header" else size - 8192))
    damaged = running.store.read_bytes()
    running.start()
    snapshot = await running.snapshot_when(lambda s: any(m.kind == "store" for m in s.marks))
    text = next(m.text for m in snapshot.marks if m.kind == "store")
    assert "the night goes on with" in text
    assert await asyncio.to_thread(running.stop) == 0
    kept = [p for p in running.folder.iterdir() if ".damaged-" in p.name and not p.name.endswith(("-wal", "-shm"))]
    assert [p.read_bytes() for p in kept] == [damaged]
    with Archive(running.store) as archive:
        assert differences(archive, archive.cooks()[-1]) == []
        cooks = archive.cooks()
    if broken == "header":
        assert [(cook.name, cook.readings) for cook in cooks[:-1]] == [(f"cook {k}", 2000) for k in range(3)]
    assert "is kept as" in (running.folder / "log").read_text()


@pytest.mark.skipif(not Path("/proc/self/io").exists(), reason="only Linux counts what a process writes")
@pytest.mark.parametrize(("commit", "most_megabytes"), [(1, 26.0), (10, 10.0)])
def test_an_hour_of_sixteen_probes_costs_a_card_no_more_than_is_stated(tmp_path, commit, most_megabytes):
    """16 probes at 1 Hz, a commit each so many seconds, synced every ten: bytes handed to the file in an hour."""

    def written():
        fields = dict(line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())
        return int(fields["wchar"])

    database = Database(tmp_path / "cooks.db")
    start = 1_750_000_000_000
    number = database.begin_cook("tonight", start, PLAN_JSON, "test")
    before, rows, trend = written(), [], []
    for second in range(1800):
        at = start + 1000 * second
        rows += [((at << 12) | k, k + 1, 110_000 + k, 0, None, None) for k in range(16)]
        if second % 10 == 0:
            trend.append(TrendPoint(at / 1000, (110.0,) * 6, 5.0, 110.0, (110.0,) * 16))
        if second % commit == 0:
            database.commit(number, Batch(rows=rows, trend=trend), full=second % 10 == 0)
            rows, trend = [], []
    assert 2 * (written() - before) / 1e6 < most_megabytes
    database.close()


def test_damage_is_told_from_what_a_rename_would_not_mend(tmp_path):
    text = tmp_path / "notes.txt"
    text.write_text("my notes on wood " * 100)
    with pytest.raises(StoreDamagedError):
        Database(text)
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as db:
        db.execute("CREATE TABLE recipe (name TEXT)")
    db.close()
    with pytest.raises(StoreError) as raised:
        Archive(other)
    assert not isinstance(raised.value, StoreDamagedError)
