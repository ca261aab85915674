"""The record: what goes in comes out, locks hold, versions are told, replays are exact."""

import contextlib
import math
import os
import re
import shutil
import sqlite3
import tempfile
from pathlib import Path
from types import SimpleNamespace

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.reading import Quality, Reading, Reason, Unit
from collector.cooks import open_cook
from collector.engine import Engine
from collector.errors import StoreBusyError, StoreError, StoreVersionError
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.model.vitals import DeviceVitals
from collector.opening import open_store, take_up
from collector.pipeline import MAX_UNPLACED, Pipeline
from collector.replay import differences, rebuild
from collector.snapshot import AlarmState
from collector.store.archive import Archive
from collector.store.database import Batch, Database
from collector.store.row import Ordinals, ordinal_at, reading_of, row_of, unix_of, verdict_of, with_verdict
from collector.store.schema import MIGRATIONS
from tui.nights import night_settings

START = 1_790_000_000.0


@given(
    st.floats() | st.floats(-300, 5000) | st.sampled_from([1.8e305, -1.8e308]),
    st.none() | st.floats() | st.floats(START - 1e6, START + 1e6),
    st.sampled_from(Unit), st.sampled_from(Quality), st.sampled_from(Reason),
    st.none() | st.integers(0, 2**48 - 1),
)  # fmt: skip
@settings(max_examples=300, deadline=None)
def test_a_row_gives_the_reading_again(celsius, source_unix, unit, quality, reason, receipt):
    reading = Reading("s", "k", celsius, START, source_unix, unit, quality, reason, receipt)
    ordinal = Ordinals().next(START)
    row = row_of(ordinal, 1, reading)
    back = reading_of(row, "s", "k")
    assert row_of(ordinal, 1, back) == row, "a second time through changes nothing"
    bounded = max(-10_000.0, min(10_000.0, celsius))
    assert math.isnan(back.celsius) if not math.isfinite(celsius) else abs(back.celsius - bounded) < 5.1e-4
    assert (back.unit, back.quality, back.reason, back.receipt) == (unit, quality, reason, receipt)
    if source_unix is not None and not abs(source_unix) < 2.5e11:
        assert back.source_unix is None
    elif source_unix is not None:
        assert back.source_unix == pytest.approx(source_unix, abs=6e-4)
    marked = with_verdict(row, Quality.UNCERTAIN, Reason.SPIKE)
    assert verdict_of(marked[3]) == (Quality.UNCERTAIN, Reason.SPIKE)
    assert reading_of(marked, "s", "k").quality is quality, "the verdict does not change what came in"


ANY_NUMBER = st.floats() | st.floats(-300, 5000) | st.floats(START - 100, START + 100)


