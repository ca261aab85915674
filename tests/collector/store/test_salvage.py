"""A damaged store: every row of every page that can be read is in the fresh one, as it was."""

import random
import re
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

import msgspec
import pytest

from collector.clock import Clock
from collector.errors import StoreError
from collector.opening import open_store
from collector.store.archive import Archive
from collector.store.btree import children, kind_of, leaf
from collector.store.database import Batch, Database
from collector.store.pages import Image
from collector.store.salvage import salvage
from collector.store.schema import MIGRATIONS, VERSION
from collector.store.upkeep import check
from tests.collector.stores import HOUR, START, cook_one
from tui.cli import main
from tui.nights import night_settings

PAGE = 4096
READINGS = 60_000


def fill(folder):
    """Write a store: a sealed cook, room where one was deleted, an open one with receipts, a photo; and its journal."""
    path = folder / "cooks.db"
    cook_one(path, "sealed", START)
    cook_one(path, "deleted", START + 10 * HOUR, seconds=2400)
    cook_one(path, "tonight", START + 20 * HOUR, ended=False)
    database = Database(path)
    with Archive(path) as archive:
        number = archive.cook("tonight").number
        database.forget([archive.cook("deleted")])
    while database.seal(START + 9 * HOUR) is not None:
        pass
    first = round((START + 21 * HOUR) * 1000)
    rows = [((first + 250 * k) << 12, 1 + k % 14, 100_000 + k % 997, 0, None, (k % 65535 + 1) << 32 | k)
            for k in range(READINGS)]  # fmt: skip
    database.commit(number, Batch(rows=rows), full=True)
    database.close()
    with closing(sqlite3.connect(path)) as db, db:
        photo = random.Random(1).randbytes(50_000)
        db.execute("INSERT INTO photo VALUES (1, 1, 5, 'jpeg', 'a.jpg', 'bark', ?)", (photo,))
        db.execute("INSERT INTO call VALUES (1, ?, 'probe-silent/flat', 2, 5, 1, '[]', '[]', NULL, '')", (number,))
    database = Database(path)  # what follows stays in the journal
    more = [((first + 250 * k) << 12, 1, 90_000, 0, None, None) for k in range(READINGS, READINGS + 900)]
    for k in range(0, 900, 30):
        database.commit(number, Batch(rows=more[k : k + 30]), full=True)
    for end in ("", "-wal"):
        shutil.copy(f"{path}{end}", folder / f"whole.db{end}")
    database.close()
    return folder / "whole.db"


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return fill(tmp_path_factory.mktemp("whole"))


@pytest.fixture
def damaged(whole, tmp_path):
    for end in ("", "-wal"):
        shutil.copy(f"{whole}{end}", tmp_path / f"damaged.db{end}")
    return tmp_path / "damaged.db"


@lru_cache(maxsize=1)
def content_of_whole(path):
    return content(path)


