"""Calibrations on record: applied on reading, replayed to the digit, kept through kill and restart, undone by a row."""

import contextlib
import math
import re
import sqlite3

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.reading import Reading
from collector import wire
from collector.calibrations import CalibrationBook, lines_of, words_of
from collector.cooks import open_cook
from collector.model.action import Action, ActionKind
from collector.model.calibration import Calibration, CalibrationError, Kind, Point, line
from collector.pipeline import Pipeline
from collector.replay import differences, rebuild
from collector.snapshot import Phase
from collector.store.archive import Archive
from collector.store.calibration_row import calibration_of, calibration_row
from collector.store.database import Database
from collector.store.schema import MIGRATIONS
from tests.waiting import until
from tui.nights import night_settings
from tui.once import ask

START = 1_790_000_000.0
PLAN = night_settings().plan
GRATE = [p for p in PLAN.probes if p.duty == "chamber" and p.level == "grate"]
FLAT = GRATE[-1]

numbers = st.floats(-50.0, 120.0)


@given(kind=st.sampled_from(Kind), reference=numbers, raw=numbers, sd=st.floats(0.01, 5.0), time=st.floats(0.0, 4e9))
@settings(max_examples=200, deadline=None)
def test_a_row_gives_the_step_again_to_the_digit(kind, reference, raw, sd, time):
    told = Calibration("s", "k", Point(kind, reference, raw, sd, time))
    with contextlib.suppress(CalibrationError):
        told = msgspec.structs.replace(told, line=line([told.point]))
    assert calibration_of(*calibration_row(7, told)[1:]) == told


@pytest.mark.parametrize("everything", [False, True])
def test_an_undo_gives_itself_again(everything):
    told = Calibration("s", "k", None, everything)
    assert calibration_of(*calibration_row(7, told)[1:]) == told


def begun(path, name="n", start=START, plan=PLAN):
    database = Database(path)
    opened = open_cook(database, plan, start, name=name, coldside="test")
    with Archive(path) as archive:
        book = CalibrationBook(archive.calibrations())
    return database, opened, Pipeline(opened.engine, database.series, opened.last_ordinal), book


def feed(pipeline, seconds, start, off=0.0):
    """A pit that is steady; `off` is added to what every probe of the grate says."""
    for k in range(0, seconds, 5):
        for i, probe in enumerate(PLAN.probes):
            celsius = 113.0 + 3.0 * math.sin(k / 400) - i + (0.1 if k % 10 else 0.0) + off * (probe in GRATE)
            pipeline.take(Reading(probe.source, probe.key, celsius, start + k + i * 0.01))


def calibrate(pipeline, book, probe, at, raw, reference=0.0, kind=Kind.ICE):
    action = book.found(probe, Point(kind, reference, raw, 0.2, at))
    pipeline.act(action, at)
    book.enter(action.calibration)


def undo(pipeline, book, probe, at, *, everything=False):
    action = book.undone(probe, everything=everything)
    pipeline.act(action, at)
    book.enter(action.calibration)


def shown(pipeline, name):
    return next(p for p in pipeline.engine.snapshot().probes if p.name == name)


def test_it_takes_effect_at_once_and_a_replay_is_the_same(tmp_path):
    path = tmp_path / "s.db"
    database, opened, pipeline, book = begun(path)
    feed(pipeline, 1500, START)
    before = shown(pipeline, FLAT.name)
    assert (before.calibrated_unix, before.line, before.sd_kelvin) == (None, None, FLAT.tolerance_kelvin)
    calibrate(pipeline, book, FLAT, START + 1500, 1.5)
    calibrate(pipeline, book, FLAT, START + 1501, 98.0, 99.974, Kind.BOIL)
    now = shown(pipeline, FLAT.name)
    assert now.raw_celsius == before.celsius
    assert now.celsius == pytest.approx(99.974 / 96.5 * (before.celsius - 1.5))
    assert now.calibrated_unix == START + 1501
    assert now.sd_kelvin == pytest.approx(math.hypot(now.line.sd_kelvin(PLAN.target_celsius), 0.3))
    feed(pipeline, 1500, START + 1502)
    undo(pipeline, book, FLAT, START + 3010)
    feed(pipeline, 600, START + 3011)
    database.commit(opened.number, pipeline.cut(), full=True)
    with Archive(path) as archive:
        cook = archive.cook("n")
        assert differences(archive, cook) == []
        again, _ = rebuild(archive, cook, archive.plans(cook)[-1][1])
        again.advance(pipeline.engine.now_unix)
        assert repr(again.snapshot()) == repr(pipeline.engine.snapshot())
        kinds = [(m.kind, m.text) for m in archive.marks(cook) if m.kind == "calibrate"]
        assert kinds == [("calibrate", f"{FLAT.name}: {what}") for what in ("ice", "boil", "undone")]
        raw = {row[2] for row in archive.rows(cook) if archive.series()[row[1]] == (FLAT.source, FLAT.key)}
        assert round(1000 * now.raw_celsius) in raw, "the record keeps what came in"
    database.close()


