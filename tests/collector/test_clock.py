"""The wall clock set while a cook runs: order stays, the step is on record, what a wrong clock wrote is dated anew."""

import argparse
import asyncio
import contextlib
import itertools
import os
import signal
import sqlite3
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.reading import Reading
from collector.clock import Clock, boot_name, synchronised
from collector.cooks import open_cook
from collector.daemon import Collector
from collector.late import Late, date_anew
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.pipeline import Pipeline
from collector.replay import differences, replay
from collector.snapshot import AlarmState
from collector.store.archive import Archive
from collector.store.database import Database
from collector.store.row import unix_of
from tests.waiting import WAIT_SECONDS
from tui.cli import main
from tui.commands.collect import run_collector
from tui.nights import night_settings
from tui.once import NoCollectorError, snapshots

HOUR = 3600.0


class Wall:
    """A wall clock and a boot clock that are set by hand."""

    def __init__(self, monkeypatch):
        self.unix, self.boot, self.sure = 1_750_000_000.0, 100.0, False
        monkeypatch.setattr(time, "time", lambda: self.unix)
        monkeypatch.setattr(Clock, "_boot", lambda _clock: self.boot)

    def pass_on(self, seconds):
        self.unix += seconds
        self.boot += seconds


@pytest.fixture
def wall(monkeypatch):
    return Wall(monkeypatch)


def test_time_goes_on_by_the_boot_clock_and_a_step_back_is_told_once_and_not_followed(wall):
    clock = Clock(lambda: True)
    start = clock.now()
    wall.pass_on(60)
    wall.unix -= HOUR
    assert clock.now() == start + 60
    assert clock.look() == pytest.approx(-HOUR)
    assert clock.look() is None
    wall.pass_on(60)
    assert clock.now() == start + 120
    assert clock.late_seconds == 0.0


def test_a_step_forward_is_followed_and_counts_as_late_only_where_nobody_vouched_for_the_clock(wall):
    sure, unsure = Clock(lambda: True), Clock(lambda: wall.sure)
    unknown = Clock(lambda: None)
    wall.unix += HOUR
    wall.sure = True
    for clock in (sure, unsure, unknown):
        assert clock.look() == pytest.approx(HOUR)
        assert clock.now() == wall.unix
    assert (sure.late_seconds, unsure.late_seconds, unknown.late_seconds) == (0.0, HOUR, 0.0)
    wall.unix += HOUR  # vouched for by now: somebody set it, and nothing is dated anew
    unsure.look()
    assert unsure.late_seconds == HOUR


@given(st.lists(st.floats(-2 * HOUR, 2 * HOUR), max_size=30))
@settings(max_examples=50, deadline=None)
def test_however_the_wall_clock_is_set_ours_never_runs_back(steps):
    with pytest.MonkeyPatch.context() as patch:
        wall = Wall(patch)
        clock = Clock(lambda: False)
        last = clock.now()
        for step in steps:
            wall.unix += step
            wall.pass_on(1.0)
            clock.look()
            assert clock.now() >= last
            last = clock.now()


def test_the_kernel_is_asked_without_being_told_anything():
    """Whatever it says here, asking sets nothing and needs no rights."""
    assert synchronised() in (True, False, None)
    assert boot_name() == boot_name()


START = 1_750_000_000.0


def cooking(path, name, start):
    """Record a quarter of an hour in which every probe falls silent, with times of their own and a mark."""
    plan = night_settings().plan
    database = Database(path)
    opened = open_cook(database, plan, start, name=name, coldside="test")
    pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
    for k in range(0, 300, 5):
        for i, probe in enumerate(plan.probes):
            at = start + k + i * 0.01
            pipeline.take(Reading(probe.source, probe.key, 110.0 + i + 0.1 * (k % 10), at, at - 2.0))
    pipeline.act(Action(ActionKind.MARK, "split", text="oak"), start + 301)
    pipeline.advance(start + 900)
    database.commit(opened.number, pipeline.cut(), full=True)
    database.end_cook(opened.number, round((start + 900) * 1000))
    database.close()


def filled(path):
    """Record two cooks, the second under a clock that is behind; give from when on, by that clock."""
    cooking(path, "evening before", START)
    cooking(path, "tonight", START + 3 * HOUR)
    return round((START + 3 * HOUR) * 1000)


