"""A past cook in the dashboard: the very snapshots of then, a line to move along, and nothing that can be changed."""

import sqlite3

import msgspec
import pytest
from msgspec.structs import replace

from collector.engine import Engine
from collector.errors import StoreError
from collector.model.action import Action, ActionKind
from collector.replay import steps_between
from collector.snapshot import AlarmState
from collector.store.archive import Archive
from collector.store.editor import Editor
from collector.store.row import ordinal_at
from collector.store.trend import points
from tests.evening import AWAY, LID, PLAN, START, close, feed, pipeline_of
from tests.tui.test_dashboard import seen, settle
from tui.cli import main
from tui.commander import Commander
from tui.exit_codes import Exit
from tui.past.app import PastDashboard
from tui.past.cook import PastCook
from tui.past.feed import NOTHING_CHANGES, PastFeed
from tui.past.moment import moment_within
from tui.screens.bed import BedScreen


@pytest.fixture(scope="module")
def past(evening):
    """The evening, loaded."""
    with Archive(evening[0]) as archive:
        cook = archive.cook("last")
        past = PastCook(cook, archive.alive_unix(cook))
        shares = [past.loaded_unix for _ in past.load(archive)]
    assert shares == sorted(shares)
    assert len(shares) > 10
    assert past.loaded
    return past


def test_a_moment_is_what_the_engine_showed_then_by_whichever_way_it_is_reached(past, evening):
    moments = [START + s for s in (1800.0, 5000.0, LID + 300.0, 11_000.0)]
    with Archive(evening[0]) as archive:
        there = {unix: past.snapshot(archive, unix) for unix in moments}
        back = {unix: past.snapshot(archive, unix) for unix in reversed(moments)}
        assert repr(there) == repr({unix: back[unix] for unix in moments})
        # and straight through, without anything put aside
        engine = Engine(archive.plans(past.cook)[0][1], past.cook.name, past.cook.started_unix)
        wanted = moments[2]
        for _ in steps_between(archive, engine, archive.bounds(past.cook)[0], ordinal_at(wanted)):
            pass
        engine.advance(wanted)
        assert repr(engine.snapshot()) == repr(there[wanted])
        then, soon = (list(points(past.trend(unix)))[-1].time_unix for unix in (wanted, wanted + 10.0))
        assert then <= wanted < soon + 10.0


def test_what_happened_is_gone_to_in_order(past):
    unix, found = START, []
    while (happening := past.next_happening(unix, 1)) is not None:
        found.append(happening)
        unix = happening.time_unix
    assert [h.time_unix for h in found] == sorted(h.time_unix for h in found)
    assert "seen-lid" in {h.kind for h in found}
    assert past.next_happening(found[1].time_unix, -1) == found[0]
    assert past.next_happening(START, -1) is None


def test_a_cook_of_which_nothing_is_on_record_is_refused(past):
    with pytest.raises(StoreError, match="there is nothing to show"):
        PastCook(replace(past.cook, readings=0), START)


def loaded(store, name="last"):
    """A cook of a store, loaded."""
    with Archive(store) as archive:
        cook = archive.cook(name)
        past = PastCook(cook, archive.alive_unix(cook))
        for _ in past.load(archive):
            pass
    return past


def test_while_no_collector_ran_the_last_that_was_shown_is_shown(past, evening):
    middle = START + (AWAY[0] + AWAY[1]) / 2
    since, until = past.away(middle)
    assert START + AWAY[0] - 21.0 < since < START + AWAY[0]
    assert until == START + AWAY[1]
    with Archive(evening[0]) as archive:
        shown = past.snapshot(archive, middle)
    assert shown.now_unix == since
    assert not [a.key for a in shown.alarms if a.key.startswith("probe-silent") and a.state != AlarmState.NORMAL]
    assert past.away(until + 1.0) is None


def short_cook(path, at=0.0, name="short", seconds=900, act=None):
    """A cook of a quarter of an hour."""
    database, opened, pipeline, _ = pipeline_of(path, PLAN, name, at)
    feed(pipeline, PLAN, at, at + seconds)
    if act is not None:
        pipeline.act(act, START + at + seconds)
    close(database, opened, pipeline)


def test_a_plan_that_was_changed_begins_an_engine_that_is_at_hand_at_once(tmp_path):
    store = tmp_path / "changed.db"
    short_cook(store)
    with sqlite3.connect(store) as connection:
        plan = msgspec.json.encode(replace(PLAN, low_celsius=105.0)).decode()
        connection.execute("INSERT INTO plan VALUES (1, ?, ?)", (ordinal_at(START + 450.0), plan))
    past = loaded(store)
    assert START + 450.0 in {aside.unix for aside in past._asides}  # and not from the start of the cook
    with Archive(store) as archive:
        engine = Engine(archive.plans(past.cook)[1][1], past.cook.name, START)
        for _ in steps_between(archive, engine, archive.bounds(past.cook)[0], ordinal_at(START + 500.0)):
            pass
        engine.advance(START + 500.0)
        assert repr(past.snapshot(archive, START + 500.0)) == repr(engine.snapshot())
        assert past.snapshot(archive, START + 440.0).low_celsius == PLAN.low_celsius
        assert past.snapshot(archive, START + 460.0).low_celsius == 105.0


