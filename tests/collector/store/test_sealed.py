"""Sealed hours: the very same readings in a tenth of the room, whatever is done with the store."""

import asyncio
import contextlib
import io
import re
import shutil
import sqlite3
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.reading import Reading
from collector.cooks import open_cook
from collector.errors import StoreError
from collector.model.action import Action, ActionKind
from collector.pipeline import Pipeline
from collector.recorder import Recorder
from collector.replay import differences
from collector.store.archive import Archive
from collector.store.database import Batch, Database
from collector.store.editor import Editor
from collector.store.readings import count_between, rows_between
from collector.store.sealed import decode, encode, rows_of
from collector.store.sweep import sweep
from collector.store.upkeep import check
from tests.evening import PLAN, START
from tests.waiting import WAIT_SECONDS

HOUR = 3600.0
LINES = re.search(
    r"## Sealed hours.*?```python\n(.*?)```", Path("DEVELOPERS.md").read_text(encoding="utf-8"), re.DOTALL
)[1]
"""The script of the document."""


@st.composite
def chunks(draw):
    """Rows with ordinals that rise, of some series, with and without values and own times."""
    count = draw(st.integers(1, 60))
    gaps = draw(st.lists(st.integers(1, 1 << 22), min_size=count, max_size=count))
    ordinals = (np.cumsum(gaps) + (1_790_000_000_000 << 12)).tolist()
    value = st.one_of(st.none(), st.integers(-10_000_000, 10_000_000), st.integers(1000, 1200).map(lambda n: 100 * n))
    own = st.one_of(st.none(), st.integers(-(10**15), 10**15), st.integers(-2000, 50))
    return [
        (o, draw(st.integers(1, 4)), draw(value), draw(st.integers(0, (1 << 20) - 1)), draw(own), None)
        for o in ordinals
    ]  # fmt: skip


@given(chunks())
def test_what_is_sealed_is_read_back(rows):
    chunk = encode(rows)
    assert rows_of(chunk) == rows
    columns = decode(chunk)
    assert columns.ordinal.size == len(rows)
    assert np.all(np.diff(columns.series) >= 0)


def read_by_the_document(path):
    out, argv = io.StringIO(), sys.argv
    sys.argv = ["read", str(path)]
    try:
        with contextlib.redirect_stdout(out):
            exec(compile(LINES, "DEVELOPERS.md", "exec"), {})
    finally:
        sys.argv = argv
    return [line.split(" ") for line in out.getvalue().splitlines()]


@given(chunks())
def test_the_lines_of_the_document_read_any_hour(rows):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "s.db"
        with contextlib.closing(sqlite3.connect(path)) as db:
            db.execute("PRAGMA synchronous = OFF")
            db.execute("CREATE TABLE sealed (first_id INTEGER PRIMARY KEY, bytes BLOB)")
            db.execute("INSERT INTO sealed VALUES (1, ?)", (encode(rows),))
            db.commit()
        found = read_by_the_document(path)
    expected = [
        [str(s), str(o >> 12), "" if v is None else str(v / 1000), str(f)]
        for o, s, v, f, _, _ in sorted(rows, key=lambda row: row[1])
    ]
    assert found == expected


def test_the_script_is_short():
    assert len(LINES.strip().splitlines()) <= 22