def test_all_at_once_by_many_degrees_is_no_open_lid(tmp_path):
    database, _, pipeline, book = begun(tmp_path / "s.db")
    feed(pipeline, 6000, START)
    assert pipeline.engine.snapshot().fire.phase is Phase.STEADY
    for probe in GRATE:
        calibrate(pipeline, book, probe, START + 6001, 6.0)
    feed(pipeline, 300, START + 6005)
    after = pipeline.engine.snapshot()
    assert after.fire.lid_openings == 0
    assert after.fire.phase is Phase.STEADY
    trends = [one.trend_kelvin_per_hour for one in (*after.zones, *after.probes)]
    assert not any(abs(trend) > 40.0 for trend in trends), "nor a fall"
    database.close()


def test_a_new_cook_begins_with_the_line_in_use_and_its_plan_says_so(tmp_path):
    path = tmp_path / "s.db"
    database, opened, pipeline, book = begun(path)
    feed(pipeline, 300, START)
    calibrate(pipeline, book, FLAT, START + 301, 1.5)
    calibrate(pipeline, book, GRATE[0], START + 301, -0.5)
    undo(pipeline, book, GRATE[0], START + 302)
    database.commit(opened.number, pipeline.cut(), full=True)
    database.close()
    database, opened, pipeline, book = begun(path, "next", START + 9000)
    with Archive(path) as archive:
        stored = {p.name: p for p in archive.plans(archive.cook("next"))[0][1].probes}
        first = {p.name: p for p in archive.plans(archive.cook("n"))[0][1].probes}
    assert stored[FLAT.name].line.offset_kelvin == -1.5
    assert stored[FLAT.name].tolerance_kelvin != FLAT.tolerance_kelvin
    assert repr(stored[GRATE[0].name]) == repr(GRATE[0]), "what was undone counts no longer"
    assert repr(first[FLAT.name]) == repr(FLAT), "a plan on record stays as it was"
    feed(pipeline, 60, START + 9000)
    undo(pipeline, book, FLAT, START + 9070, everything=True)
    database.commit(opened.number, pipeline.cut(), full=True)
    assert pipeline.engine.plan.probes[PLAN.probes.index(FLAT)] == FLAT
    with Archive(path) as archive:
        assert differences(archive, archive.cook("next")) == []
        assert len(archive.calibrations()) == 4, "rows are never taken away"
        assert dict(lines_of(archive.calibrations())) == {(p.source, p.key): None for p in (FLAT, GRATE[0])}
    database.close()


def test_a_resumed_cook_stands_where_it_stood(tmp_path):
    path = tmp_path / "s.db"
    database, opened, pipeline, book = begun(path)
    calibrate(pipeline, book, GRATE[0], START + 1, 0.5)
    database.commit(opened.number, pipeline.cut(), full=True)
    database.close()
    database, opened, pipeline, book = begun(path, "b", START + 100)
    feed(pipeline, 600, START + 100)
    calibrate(pipeline, book, FLAT, START + 701, 1.5)
    feed(pipeline, 600, START + 702)
    database.commit(opened.number, pipeline.cut(), full=True)
    again = open_cook(database, PLAN, START + 1310)
    assert again.resumed
    assert again.same_plan
    again.engine.advance(pipeline.engine.now_unix)
    assert repr(again.engine.snapshot()) == repr(pipeline.engine.snapshot())
    database.close()


def test_a_calibration_wins_over_the_offset_of_the_config(tmp_path):
    probes = tuple(msgspec.structs.replace(p, offset_kelvin=5.0) if p == FLAT else p for p in PLAN.probes)
    database, _, pipeline, book = begun(tmp_path / "s.db", plan=msgspec.structs.replace(PLAN, probes=probes))
    feed(pipeline, 20, START)
    assert (now := shown(pipeline, FLAT.name)).celsius == pytest.approx(now.raw_celsius + 5.0)
    calibrate(pipeline, book, FLAT, START + 30, 1.5)
    assert (now := shown(pipeline, FLAT.name)).celsius == pytest.approx(now.raw_celsius - 1.5)
    undo(pipeline, book, FLAT, START + 31)
    assert (now := shown(pipeline, FLAT.name)).celsius == pytest.approx(now.raw_celsius + 5.0)
    database.close()


