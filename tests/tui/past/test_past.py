"""A past cook in the dashboard: the very snapshots of then, a line to move along, and nothing that can be changed."""

from dataclasses import replace

import pytest

from collector.engine import Engine
from collector.errors import StoreError
from collector.replay import steps_between
from collector.store.archive import Archive
from collector.store.row import ordinal_at
from tests.evening import LID, START
from tests.tui.test_dashboard import seen
from tests.tui.test_dashboard import settle as settle_within
from tui.cli import main
from tui.exit_codes import Exit
from tui.past.app import PastDashboard
from tui.past.cook import PastCook
from tui.past.feed import PastFeed
from tui.screens.bed import BedScreen


async def settle(pilot, condition, seconds=15.0):
    """Give it time: the engine works for what is shown, and four tests at once work beside it."""
    await settle_within(pilot, condition, seconds)


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
        assert past.trend(wanted)[-1].time_unix <= wanted < past.trend(wanted + 10.0)[-1].time_unix + 10.0


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


def app_of(past, evening, **choices):
    return PastDashboard(PastFeed(str(evening[0]), past), depth="truecolor", **choices)


@pytest.mark.parametrize("size", [(80, 24), (160, 48)])
async def test_it_says_that_it_is_a_replay_and_moves(past, evening, size):
    app = app_of(past, evening, begin_unix=START + 7200.0)
    async with app.run_test(notifications=True, size=size) as pilot:
        await settle(pilot, lambda: "FIRE END" in seen(app))
        assert "REPLAY" in seen(app).splitlines()[0]
        assert "evening" in seen(app).splitlines()[0]
        assert "2:00 in" in seen(app).splitlines()[0]
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
        for key in ("s", "K", "n", "W", "S"):
            await pilot.press(key)
            await settle(pilot, lambda: "a past cook: nothing can be changed" in seen(app))
            app.clear_notifications()
            await pilot.pause()
        await pilot.press("b")
        await settle(pilot, lambda: isinstance(app.screen, BedScreen) and "REPLAY" in seen(app))


async def test_it_runs_and_goes_to_a_time_that_is_written(past, evening):
    app = app_of(past, evening, begin_unix=START + 7200.0, speed=240.0)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await settle(pilot, lambda: "FIRE END" in seen(app))
        await pilot.press("plus", "space")
        await settle(pilot, lambda: app.newest.now_unix > START + 7300.0)
        assert "x1200" in seen(app)
        await pilot.press("space")
        await settle(pilot, lambda: "stands" in seen(app))
        await pilot.press("G", *"2026-09-23T15:00", "enter")
        await settle(pilot, lambda: "is not within the cook" in seen(app))
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
    assert "--time and --store go with --cook" in capsys.readouterr().err