@pytest.mark.parametrize("minutes", [1, 7, 600])
def test_what_a_wrong_clock_wrote_moves_and_replays_and_nothing_else_does(tmp_path, minutes):
    path = tmp_path / "cooks.db"
    since = filled(path)
    with Archive(path) as archive:
        before = [list(archive.rows(cook)) for cook in archive.cooks()]
        logs = [archive.alarm_log(cook) for cook in archive.cooks()]
        marks = [archive.marks(cook) for cook in archive.cooks()]
        assert logs[1], "an alarm to be moved"
        assert marks[1]
    date_anew(path, Late(since, minutes * 60_000 + 31_000, "the clock was set"))
    moved = minutes * 60.0
    with Archive(path) as archive:
        first, second = archive.cooks()
        rows = [list(archive.rows(cook)) for cook in (first, second)]
        assert rows[0] == before[0]
        assert [unix_of(r[0]) for r in rows[1]] == pytest.approx([unix_of(r[0]) + moved for r in before[1]])
        assert [r[1:4] for r in rows[1]] == [r[1:4] for r in before[1]]
        own = [(unix_of(r[0]) * 1000 + r[4]) for r in before[1] if r[4] is not None]
        assert own == pytest.approx([unix_of(r[0]) * 1000 + r[4] for r in rows[1] if r[4] is not None])
        assert [t.time_unix for t in archive.alarm_log(second)] == pytest.approx([t.time_unix + moved for t in logs[1]])
        assert repr(archive.alarm_log(first)) == repr(logs[0])  # by their words: NaN equals nothing
        assert [m.time_unix for m in archive.marks(second)] == pytest.approx([m.time_unix + moved for m in marks[1]])
        assert differences(archive, first) == []
        assert differences(archive, second) == []
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert db.execute("SELECT count(*) FROM reading WHERE id < 0").fetchone() == (0,)
    db.close()


async def test_when_the_network_tells_the_time_the_cook_goes_on_with_what_it_wrote_dated_anew(
    tmp_path, pit_config, monkeypatch
):
    """A board that started two hours in the past; synchronised only later."""
    behind, true = 2 * HOUR, time.time
    monkeypatch.setattr(time, "time", lambda: true() - behind)
    monkeypatch.setattr(Clock.__init__, "__defaults__", (lambda: behind == 0.0,))
    config = tmp_path / "coldside.toml"
    config.write_text(pit_config(1))
    words = argparse.Namespace(
        config=str(config), store=str(tmp_path / "cooks.db"), socket=str(tmp_path / "c.sock"), cook="tonight"
    )
    running = asyncio.create_task(run_collector(words))

    async def snapshot_when(ready):
        async with asyncio.timeout(WAIT_SECONDS):
            while True:
                with contextlib.suppress(NoCollectorError):
                    async with contextlib.aclosing(snapshots(tmp_path / "c.sock")) as coming:
                        async for snapshot in coming:
                            if ready(snapshot):
                                return snapshot
                await asyncio.sleep(0.05)

    early = await snapshot_when(lambda s: s.now_unix > s.started_unix)
    assert early.started_unix == pytest.approx(true() - 2 * HOUR, abs=60)
    behind = 0.0
    late = await snapshot_when(lambda s: any(m.kind == "clock" for m in s.marks))
    assert late.cook == "tonight"
    assert early.started_unix + 2 * HOUR - 60 <= late.started_unix <= true()
    assert "dated anew" in next(m.text for m in late.marks if m.kind == "clock")
    os.kill(os.getpid(), signal.SIGTERM)
    assert await running == 0
    with Archive(tmp_path / "cooks.db") as archive:
        assert [cook.name for cook in archive.cooks()] == ["tonight"]
        assert differences(archive, archive.cooks()[0]) == []