def test_nothing_is_entered_of_what_is_refused():
    book = CalibrationBook([])
    with pytest.raises(CalibrationError, match="more than 10 K"):
        book.found(FLAT, Point(Kind.ICE, 0.0, 25.0, 0.1, START))
    with pytest.raises(CalibrationError, match="no calibration to undo"):
        book.undone(FLAT, everything=True)
    assert book.found(FLAT, Point(Kind.ICE, 0.0, 1.0, 0.1, START)).calibration.line.points[0].raw_celsius == 1.0


def test_the_log_says_the_numbers():
    book = CalibrationBook([])
    step = book.found(FLAT, Point(Kind.ICE, 0.0, 0.75, 0.1, START)).calibration
    assert words_of(step) == ", showed 0.75 °C in 0.00 °C, ±0.20 K; adds -0.75 K"
    book.enter(step)
    assert words_of(book.undone(FLAT, everything=False).calibration) == "; the config's words hold"


def test_a_calibration_of_a_probe_that_an_edited_config_lacks_is_passed_over(tmp_path):
    database, opened, pipeline, _ = begun(tmp_path / "s.db")
    gone = Calibration("elsewhere", "k", None)
    pipeline.act(Action(ActionKind.CALIBRATE, "gone", calibration=gone), START + 1)
    assert opened.engine.plan == PLAN
    database.close()


def test_a_store_of_version_2_is_read_as_it_is_and_written_as_the_next(tmp_path):
    path = tmp_path / "s.db"
    database, opened, pipeline, _ = begun(path)
    feed(pipeline, 100, START)
    database.commit(opened.number, pipeline.cut(), full=True)
    database.close()
    with contextlib.closing(sqlite3.connect(path)) as older:
        later = re.findall(r"CREATE TABLE (\w+)", "".join(MIGRATIONS[2:]))
        older.executescript(";".join(f"DROP TABLE {table}" for table in later) + "; PRAGMA user_version = 2")
    with Archive(path) as archive:
        assert archive.calibrations() == []
        assert differences(archive, archive.cook("n")) == []
    database, _, pipeline, book = begun(path, "next", START + 500)
    calibrate(pipeline, book, FLAT, START + 501, 1.0)
    database.commit(2, pipeline.cut(), full=True)
    with Archive(path) as archive:
        assert len(archive.calibrations()) == 1
    database.close()


async def test_kill_and_restart_keep_calibrations(collecting):
    text = '[chamber]\nlength = 120\nwidth = 50\nunit = "cm"\n[cook]\ntarget = "113 C"\n'
    text += '[[source]]\nname = "r"\nkind = "rehearsal"\n'
    for k, x in enumerate((12, 60, 110)):
        text += f'[[probe]]\nname = "p{k}"\nsource = "r"\nx = {x}\ny = 25\n'
    running = collecting(text).start()
    await running.up()
    done = await ask(running.socket, wire.Calibrate(1, "p0", Kind.ICE, 0.0, 1.25, 0.2))
    assert done == wire.Reply(1, True)
    refused = await ask(running.socket, wire.Calibrate(2, "p1", Kind.ICE, 0.0, 30.0, 0.2))
    assert "more than 10 K" in refused.why
    assert "no probe" in (await ask(running.socket, wire.Calibrate(3, "px", Kind.ICE, 0.0, 0.0, 0.2))).why
    assert "to undo" in (await ask(running.socket, wire.UndoCalibration(4, "p1"))).why
    await running.snapshot_when(lambda s: s.store.last_commit_unix is not None and s.store.unsaved == 0)

    def stored():
        with Archive(running.store) as archive:
            return archive.calibrations()

    await until(stored)
    running.kill()
    running.start()
    after = await running.up()
    assert after.probes[0].line.offset_kelvin == -1.25
    assert [p.calibrated_unix is None for p in after.probes] == [False, True, True]
    assert (await ask(running.socket, wire.UndoCalibration(5, "p0", True))).done
    assert (await running.snapshot_when(lambda s: s.probes[0].line is None)).probes[0].calibrated_unix is None
    assert running.stop() == 0
    with Archive(running.store) as archive:
        assert [told.point is None for told in archive.calibrations()] == [False, True]
        assert differences(archive, archive.cook("last")) == []