def test_between_cooks_that_were_made_one_nobody_is_silent(tmp_path):
    store = tmp_path / "merged.db"
    short_cook(store, name="one")
    short_cook(store, 4500.0, "two")
    with Archive(store) as archive, Editor(store) as editor:
        editor.merge(archive.cook("one"), archive.cook("two"))
    past = loaded(store)
    (absence,) = past.absences
    assert [round(unix - START, -2) for unix in absence] == [900, 4500]
    times = [point.time_unix for point in points(past.trend(past.end_unix))]
    assert times == sorted(set(times))
    with Archive(store) as archive:
        assert past.snapshot(archive, START + 3000.0).now_unix == absence[0]
        assert past.snapshot(archive, START + 5000.0).now_unix == START + 5000.0


def test_alarms_are_those_of_the_log_and_marks_in_order_of_their_time(past, evening):
    with Archive(evening[0]) as archive:
        raised = [
            step for step in archive.alarm_log(past.cook)
            if step.after is AlarmState.UNACKNOWLEDGED and step.before is not AlarmState.UNACKNOWLEDGED
        ]  # fmt: skip
    alarms = [h for h in past.happenings if h.kind in ("urgent", "soon", "minor")]
    assert raised
    assert [h.time_unix for h in alarms] == [step.time_unix for step in raised]
    assert [h.time_unix for h in past.happenings] == sorted(h.time_unix for h in past.happenings)


def test_what_the_cook_said_was_none_is_not_on_the_line(past):
    lid = next(h for h in past.happenings if h.kind == "seen-lid")
    past._take(Action(ActionKind.DELETE, lid.event), [], past.start_unix)
    assert lid not in past.happenings
    past._take(Action(ActionKind.CONFIRM, lid.event), [], past.start_unix)
    assert lid in past.happenings


def test_a_cook_without_a_plan_is_refused(tmp_path, capsys):
    store = tmp_path / "none.db"
    short_cook(store, seconds=60)
    with sqlite3.connect(store) as connection:
        connection.execute("DELETE FROM plan")
    assert main(["watch", "--store", str(store), "--cook", "short"]) != Exit.OK
    assert "the plan of the cook short is not on record" in capsys.readouterr().err


async def test_a_record_that_cannot_be_read_is_said_and_asked_again(past, evening, tmp_path):
    store = tmp_path / "away.db"
    feed = PastFeed(str(store), past)
    app = PastDashboard(feed, depth="truecolor", begin_unix=START + 7200.0)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await settle(pilot, lambda: "CANNOT READ THE RECORD" in seen(app))
        assert "REPLAY" in seen(app).splitlines()[0]
        store.symlink_to(evening[0])
        await pilot.press("right")
        await settle(pilot, lambda: "FIRE END" in seen(app) and "CANNOT READ" not in seen(app))


@pytest.mark.parametrize(
    ("text", "seconds"), [("90", 5400), ("+30", 9000), ("-30", 5400), (" 0 ", 0), ("+0", 7200), ("200", 12_000)]
)
def test_minutes_are_from_the_start_or_from_the_moment_shown(text, seconds):
    assert moment_within(text, START + 7200.0, START, START + 12_000.0) == START + seconds


@pytest.mark.parametrize("text", ["201", "-121", "+81"])
def test_minutes_outside_the_cook_are_refused(text):
    with pytest.raises(ValueError, match="minutes are not within the cook, which lasted 200"):
        moment_within(text, START + 7200.0, START, START + 12_000.0)


def app_of(past, evening, **choices):
    return PastDashboard(PastFeed(str(evening[0]), past), depth="truecolor", **choices)