@pytest.mark.parametrize("harm", [b"", b"no zlib at all", "cut", "flipped"])
def test_a_damaged_chunk_is_told(harm):
    good = encode([((1_790_000_000_000 + 7 * k) << 12, 1, 100 * k, 0, None, None) for k in range(500)])
    bad = good[: len(good) // 2] if harm == "cut" else good[:9] + bytes([good[9] ^ 255]) + good[10:]
    with pytest.raises(ValueError, match="cannot be read"):
        decode(harm if isinstance(harm, bytes) else bad)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A store with a cook of two hours and a half that ended, and one of an hour that goes on."""
    path = tmp_path_factory.mktemp("made") / "s.db"
    record(path, "first", START, 2.5 * HOUR, end=True)
    record(path, "second", START + 9 * HOUR, HOUR, end=False)
    return path, told(path)


@pytest.fixture
def store(made, tmp_path):
    """That store, to be changed."""
    return Path(shutil.copy(made[0], tmp_path / "s.db"))


def record(path, name, start, seconds, *, end):
    database = Database(path)
    opened = open_cook(database, PLAN, start, name=name, coldside="test")
    pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
    for k in range(0, int(seconds), 30):
        for i, probe in enumerate(PLAN.probes):
            at = start + k + 0.01 * i
            value = float("nan") if (k + i) % 700 == 0 else 100.0 + i + 0.1 * (k % 70)
            pipeline.take(Reading(probe.source, probe.key, value, at, at - 1.5 if i % 2 else None, receipt=k + i))
    pipeline.act(Action(ActionKind.MARK, "split"), start + seconds)
    database.commit(opened.number, pipeline.cut(), full=True)
    if end:
        database.end_cook(opened.number, round((start + seconds) * 1000))
    database.close()


def seal(path, **how):
    database = Database(path)
    try:
        found = []
        while (hour := database.seal(START + 1e6, **how)) is not None:
            found.append(hour)
        return found
    finally:
        database.close()


def told(path, *, replayed=True):
    """Give all that is on record: cooks, rows, trend, what a replay differs in, the last ordinal."""
    with Archive(path) as archive:
        return [
            (cook, [row[:5] for row in archive.rows(cook)], repr(archive.trend(cook)),
             differences(archive, cook) if replayed else [])
            for cook in archive.cooks()
        ], archive.last_ordinal()  # fmt: skip


def test_everything_is_as_before_and_the_cook_that_runs_is_left(store, made):
    before = made[1]
    hours = seal(store)
    assert 3 <= len(hours) <= 4
    assert sum(hour.readings for hour in hours) == before[0][0][0].readings
    assert told(store) == before
    assert check(store).complaints == ()
    assert check(store).readings == sum(cook.readings for cook, *_ in before[0])
    with Archive(store) as archive:
        first, second = archive.cooks()
        assert archive._connection.execute("SELECT count(*) FROM reading").fetchone()[0] == second.readings
        columns = archive.columns(first)
        rows = sorted(archive.rows(first), key=lambda row: (row[1], row[0]))
        assert columns.ordinal.tolist() == [row[0] for row in rows]
        assert [
            v if there else None for v, there in zip(columns.millicelsius.tolist(), columns.valued, strict=True)
        ] == [row[2] for row in rows]
        part = archive.columns(first, START + HOUR, START + 2 * HOUR)
        assert part.ordinal.size == archive.readings_between(
            round((START + HOUR) * 1000) << 12, round((START + 2 * HOUR) * 1000) << 12
        )


def test_only_what_the_server_holds_where_there_is_one(store):
    assert seal(store, settled_only=True) == []
    with sqlite3.connect(store) as db:
        db.execute("INSERT INTO settled VALUES (1)")
    assert seal(store, settled_only=True)


def test_edits_cut_through_sealed_hours(store):
    with Archive(store) as archive:
        whole = [row[:5] for row in archive.rows(archive.cook("first"))]
    seal(store)
    with Editor(store) as editor:
        later = editor.split(editor.record.cook("first"), START + 1.4 * HOUR, "later")
        first = editor.record.cook("first")
        assert first.readings + later.readings == len(whole)
        assert [row[:5] for c in (first, later) for row in editor.record.rows(c)] == whole
        assert editor.delete(first) == first.readings
        left = editor.record.cook("later")
        assert [row[:5] for row in editor.record.rows(left)] == whole[-left.readings :]
    assert check(store).complaints == ()


def test_deleted_and_trimmed_they_are_gone(store):
    seal(store)
    database = Database(store)
    with Archive(store) as archive:
        first = archive.cook("first")
    assert database.forget([first]) == first.readings
    database.close()
    with sqlite3.connect(store) as db:
        assert db.execute("SELECT count(*) FROM sealed").fetchone() == (0,)


def test_dated_anew_they_follow(store, made):
    before, _ = made[1]
    seal(store)
    database = Database(store)
    step = database.redate(round(START * 1000) - 1, 120_000)
    database.close()
    assert step == 120_000
    after, _ = told(store, replayed=False)
    for (_, rows, *_), (_, moved, *_) in zip(before, after, strict=True):
        assert [(o + (step << 12), s, v, f, None if own is None else own - step) for o, s, v, f, own in rows] == moved


def test_a_damaged_hour_is_named_and_the_others_are_read(store):
    seal(store)
    with sqlite3.connect(store) as db:
        first, second = [row[0] for row in db.execute("SELECT first_id FROM sealed ORDER BY first_id LIMIT 2")]
        db.execute("UPDATE sealed SET bytes = zeroblob(40) WHERE first_id = ?", (first,))
    (complaint,) = check(store).complaints
    assert "is damaged, the others are not" in complaint
    with Archive(store) as archive:
        assert [cook.readings > 0 for cook in archive.cooks()] == [True, True]
        assert list(rows_between(archive._connection, second, 1 << 62))
        with pytest.raises(StoreError, match="put a backup of the store back"):
            list(archive.rows(archive.cook("first")))


def test_a_reader_under_way_misses_nothing(store):
    with Archive(store) as archive:
        expected = [row[:5] for row in archive.rows(archive.cook("first"))]
        under_way = archive.rows(archive.cook("first"))
        begun = [next(under_way)[:5] for _ in range(10)]
        seal(store)
        assert begun + [row[:5] for row in under_way] == expected
        assert [row[:5] for row in archive.rows(archive.cook("first"))] == expected


def test_a_disk_that_refuses_changes_nothing(store, made):
    database = Database(store)
    database._connection.execute("CREATE TRIGGER full BEFORE INSERT ON sealed BEGIN SELECT raise(ABORT, 'full'); END")
    with pytest.raises(StoreError, match="cannot be sealed: full"):
        database.seal(START + 1e6)
    database._connection.execute("DROP TRIGGER full")
    database.close()
    assert told(store, replayed=False)[0] == [(*cook[:3], []) for cook in made[1][0]]


async def test_the_recorder_seals_while_nothing_waits(store, monkeypatch):
    monkeypatch.setattr("collector.recorder.SEAL_FIRST_SECONDS", 0.0)
    monkeypatch.setattr("collector.recorder.SEAL_NEXT_SECONDS", 0.0)
    database = Database(store)
    opened = open_cook(database, PLAN, START + 10.5 * HOUR, coldside="test")
    recorder = Recorder(
        database, opened.number, Pipeline(opened.engine, database.series, opened.last_ordinal), commit_seconds=0.01
    )
    task = asyncio.create_task(recorder.run())
    try:
        async with asyncio.timeout(WAIT_SECONDS):
            while True:
                with contextlib.closing(sqlite3.connect(store)) as db:
                    sealed, first = db.execute("SELECT count(*), min(first_id) FROM sealed").fetchone()
                    left = db.execute("SELECT min(id) FROM reading").fetchone()[0]
                if sealed >= 3 and left > round((START + 8 * HOUR) * 1000) << 12:
                    break
                await asyncio.sleep(0.02)
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
        await recorder.close()
    assert first >> 12 == round(START * 1000)


def refuse(connection):
    connection.execute("CREATE TRIGGER full BEFORE INSERT ON sealed BEGIN SELECT raise(ABORT, 'full'); END")


def halves(store):
    """Seal, and give an ordinal in the middle of a sealed hour, with how many readings lie before and after it."""
    seal(store)
    with Archive(store) as archive:
        low, high = archive.bounds(archive.cook("first"))
        at = round((START + 1.4 * HOUR) * 1000) << 12
        return low, at, high, archive.readings_between(low, at), archive.readings_between(at, high)


def test_a_deletion_that_is_refused_half_way_takes_nothing_of_the_neighbour(store):
    low, at, high, before, after = halves(store)
    with contextlib.closing(sqlite3.connect(store, isolation_level=None)) as db:
        refuse(db)
        db.execute("INSERT INTO going VALUES (?, ?)", (at, high))
        with pytest.raises(sqlite3.IntegrityError, match="full"):
            sweep(db)
        assert (count_between(db, low, at), count_between(db, at, high)) == (before, after)
        db.execute("DROP TRIGGER full")
        assert sweep(db) == after
        assert (count_between(db, low, at), count_between(db, at, high)) == (before, 0)


def test_a_split_cuts_the_hour_so_that_a_damaged_one_takes_no_list_with_it(store):
    seal(store)
    with Editor(store) as editor:
        editor.split(editor.record.cook("first"), START + 1.4 * HOUR, "later")
    with sqlite3.connect(store) as db:
        db.execute("UPDATE sealed SET bytes = zeroblob(40)")
    with Archive(store) as archive:
        assert [cook.name for cook in archive.cooks()] == ["first", "later", "second"]
    with sqlite3.connect(store) as db:
        low, high = db.execute("SELECT first_id + 1, last_id FROM sealed LIMIT 1").fetchone()
        db.execute("INSERT INTO going VALUES (?, ?)", (low, high))
    Database(store).close()  # a night is recorded all the same


def test_an_hour_that_is_not_read_back_as_it_was_is_left(store, made):
    far = 5 * 10**18  # from as far below nothing up to there no step of 64 bits leads
    with sqlite3.connect(store) as db:
        series, first = db.execute("SELECT series, id FROM reading ORDER BY id").fetchone()
        db.execute("UPDATE reading SET millicelsius = ? WHERE id = ?", (-far, first))
        after = "(SELECT min(id) FROM reading WHERE series = ? AND id > ?)"
        db.execute(f"UPDATE reading SET millicelsius = ? WHERE id = {after}", (far, series, first))
    database = Database(store)
    with pytest.raises(StoreError, match="stays as it is"):
        database.seal(START + 1e6)
    database.close()
    with sqlite3.connect(store) as db:
        assert db.execute("SELECT count(*) FROM sealed").fetchone() == (0,)


def test_a_stretch_within_a_sealed_hour_in_which_nothing_was_heard_is_empty_and_not_a_fault(tmp_path):
    path = tmp_path / "gap.db"
    database = Database(path)
    cook = database.begin_cook("gap", round(START * 1000) - 1, "{}", "test")
    ordinals = [(round(START * 1000) + ms) << 12 for ms in (0, 1000, 2_000_000)]
    rows = [(at, 1, 100_000, 0, None, None) for at in ordinals]
    database.commit(cook, Batch(series=[(1, "house", "flat")], rows=rows), full=True)
    database.end_cook(cook, round(START * 1000) + 2_000_001)
    while database.seal(START + 1e6) is not None:
        pass
    database.close()
    with Archive(path) as archive:
        found = archive.cook("gap")
        for begin, end, count in ((10.0, 1000.0, 0), (0.5, 1000.0, 1), (0.0, 1e6, 3)):
            columns = archive.columns(found, START + begin, START + end)
            assert len(columns.ordinal) == len(columns.series) == count


def test_counts_see_one_moment(store):
    """An hour that is sealed between two statements is neither missed nor told twice."""
    with Archive(store) as archive:
        low, high = archive.bounds(archive.cook("first"))
        expected = archive.readings_between(low, high)
        real = archive._connection.execute
        once = []

        class Between:
            in_transaction = True

            def execute(self, query, parameters=()):
                found = real(query, parameters)
                if "count(*)" in query and not once:
                    once.append(seal(store))
                return found

        real("BEGIN")
        assert count_between(Between(), low, high) == expected
        real("COMMIT")
        assert once[0]
        assert archive.readings_between(low, high) == expected
        assert archive.columns(archive.cook("first")).ordinal.size == expected