@given(
    st.lists(st.tuples(st.integers(0, 3), ANY_NUMBER, ANY_NUMBER, st.none() | ANY_NUMBER), min_size=1, max_size=6),
    ANY_NUMBER,
)
@settings(max_examples=25, deadline=None)
def test_no_number_stops_the_path_and_a_replay_takes_what_the_engine_took(told, battery):
    """Values, times and a battery of any 64-bit float through pipeline, store and replay."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "s.db"
        plan, database, opened = a_cook(path)
        pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
        feed(pipeline, plan, 20)
        for probe, celsius, received, own in told:
            key = plan.probes[probe].key
            pipeline.take(Reading(plan.probes[probe].source, key, celsius, received, own))
        pipeline.note(DeviceVitals(plan.probes[0].source, -70, battery, 12.0), opened.engine.now_unix)
        database.commit(opened.number, pipeline.cut(), full=True)
        database.close()
        with Archive(path) as archive:
            cook = archive.cook("last")
            assert cook.readings == 4 * len(plan.probes) + len(told)
            engine, _ = rebuild(archive, cook, plan)
            assert differences(archive, cook) == []
            assert repr(engine.snapshot()) == repr(opened.engine.snapshot())


@given(st.lists(st.floats(0, 100), min_size=1, max_size=50))
def test_ordinals_always_rise_and_keep_the_millisecond(offsets):
    ordinals, last = Ordinals(), 0
    for offset in offsets:
        ordinal = ordinals.next(START + offset)
        assert ordinal > last
        assert unix_of(ordinal) >= math.floor((START + offset) * 1000) / 1000 - 1e-6
        assert ordinal_at(unix_of(ordinal)) <= ordinal
        last = ordinal


def a_cook(path, name="n"):
    plan = night_settings().plan
    database = Database(path)
    opened = open_cook(database, plan, START, name=name, coldside="test")
    return plan, database, opened


def feed(pipeline, plan, seconds, start=START):
    for k in range(0, seconds, 5):
        for i, probe in enumerate(plan.probes):
            celsius = 110 + 5 * math.sin(k / 400) - i + (0.1 if k % 10 else 0.0)
            pipeline.take(Reading(probe.source, probe.key, celsius, start + k + i * 0.01))


def test_a_cook_is_on_record_and_replays(tmp_path):
    path = tmp_path / "s.db"
    plan, database, opened = a_cook(path)
    pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
    feed(pipeline, plan, 1500)
    pipeline.act(Action(ActionKind.MARK, "split", text="oak"), START + 1500)
    feed(pipeline, plan, 1500, START + 5200)  # everything was silent for over an hour
    pipeline.act(Action(ActionKind.ACKNOWLEDGE, ""), START + 6700)
    pipeline.act(Action(ActionKind.SHELVE, "probe-silent/ambient", 600.0), START + 6701)
    pipeline.advance(START + 7500)
    database.commit(opened.number, pipeline.cut(), full=True)
    with Archive(path) as archive:
        cook = archive.cook("last")
        assert cook.readings == len(plan.probes) * 600
        assert cook.alarms >= 2, "the source was silent, and one probe"
        assert [(m.kind, m.text) for m in archive.marks(cook) if m.kind == "split"] == [("split", "oak")]
        assert differences(archive, cook) == []
        engine, _ = rebuild(archive, cook, plan)
        engine.advance(START + 7500)
        assert repr(engine.snapshot()) == repr(opened.engine.snapshot()), "the engine stands where it stood"
        trend = archive.trend(cook)
        assert trend[-1].time_unix == START + 7500
        assert len(trend[-1].zones) == len(plan.zones)
    database.close()


def test_the_same_batch_twice_is_on_record_once(tmp_path):
    """A commit whose end was not seen is tried again."""
    path = tmp_path / "s.db"
    plan, database, opened = a_cook(path)
    pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
    feed(pipeline, plan, 100)
    batch = pipeline.cut()
    database.commit(opened.number, batch, full=False)
    database.commit(opened.number, batch, full=True)
    with Archive(path) as archive:
        assert archive.cook("n").readings == len(batch.rows)
    database.close()


def test_receipts_come_back_oldest_first_and_by_source(tmp_path):
    path = tmp_path / "s.db"
    _, database, opened = a_cook(path)
    pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
    for k in range(10):
        pipeline.take(Reading("b" if k % 2 else "c", "k", 100.0, START + k, receipt=k << 32 | 7))
    database.commit(opened.number, pipeline.cut(), full=False)
    with Archive(path) as archive:
        assert [r >> 32 for r in archive.receipts("b")] == [1, 3, 5, 7, 9]
        assert [r >> 32 for r in archive.receipts("b", most=2)] == [7, 9]
        assert archive.receipts("nobody") == []
    database.close()


def test_a_second_writer_is_refused_and_a_dead_one_is_not(tmp_path):
    path = tmp_path / "s.db"
    first = Database(path)
    with pytest.raises(StoreBusyError, match="another collector"):
        Database(path)
    first.close()
    Database(path).close()


def test_a_later_version_and_a_stranger_are_told(tmp_path):
    path = tmp_path / "s.db"
    Database(path).close()
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    for opener in (Database, Archive):
        with pytest.raises(StoreVersionError, match="99"):
            opener(path)
    (tmp_path / "text.db").write_text("this is no database " * 100)
    with pytest.raises(StoreError, match="cannot be used"):
        Database(tmp_path / "text.db")
    with pytest.raises(StoreError, match="no store here"):
        Archive(tmp_path / "none.db")
    Database(path.with_name("fresh.db")).close()


def test_a_cook_goes_on_within_six_hours_and_not_after(tmp_path):
    path = tmp_path / "s.db"
    plan, database, opened = a_cook(path, "first")
    pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
    feed(pipeline, plan, 300)
    database.commit(opened.number, pipeline.cut(), full=True)
    again = open_cook(database, plan, START + 3600)
    assert (again.number, again.resumed) == (opened.number, True)
    other = open_cook(database, plan, START + 8 * 3600, coldside="test")
    assert (other.resumed, other.number) == (False, opened.number + 1)
    with Archive(path) as archive:
        assert archive.cook("first").ended_unix is not None
    with pytest.raises(StoreError, match="already"):
        open_cook(database, plan, START + 9 * 3600, name="first", coldside="test")
    database.close()


def test_keys_that_no_probe_claims_are_kept_up_to_a_bound():
    pipeline = Pipeline(Engine(night_settings().plan, "n", START), {})
    for k in range(MAX_UNPLACED + 50):
        pipeline.take(Reading("x", f"stranger {k}", 20.0, START + k))
    assert len(pipeline.batch.rows) == MAX_UNPLACED
    assert pipeline.refused == {"x": 50}
    pipeline.take(Reading("night", "grate-point", 20.0, START + 9000))
    assert len(pipeline.batch.rows) == MAX_UNPLACED + 1, "a probe of the plan is always taken"


def test_an_empty_batch_is_false():
    assert not Batch()
    assert Batch(marks=[object()])


def test_a_plan_edited_between_two_runs_rewrites_nothing_and_replays(tmp_path):
    path = tmp_path / "s.db"
    plan, database, opened = a_cook(path)
    pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
    feed(pipeline, plan, 3000)
    database.commit(opened.number, pipeline.cut(), full=True)
    with Archive(path) as archive:
        before = archive.alarm_log(archive.cook("n"))
    strict = tuple(msgspec.structs.replace(r, limit=2.0) if r.name == "spread" else r for r in plan.rules)
    edited = msgspec.structs.replace(plan, rules=strict)
    again = open_cook(database, edited, START + 3010, coldside="test")
    assert again.resumed
    assert not again.same_plan
    assert AlarmState.UNACKNOWLEDGED in {e.after for e in again.events if isinstance(e, Transition)}, "it would have"
    pipeline = Pipeline(again.engine, database.series, again.last_ordinal)
    feed(pipeline, edited, 600, START + 3010)
    database.commit(again.number, pipeline.cut(), full=True)
    with Archive(path) as archive:
        cook = archive.cook("n")
        assert [plan.rule("spread").limit for _, plan in archive.plans(cook)] == [30.0, 2.0]
        past = [repr(t) for t in archive.alarm_log(cook) if t.time_unix < START + 3000]
        assert past == [repr(t) for t in before if t.time_unix < START + 3000]
        assert differences(archive, cook) == []
    database.close()


def test_how_a_device_fares_is_on_record_and_its_alarm_replays(tmp_path):
    path = tmp_path / "s.db"
    plan, database, opened = a_cook(path)
    pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
    source = plan.probes[0].source
    told = [DeviceVitals(source, -60 - k, 40.0 - 2 * k + 0.04, 14.26) for k in range(20)]
    for k, vitals in enumerate(told):
        feed(pipeline, plan, 60, START + 60 * k)
        pipeline.note(vitals, START + 60 * k + 59)
    feed(pipeline, plan, 300, START + 1300)
    database.commit(opened.number, pipeline.cut(), full=True)
    with Archive(path) as archive:
        cook = archive.cook("last")
        assert [v for _, v in archive.vitals(cook)] == [v.rounded() for v in told]
        assert [t.key for t in archive.alarm_log(cook) if t.key.startswith("battery")] == [f"battery-low/{source}"]
        assert differences(archive, cook) == []
    database.close()


def test_a_store_of_version_1_is_read_as_it_is_and_written_as_the_next(tmp_path):
    path = tmp_path / "s.db"
    plan, database, opened = a_cook(path)
    pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
    feed(pipeline, plan, 600)
    database.commit(opened.number, pipeline.cut(), full=True)
    database.close()
    with contextlib.closing(sqlite3.connect(path)) as older:
        later = re.findall(r"CREATE TABLE (\w+)", "".join(MIGRATIONS[1:]))
        older.executescript(";".join(f"DROP TABLE {table}" for table in later) + "; PRAGMA user_version = 1")
    with Archive(path) as archive:
        assert archive.vitals(archive.cook("last")) == []
        assert differences(archive, archive.cook("last")) == []
        before = archive.last_ordinal()
    Database(path).close()
    with Archive(path) as archive:
        assert archive.last_ordinal() == before
        assert differences(archive, archive.cook("last")) == []


def test_the_lock_follows_no_link_and_cuts_nothing_off(tmp_path):
    precious = tmp_path / "precious"
    precious.write_text("all I have")
    (tmp_path / "cooks.db.lock").symlink_to(precious)
    with pytest.raises(StoreError, match="cannot be locked"):
        Database(tmp_path / "cooks.db")
    assert precious.read_text() == "all I have"


def test_files_of_the_store_are_for_nobody_else_whatever_the_umask(tmp_path):
    before = os.umask(0)
    try:
        database = Database(tmp_path / "cooks.db")
        opened = open_cook(database, night_settings().plan, START, name="n", coldside="test")
        database.commit(opened.number, Batch(rows=[]), full=True)
        modes = {path.name: path.stat().st_mode & 0o777 for path in tmp_path.iterdir()}
        database.close()
    finally:
        os.umask(before)
    assert set(modes) >= {"cooks.db", "cooks.db.lock", "cooks.db-wal"}
    assert not [name for name, mode in modes.items() if mode & 0o027], modes


def test_a_key_with_control_characters_is_recorded_apart_and_harmless():
    engine = Engine(night_settings().plan, "n", START)
    pipeline = Pipeline(engine, {})
    probe = night_settings().plan.probes[0]
    for key in (probe.key, f"{probe.key}\x07", f"{probe.key}\x07", "\x1b[2Jx"):
        pipeline.take(Reading(probe.source, key, 100.0, START))
    keys = [key for _, _, key in pipeline.batch.series]
    assert keys == [probe.key, f"{probe.key}�", "�[2Jx"]
    assert all(key.isprintable() for _, key in pipeline.unplaced)
    assert len(pipeline.batch.rows) == 4


def test_a_plan_edited_before_anything_was_heard_is_the_one_that_is_replayed(tmp_path):
    """The edited plan is on record after the first one though no reading lies between them."""
    first = night_settings().plan
    second = msgspec.structs.replace(first, probes=first.probes[:-1])
    database = Database(tmp_path / "cooks.db")
    open_cook(database, first, START, name="n", coldside="test")
    opened = open_cook(database, second, START + 60.0, coldside="test")
    assert opened.resumed
    database.close()
    with Archive(tmp_path / "cooks.db") as archive:
        plans = [plan for _, plan in archive.plans(archive.cook("n"))]
    assert [len(plan.probes) for plan in plans] == [len(first.probes), len(second.probes)]


def test_a_cook_in_which_nothing_was_heard_is_not_overlapped_by_the_next(tmp_path):
    """The clock is set back by an hour before the collector starts again."""
    plan, path = night_settings().plan, tmp_path / "cooks.db"
    clock = SimpleNamespace(now=lambda: START + clock.ahead, ahead=0.0)
    clock.set_forward = lambda seconds: setattr(clock, "ahead", clock.ahead + seconds)
    for name in ("first", "second"):
        found = open_store(path, plan, clock, cook=name, start_unix=None, keep_days=0.0, settled_only=False)
        found.database.close()
        clock.ahead -= 3600.0
    with Archive(path) as archive:
        first, second = archive.cooks()
    assert second.started_unix > first.started_unix
    assert first.ended_unix is not None
    assert first.ended_unix <= second.started_unix


def test_a_restart_writes_no_step_of_before_the_plan_was_edited(tmp_path):
    """What was judged under the plan before stays as it was written then."""
    first = night_settings().plan
    silent = msgspec.structs.replace(first.rule("probe-silent"), enabled=False)
    quiet = msgspec.structs.replace(first, rules=(silent, *(r for r in first.rules if r.name != silent.name)))
    database = Database(tmp_path / "cooks.db")
    probe = first.probes[0]

    def live(plan, since, until):
        opened = open_cook(database, plan, START + since, name="" if since else "n", coldside="test")
        pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
        if opened.resumed:
            take_up(opened, pipeline, START + since)
        for second in range(since, until, 10):
            pipeline.take(Reading(probe.source, probe.key, 100.0, START + second))
        database.commit(opened.number, pipeline.cut(), full=True)

    live(quiet, 0, 1200)
    live(first, 1210, 1800)
    live(first, 1810, 2400)
    database.close()
    with Archive(tmp_path / "cooks.db") as archive:
        log = archive.alarm_log(archive.cook("n"))
    assert not [step for step in log if step.key.startswith("probe-silent") and step.time_unix < START + 1200]


def test_what_a_killed_writer_left_in_the_journal_is_synced_before_it_is_believed(tmp_path, monkeypatch):
    path = tmp_path / "s.db"
    _, database, _ = a_cook(path)
    journal = Path(f"{path}-wal")
    assert journal.stat().st_size > 0
    for end in ("", "-wal"):
        shutil.copy(f"{path}{end}", tmp_path / f"left{end or '.db'}".replace("left-wal", "left.db-wal"))
    database.close()
    synced = []
    monkeypatch.setattr("os.fsync", lambda handle: synced.append(str(Path(f"/proc/self/fd/{handle}").readlink())))
    Database(tmp_path / "left.db").close()
    assert synced == [str(tmp_path / "left.db-wal")]


def test_a_batch_of_receipts_alone_makes_nothing_durable(tmp_path):
    assert not Batch(receipts={"house": 1}).writes
    assert Batch(receipts={"house": 1})
    assert Batch(rows=[(1, 1, None, 0, None, 1)]).writes