@pytest.mark.parametrize(("size", "ascii_only"), [((80, 24), False), ((160, 48), True)])
async def test_it_says_that_it_is_a_replay_and_moves(past, evening, size, ascii_only):
    app = app_of(past, evening, begin_unix=START + 7200.0, ascii_only=ascii_only)
    async with app.run_test(notifications=True, size=size) as pilot:
        await settle(pilot, lambda: "FIRE END" in seen(app))
        assert "REPLAY" in seen(app).splitlines()[0]
        assert "evening" in seen(app).splitlines()[0]
        assert "2:00 in" in seen(app).splitlines()[0]
        lines = seen(app).splitlines()
        assert ("right min on" if ascii_only else "→ min on") in lines[-1]
        assert "".join((*lines[:3], lines[-1])).isascii() == ascii_only
        assert len([worker for worker in app.workers if worker.name.startswith("feed")]) == 1
        first = app.newest.now_unix
        await pilot.press("right")
        await settle(pilot, lambda: app.newest.now_unix == first + 60.0)
        await pilot.press("shift+left")
        await settle(pilot, lambda: app.newest.now_unix == first - 540.0)
        await pilot.press("right_square_bracket")
        await settle(pilot, lambda: app.newest.now_unix > first - 540.0)
        await pilot.press("home")
        await settle(pilot, lambda: app.feed.shown_unix == past.start_unix)
        await pilot.press("left_square_bracket")
        await settle(pilot, lambda: "nothing happened before" in seen(app))
        await pilot.press("end")
        await settle(pilot, lambda: app.newest.now_unix == past.end_unix)
        await pilot.click("#track", offset=(size[0] // 2, 0))
        middle = (past.start_unix + past.end_unix) / 2
        await settle(pilot, lambda: abs(app.newest.now_unix - middle) < 200.0)


async def test_nothing_can_be_changed_and_no_dialog_opens(past, evening):
    app = app_of(past, evening, begin_unix=START + 7200.0)
    async with app.run_test(notifications=True, size=(100, 30)) as pilot:
        await settle(pilot, lambda: "FIRE END" in seen(app))
        assert "space play" in seen(app).splitlines()[-1]
        assert "split" not in seen(app).splitlines()[-1]
        assert not {"acknowledge", "mark-lid", "spot"} & {action.id for action in app.offered()}
        for key in ("s", "k", "n", "W", "S", "u"):
            await pilot.press(key)
            await settle(pilot, lambda: "a past cook: nothing can be changed" in seen(app))
            app.clear_notifications()
            await pilot.pause()
        await pilot.press("o", "o")
        await settle(pilot, lambda: "links and disk of then are not on record" in seen(app))
        assert "nothing saved" not in seen(app)
        await pilot.press("escape", "b")
        await settle(pilot, lambda: isinstance(app.screen, BedScreen) and "REPLAY" in seen(app))
        assert "evening, Mon 2026-09-21" in seen(app)
        assert "alarm seen" not in seen(app)


def test_whatever_changes_a_pit_is_refused(past, evening):
    app = app_of(past, evening)
    said = []
    app.notify = said.append
    changing = [name for name in vars(Commander) if name.startswith("action_")]
    for name in changing:
        getattr(app, name)("anything")
    assert said == [NOTHING_CHANGES] * len(changing) != []


async def test_it_runs_and_goes_to_a_time_that_is_written(past, evening):
    app = app_of(past, evening, begin_unix=START + 7200.0, speed=240.0)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await settle(pilot, lambda: "FIRE END" in seen(app))
        await pilot.press("plus", "p")  # which holds a picture elsewhere: here the line stands or goes on with it
        await settle(pilot, lambda: app.newest.now_unix > START + 7300.0)
        assert "x1200" in seen(app)
        assert app.shown.picture is app.newest
        await pilot.press("space")
        await settle(pilot, lambda: "stands" in seen(app))
        await pilot.press("G", *"2026-09-23T15:00", "enter")
        await settle(pilot, lambda: "is not within the cook" in seen(app))
        assert "REPLAY" in app.board.query_one("#replay").render().plain
        assert app.screen.query_one("#sheet").region.y > 2  # the lines that say so are not covered
        await pilot.press("escape")
        await settle(pilot, lambda: "FIRE END" in seen(app))


async def test_while_it_loads_what_is_there_is_shown(evening):
    with Archive(evening[0]) as archive:
        cook = archive.cook("last")
        past = PastCook(cook, archive.alive_unix(cook))
    app = app_of(past, evening)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await settle(pilot, lambda: "loading" in seen(app))
        await settle(pilot, lambda: past.loaded and app.newest.now_unix == past.end_unix)
        assert "loading" not in seen(app)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--cook", "nobody"], "there is no cook named 'nobody'"),
        (["--cook", "last", "--time", "25:00"], "--time: '25:00' is no time of day"),
        (["--cook", "last", "--socket", "x.sock"], "--socket leads to a collector"),
        (["--cook", "last", "--pit", "back"], "--pit leads to a collector"),
    ],
)
def test_options_that_do_not_go_together(evening, tmp_path, capsys, words, says):
    assert main(["watch", "--store", str(evening[0]), *words]) != Exit.OK
    assert says in capsys.readouterr().err


def test_time_and_store_are_of_a_past_cook(tmp_path, capsys):
    assert main(["watch", "--time", "02:00"]) == Exit.FAILED
    assert main(["watch", "--speed", "60"]) == Exit.FAILED
    assert "--time, --speed and --store go with --cook" in capsys.readouterr().err