def content(path):
    """Give the rows of each table, as SQLite reads them from a copy."""
    copy = path.with_name(path.name + ".copy")
    for end in ("", "-wal"):
        if Path(f"{path}{end}").exists():
            shutil.copy(f"{path}{end}", f"{copy}{end}")
    with closing(sqlite3.connect(copy)) as db:
        names = [name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        found = {name: set(db.execute(f"SELECT * FROM {name}").fetchall()) for name in names}
    for end in ("", "-wal", "-shm"):
        Path(f"{copy}{end}").unlink(missing_ok=True)
    return found


def overwrite(path, number, what, choose):
    """Put other bytes in place of a page, or of some of it."""
    at, size = {"bytes": (0, PAGE), "zeros": (0, PAGE), "patch": (choose.randrange(PAGE - 64), 64)}[what]
    with path.open("r+b") as file:
        file.seek((number - 1) * PAGE + at)
        file.write(bytes(size) if what == "zeros" else choose.randbytes(size))


def on_pages(path, numbers):
    """Give the rows that stand on pages, or go on there, each with its number as SQLite gives it."""
    with closing(Image(path)) as image:
        spoilt = []
        for number in range(1, image.pages + 1):
            if kind_of(image, number):
                page = leaf(image, number)
                if number in numbers or set(page.chained) & set(numbers):
                    spoilt += [(n, *values[1:]) if values and values[0] is None else values for n, values in page.rows]
        return set(spoilt)


def holds_what_can_be_read(whole, damaged, numbers, found):
    before, after, gone = content_of_whole(whole), content(found), on_pages(whole, numbers)
    for table, rows in before.items():
        if table not in ("numbered", "identity"):
            assert rows - after[table] <= gone, f"{table}: rows of pages that are whole are lost"
    return before, after


def test_a_store_that_is_whole_is_the_same_afterwards(whole, tmp_path):
    kept = whole.read_bytes()
    found = salvage(whole, tmp_path / "fresh.db")
    assert content(tmp_path / "fresh.db") == content_of_whole(whole)
    assert (found.lost, found.broken_pages, found.mended) == ((), 0, ())
    assert whole.read_bytes() == kept
    assert check(tmp_path / "fresh.db").complaints == ()


@pytest.mark.parametrize("what", ["bytes", "zeros", "patch"])
@pytest.mark.parametrize("seed", range(2))
def test_every_row_of_every_other_page_is_there(whole, damaged, tmp_path, what, seed):
    choose = random.Random(seed)
    pages = whole.stat().st_size // PAGE
    numbers = choose.sample(range(2, pages + 1), choose.choice([1, 1, 3, 20]))
    for number in numbers:
        overwrite(damaged, number, what, choose)
    kept = damaged.read_bytes(), Path(f"{damaged}-wal").read_bytes()
    found = salvage(damaged, tmp_path / "fresh.db")
    assert (damaged.read_bytes(), Path(f"{damaged}-wal").read_bytes()) == kept, "nothing was written there"
    before, after = holds_what_can_be_read(whole, damaged, numbers, tmp_path / "fresh.db")
    if what != "patch":  # bytes within a row may be another row
        for table, rows in after.items():
            made_up = {"cook", "plan", "series"} if found.mended else set()
            assert rows <= before[table] or table in made_up | {"numbered", "identity"}, f"{table}: rows that were not"
        lost = sum(len(rows - after[table]) for table, rows in before.items())
        assert bool(lost) <= bool(found.lost or found.mended)
        assert found.broken_pages <= len(numbers) + 12, "the photo goes on over twelve pages"
    assert [c for c in check(tmp_path / "fresh.db").complaints if "readings of series" in c] == []
    with Archive(tmp_path / "fresh.db") as archive:
        for cook in archive.cooks():
            assert sum(1 for _ in archive.happenings(cook)) >= 0


@pytest.mark.parametrize("what", ["page", "header", "name"])
def test_a_lost_header_hides_nothing(whole, damaged, tmp_path, what):
    with damaged.open("r+b") as file:
        file.write(random.Random(3).randbytes({"page": PAGE, "header": 100, "name": 16}[what]))
    shutil.copy(damaged, tmp_path / "alone.db")
    salvage(damaged, tmp_path / "fresh.db")
    before, after = holds_what_can_be_read(whole, damaged, [1], tmp_path / "fresh.db")
    assert after == before, "pages that held a deleted cook are not read for rows"
    salvage(tmp_path / "alone.db", tmp_path / "without the journal.db")
    alone = content(tmp_path / "without the journal.db")
    assert before["reading"] - alone["reading"] <= {row for row in before["reading"] if row[2] == 90_000}
    assert alone["sealed"] == before["sealed"]


def test_the_page_above_all_others_hides_nothing(whole, damaged, tmp_path):
    with closing(sqlite3.connect(whole.with_name("cooks.db"))) as db:
        roots = dict(db.execute("SELECT name, rootpage FROM sqlite_master WHERE type = 'table'"))
    for name in ("reading", "trend", "alarm_log"):
        overwrite(damaged, roots[name], "bytes", random.Random(4))
    Path(f"{damaged}-wal").unlink()
    salvage(damaged, tmp_path / "fresh.db")
    before, after, gone = content_of_whole(whole), content(tmp_path / "fresh.db"), on_pages(whole, [roots["alarm_log"]])
    assert {row for row in before["reading"] if row[2] != 90_000} <= after["reading"]
    assert after["trend"] == before["trend"]
    assert before["alarm_log"] - after["alarm_log"] <= gone, "in an index, rows stand on that page too"


def test_a_damaged_index_takes_no_row(whole, damaged, tmp_path):
    with closing(sqlite3.connect(whole.with_name("cooks.db"))) as db:
        roots = dict(db.execute("SELECT name, rootpage FROM sqlite_master WHERE type = 'index' AND rootpage > 0"))
    assert {"sqlite_autoindex_cook_1", "sqlite_autoindex_series_1"} <= roots.keys()
    for root in roots.values():
        overwrite(damaged, root, "bytes", random.Random(5))
    salvage(damaged, tmp_path / "fresh.db")
    assert content(tmp_path / "fresh.db") == content_of_whole(whole)


def test_names_and_cooks_are_told_by_what_else_is_there(whole, damaged, tmp_path):
    with closing(sqlite3.connect(whole.with_name("cooks.db"))) as db:
        roots = dict(db.execute("SELECT name, rootpage FROM sqlite_master WHERE type = 'table'"))
    for name in ("series", "cook"):
        overwrite(damaged, roots[name], "bytes", random.Random(6))
    found = salvage(damaged, tmp_path / "fresh.db")
    before, after = content_of_whole(whole), content(tmp_path / "fresh.db")
    assert after["series"] == before["series"], "by the index of their names"
    assert {row[:2] for row in after["cook"]} == {row[:2] for row in before["cook"]}
    assert found.mended == ("when the cook sealed began", "when the cook tonight began")
    with Archive(whole.with_name("cooks.db")) as old, Archive(tmp_path / "fresh.db") as new:
        for was, now in zip(old.cooks(), new.cooks(), strict=True):
            assert abs(was.started_unix - now.started_unix) <= 10.0
            assert was.readings - now.readings <= 900
        assert new.cooks()[-1].ended_unix is None, "the night goes on in it"


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_a_file_that_was_cut_short(whole, damaged, tmp_path, share):
    pages = whole.stat().st_size // PAGE
    kept = int(share * pages)
    with damaged.open("r+b") as file:
        file.truncate(kept * PAGE + 1000)
    salvage(damaged, tmp_path / "fresh.db")
    holds_what_can_be_read(whole, damaged, list(range(kept + 1, pages + 1)), tmp_path / "fresh.db")


def test_a_damaged_journal_gives_what_else_is_in_it(whole, damaged, tmp_path):
    journal = Path(f"{damaged}-wal")
    frames = (journal.stat().st_size - 32) // (24 + PAGE)
    with journal.open("r+b") as file:
        file.seek(32 + frames // 2 * (24 + PAGE) + 1000)
        file.write(random.Random(7).randbytes(64))
    salvage(damaged, tmp_path / "fresh.db")
    before, after = content_of_whole(whole), content(tmp_path / "fresh.db")
    assert len(before["reading"] - after["reading"]) <= 200, "a page at most"
    with journal.open("r+b") as file:
        file.write(bytes(32))
    salvage(damaged, tmp_path / "again.db")
    assert content(tmp_path / "again.db")["reading"] == after["reading"]


def test_a_command_reads_it_and_says_what_is_lost_and_when(whole, damaged, tmp_path, capsys):
    with closing(Image(whole)) as image:
        number = next(n for n in range(300, image.pages) if kind_of(image, n) == 13 and len(leaf(image, n).rows) > 100)
        rows = leaf(image, number).rows
    overwrite(damaged, number, "zeros", random.Random(8))
    assert main(["store", "check", "--store", str(damaged)]) == 74
    capsys.readouterr()
    assert main(["store", "salvage", str(damaged)]) == 0
    said = capsys.readouterr().out
    fresh = damaged.with_name("damaged.db.salvaged")
    first, last = (datetime.fromtimestamp((n >> 12) // 1000, UTC) for n in (rows[0][0], rows[-1][0]))
    assert f"{fresh}: " in said
    assert re.search(
        rf"reading: about 1\d\d rows lost, from {first:%Y-%m-%d %H:%M:}\d\d to {last:%Y-%m-%d %H:%M:%S} UTC", said
    )
    assert content_of_whole(whole)["reading"] - content(fresh)["reading"] == {(n, *values[1:]) for n, values in rows}
    with Archive(fresh) as archive:
        receipts = archive.receipts("night")
    assert len(receipts) == 2048, "what a broker sends again is known"
    assert main(["store", "salvage", str(damaged)]) == 74, "a file that is there is not written over"
    assert main(["store", "check", "--store", str(fresh)]) == 0


@pytest.mark.parametrize("where", ["above the readings", "readings", "header", "plan"])
def test_a_start_goes_on_with_the_cook_its_alarms_and_its_meat(tmp_path, where, caplog):
    path = tmp_path / "cooks.db"
    cook_one(path, "tonight", START, seconds=2400, every=5, ended=False)
    plan = night_settings().plan
    known = open_store(path, plan, Clock(), cook="", start_unix=START + 2700.0, keep_days=0.0, settled_only=False)
    before, number = known.opened.engine.snapshot(), known.opened.number
    known.database.close()
    with closing(sqlite3.connect(path)) as db:
        roots = dict(db.execute("SELECT name, rootpage FROM sqlite_master WHERE type = 'table'"))
    with closing(Image(path)) as image:
        below = [child.number for child in children(image, roots["reading"], -(1 << 63), (1 << 63) - 1)]
    page = {
        "above the readings": roots["reading"],
        "readings": below[len(below) // 2],
        "header": 1,
        "plan": roots["plan"],
    }
    overwrite(path, page[where], "bytes", random.Random(9))
    damaged = path.read_bytes()
    found = open_store(path, plan, Clock(), cook="", start_unix=START + 2700.0, keep_days=0.0, settled_only=False)
    after = found.opened.engine.snapshot()
    found.database.close()
    assert "the night goes on with" in found.set_aside
    kept = next(p for p in tmp_path.iterdir() if ".damaged-" in p.name)
    assert kept.read_bytes() == damaged
    assert (found.opened.resumed, found.opened.number, after.cook) == (True, number, "tonight")
    assert [(a.key, a.state) for a in after.alarms] == [(a.key, a.state) for a in before.alarms]
    assert [(m.kind, m.text) for m in after.marks] == [(m.kind, m.text) for m in before.marks]
    if where != "readings":
        assert repr(after) == repr(before), "nothing of it was lost"
    else:
        assert "rows lost" in caplog.text


def test_what_is_no_store_is_refused(tmp_path):
    text = tmp_path / "notes.txt"
    text.write_text("my notes on wood " * 1000)
    with pytest.raises(StoreError, match="nothing in it can be read"):
        salvage(text, tmp_path / "fresh.db")
    assert [p.name for p in tmp_path.iterdir()] == ["notes.txt"]


@pytest.mark.parametrize("version", range(1, VERSION + 1))
def test_a_store_of_an_earlier_coldside_keeps_its_version_and_is_brought_up_after(tmp_path, version):
    path, fresh = tmp_path / "old.db", tmp_path / "fresh.db"
    with closing(sqlite3.connect(path)) as db, db:
        for number in range(version):
            db.executescript(MIGRATIONS[number])
        db.execute(f"PRAGMA user_version = {version}")
        db.execute("INSERT INTO cook VALUES (1, 'n', 1770000000000, NULL, 'test')")
        db.execute("INSERT INTO plan VALUES (1, 0, ?)", (msgspec.json.encode(night_settings().plan).decode(),))
        db.execute("INSERT INTO series VALUES (1, 's', 'k')")
        rows = [((1_770_000_000_000 + k) << 12, 1, k, 0, None, None) for k in range(1000)]
        db.executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?)", rows)
    before = content(path)
    overwrite(path, path.stat().st_size // PAGE, "zeros", random.Random(1))
    salvage(path, fresh)
    with closing(sqlite3.connect(fresh)) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (version,)
    gone = before["reading"] - content(fresh)["reading"]
    assert 0 < len(gone) < 400
    Database(fresh).close()
    with Archive(fresh) as archive:
        assert [(cook.name, cook.readings) for cook in archive.cooks()] == [("n", 1000 - len(gone))]