async def test_a_clock_set_an_hour_ahead_calls_no_probe_silent(tmp_path, wall):
    """Nobody can have been silent in an hour that never was. A probe that falls silent afterwards raises its alarm."""
    plan = night_settings().plan
    made = Collector(plan, [], tmp_path / "s.db", tmp_path / "c.sock", cook="n", clock=Clock(lambda: True))
    steps = []
    made._pipeline._on_event = lambda event: isinstance(event, Transition) and steps.append(event)

    def minutes(count, probes):
        for _ in range(6 * count):
            wall.pass_on(10.0)
            for i, probe in enumerate(probes):
                made._take(Reading(probe.source, probe.key, 110.0 + i, made.now()))
            made._tick_once(wall.boot)

    minutes(3, plan.probes)
    wall.unix += HOUR
    made._tick_once(wall.boot)
    minutes(3, plan.probes)
    assert [s.key for s in steps if s.key.startswith("probe-silent")] == []
    (mark,) = [m for m in made.snapshot().marks if m.kind == "clock"]
    assert mark.text == "the wall clock was set by +3600 s, followed"
    minutes(6, plan.probes[:-1])
    assert {s.key for s in steps if s.after is AlarmState.UNACKNOWLEDGED} == {f"probe-silent/{plan.probes[-1].name}"}
    await made._recorder.close(5.0)
    with Archive(tmp_path / "s.db") as archive:
        assert differences(archive, archive.cooks()[0]) == []


def test_a_store_that_somebody_holds_keeps_its_dates(tmp_path, caplog):
    path = tmp_path / "cooks.db"
    since = filled(path)
    held = Database(path)
    date_anew(path, Late(since, 3_600_000, ""))
    assert "stays dated by it" in caplog.text
    held.close()
    with Archive(path) as archive:
        assert round(archive.cooks()[1].started_unix * 1000) >= since


def test_what_was_written_since_the_machine_started_is_known_over_restarts(tmp_path):
    database = Database(tmp_path / "cooks.db")
    assert database.boot_began_ms("first", 5_000) == 5_000
    database.close()
    database = Database(tmp_path / "cooks.db")
    assert database.boot_began_ms("first", 9_000) == 5_000
    assert database.boot_began_ms("second", 9_000) == 9_000
    assert database.boot_began_ms("", 11_000) == 11_000
    assert database.redate(9_000, 120_000) == 120_000
    assert database.boot_began_ms("second", 0) == 129_000
    database.close()


@pytest.mark.parametrize("ahead", [HOUR, 61.0 * HOUR])
async def test_a_wrong_leap_ahead_is_taken_back_and_the_cook_can_be_played(tmp_path, wall, ahead, capsys):
    """The clock is set ahead by mistake and followed; later the pitmaster has what was written since dated back."""
    plan, path = night_settings().plan, tmp_path / "s.db"
    made = Collector(plan, [], path, tmp_path / "c.sock", cook="n", clock=Clock(lambda: True))

    def minutes(count):
        for _ in range(6 * count):
            wall.pass_on(10.0)
            for i, probe in enumerate(plan.probes):
                made._take(Reading(probe.source, probe.key, 110.0 + i, made.now()))
            made._tick_once(wall.boot)

    minutes(5)
    before = made.now()
    wall.unix += ahead
    made._tick_once(wall.boot)
    minutes(5)
    await made._recorder.close(5.0)
    with Archive(path) as archive:
        (cook,) = archive.cooks()
        readings = cook.readings
    assert main(["store", "clock", "--store", str(path)]) == 0
    assert f"set ahead by {round(ahead / 3600)} h 00 min, cook n" in capsys.readouterr().out
    assert main(["store", "clock", "--back", "1", "--store", str(path)]) == 0
    earlier = "59 min" if ahead == HOUR else "60 h 59 min"
    assert f"is dated {earlier} earlier" in capsys.readouterr().out, "whole minutes that fit"
    assert main(["store", "clock", "--back", "2", "--store", str(path)]) != 0
    with Archive(path) as archive:
        (cook,) = archive.cooks()
        assert cook.readings == readings
        times = [unix_of(row[0]) for row in archive.rows(cook)]
        assert times == sorted(times)
        assert max(b - a for a, b in itertools.pairwise(times)) <= 70.0
        assert times[-1] == pytest.approx(before + 360.0, abs=1.0)
        (resumed,) = [action for _, action in archive.actions(cook) if action.kind is ActionKind.RESUME]
        assert resumed.seconds == pytest.approx(60.0, abs=1.0)
        again = [event for event in replay(archive, cook) if isinstance(event, Transition)]
        assert not [step for step in again if step.key.startswith("probe-silent")]
    database = Database(path)
    assert database.redate(round(before * 1000), -600_000) == 0, "never over what was recorded"
    database.close()
