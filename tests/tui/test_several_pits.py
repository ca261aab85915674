"""Several pits in one dashboard: what is shown of which, and that whatever is done is done to the one meant."""

import asyncio
import contextlib
import re
import time
from random import Random

import pytest
from msgspec.structs import replace

from collector import wire
from collector.snapshot import AlarmState, Priority
from tests.trend import packed
from tests.tui.conftest import FakeClient
from tests.tui.test_alarms import Pit as TimedPit
from tests.tui.test_dashboard import seen, settle
from tests.waiting import WAIT_SECONDS
from tui.app import Dashboard
from tui.client import ClientLink, ClientState, CollectorClient
from tui.errors import VersionRefused, WayError
from tui.pit import Pit
from tui.screens.bed import BedScreen
from tui.screens.help import HelpScreen
from tui.screens.note import NoteScreen

NAMES = ("north", "south", "garden")


def kitchen(night, history):
    """Three pits, all well, each with a grate and a cook of its own."""
    clients = []
    for k, name in enumerate(NAMES):
        cook = night(alarms=(), cook=f"cook of {name}", fire=replace(night().fire, level_celsius=100.0 + 10 * k))
        clients.append(FakeClient(wire.History(packed(history())), wire.News(cook)))
    return clients


@pytest.fixture
def clients(night, history):
    return kitchen(night, history)


def board(clients, **choices):
    pits = [Pit(client, name) for client, name in zip(clients, NAMES, strict=False)]
    return Dashboard(pits, depth=choices.pop("depth", "truecolor"), **choices)


def first(app):
    return seen(app).splitlines()[0]


@pytest.fixture(autouse=True)
def nothing_goes_stale(monkeypatch):
    """News is given once; a slow machine may look at it seconds later."""
    monkeypatch.setattr("tui.draw.banner.STALE_SECONDS", WAIT_SECONDS)


async def ready(pilot):
    app = pilot.app
    await settle(pilot, lambda: "FIRE END" in seen(app) and all(p.newest for p in app.pits) and "garden" in first(app))


def cold(night, alarm, **changes):
    return wire.News(night(alarms=(alarm("cold-spot/flat side", message="the flat side runs cold", **changes),)))


def test_with_one_pit_there_is_no_strip_and_no_action_for_several(clients):
    app = board(clients[:1])
    assert not [a.id for a in app.offered() if "pit" in a.id]
    offered = [a.id for a in board(clients).offered() if "pit" in a.id]
    assert offered == ["next-pit", "last-pit", "pit-1", "pit-2", "pit-3"]


async def test_three_pits_at_eighty_by_twenty_four(clients):
    app = board(clients)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        lines = seen(app).splitlines()
        assert lines[0].rstrip() == "[1 north: well, 100 °C]  2 south: well, 110 °C   3 garden: well, 120 °C"
        assert re.fullmatch(r" \d\d:\d\d:\d\d  grate 100 °C .* spread 31 °C  too low .*", lines[1])
        assert lines[2].rstrip() == " no alarm"
        for words in ("FIRE END", "▲131", "▼99", "firebox end", "zones at the grate, 3 h", "? help"):
            assert words in "\n".join(lines[3:])


@pytest.mark.parametrize(("size", "depth"), [((80, 24), "none"), ((80, 24), "16"), ((160, 48), "truecolor")])
async def test_which_is_shown_and_how_each_stands_needs_no_colour_and_no_sign_beyond_ascii(
    clients, night, alarm, size, depth
):
    clients[1].queue.put_nowait(cold(night, alarm))
    clients[2].link = ClientLink(ClientState.LOST, time.time(), "it closed")
    app = board(clients, ascii_only=True, depth=depth)
    async with app.run_test(notifications=True, size=size) as pilot:
        await ready(pilot)
        await settle(pilot, lambda: "1 URGENT" in first(app))
        assert seen(app).isascii()
        assert re.match(r"\[1 north: (all )?well(, 100 C)?\]  2 south: 1 URGENT.*  3 garden: NO LINK ", first(app))


async def test_keys_mouse_and_numbers_go_from_pit_to_pit(clients):
    app = board(clients)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        for key, name, grate in (("N", "south", 110), ("N", "garden", 120), ("N", "north", 100), ("P", "garden", 120),
                                 ("f2", "south", 110), ("f1", "north", 100), ("f9", "north", 100)):  # fmt: skip
            await pilot.press(key)
            await settle(pilot, lambda n=name, g=grate: f" {n}: well" in first(app).split("]")[0].split("[")[1]
                         and f"grate {g} °C" in seen(app).splitlines()[1])  # fmt: skip
        await pilot.click(offset=(first(app).index("garden"), 0))
        await settle(pilot, lambda: "grate 120 °C" in seen(app).splitlines()[1])
        await pilot.press("question_mark")
        await settle(pilot, lambda: isinstance(app.screen, HelpScreen))
        await pilot.press(*"number 2", "enter")
        await settle(pilot, lambda: "grate 110 °C" in seen(app).splitlines()[1])


async def test_keys_of_pits_are_rebound(clients):
    app = board(clients, keys={"next-pit": "right_square_bracket"})
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("N", "right_square_bracket")
        await settle(pilot, lambda: app.shown.name == "south")
        await pilot.press("b", "right_square_bracket")
        await settle(pilot, lambda: app.shown.name == "garden")


async def test_marks_and_acknowledgements_go_to_the_pit_shown_alone_and_say_to_which(clients, night, alarm):
    for client in clients:
        client.queue.put_nowait(cold(night, alarm))
    app = board(clients)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await settle(pilot, lambda: first(app).count("URGENT") + first(app).count("URG") >= 3)
        await pilot.press("f2", "s", "k")
        await settle(pilot, lambda: "south: acknowledged: cold-spot flat side" in seen(app))
        assert clients[1].sent == [wire.AddMark(0, "split"), wire.Acknowledge(0, "cold-spot/flat side")]
        assert clients[0].sent == clients[2].sent == []
        clients[1].refusal = "no"
        await pilot.press("K")
        await settle(pilot, lambda: "south: NOT DONE: no" in seen(app))


async def test_what_was_chosen_at_one_pit_is_not_chosen_at_the_next(clients, night, alarm):
    two = (alarm("cold-spot/flat side"), alarm("cold-spot/stack end"))
    for client in clients:
        client.queue.put_nowait(wire.News(night(alarms=two)))
    app = board(clients)
    async with app.run_test(notifications=True, size=(160, 48)) as pilot:
        await ready(pilot)
        await settle(pilot, lambda: "stack end is cold" in seen(app))
        await pilot.press("a", "down")
        assert app.board.alarm_list.chosen.key == "cold-spot/stack end"
        await pilot.press("f2")
        await settle(pilot, lambda: app.shown.name == "south")
        assert app.board.alarm_list.chosen.key == "cold-spot/flat side", "the most pressing, as none was chosen here"


async def test_of_a_pit_never_heard_nothing_of_another_is_shown_or_acknowledged(clients, night, alarm):
    clients[0].queue.put_nowait(cold(night, alarm))
    clients[2].queue = asyncio.Queue(10)
    clients[2].link = ClientLink(ClientState.CONNECTING, time.time(), "no collector at x")
    app = board(clients)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await settle(pilot, lambda: "the flat side runs cold" in seen(app))
        await pilot.press("f3")
        await settle(pilot, lambda: "NO COLLECTOR" in seen(app) and "no values yet" in seen(app))
        text = seen(app)
        assert "FIRE END" not in text
        assert "▲131" not in text
        assert " north: the flat side runs cold" in text, "the other's alarm is named"
        await pilot.press("k", "j", "y", "p")
        await settle(pilot, lambda: "no event is chosen" in seen(app) or "no alarm" in seen(app))
        assert clients[0].sent == clients[2].sent == []
        clients[2].link = ClientLink(ClientState.UP, time.time())
        clients[2].queue.put_nowait(wire.News(night(alarms=(), fire=replace(night().fire, level_celsius=90.0))))
        await settle(pilot, lambda: "grate 90 °C" in seen(app) and "FIRE END" in seen(app))


async def test_a_note_is_kept_at_the_pit_it_was_begun_for_whatever_is_shown_when_it_is_done(clients):
    app = board(clients)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("n")
        await settle(pilot, lambda: isinstance(app.screen, NoteScreen) and "note for north" in seen(app))
        app.action_show_pit(1)
        await pilot.press(*"wet", "enter")
        await settle(pilot, lambda: "north: noted: wet" in seen(app))
        assert clients[0].sent == [wire.AddMark(0, "note", "wet")]
        assert clients[1].sent == []


@pytest.mark.parametrize("opens", ["question_mark", "ctrl+p"])
async def test_help_and_palette_act_on_the_pit_they_were_opened_for(clients, opens):
    app = board(clients)
    async with app.run_test(notifications=True, size=(100, 40)) as pilot:
        await ready(pilot)
        await pilot.press(opens)
        await settle(pilot, lambda: "app." not in seen(app) and app.screen is not app.board)
        await pilot.pause(0.1)
        app.action_show_pit(2)
        await pilot.press(*"wrapped" if opens == "question_mark" else "spritz")
        await pilot.pause(0.3)
        for _ in range(2):
            if not clients[0].sent and app.screen is not app.board:
                await pilot.press("enter")
                await pilot.pause(0.2)
        await settle(pilot, lambda: clients[0].sent)
        assert clients[2].sent == []
        assert app.shown.name == "north"


async def test_a_pause_holds_one_pit_and_not_the_others(clients, night):
    app = board(clients)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("p")
        await settle(pilot, lambda: "PAUSED at" in seen(app))
        await pilot.press("N")
        await settle(pilot, lambda: "PAUSED" not in seen(app) and "grate 110 °C" in seen(app))
        hotter = replace(night().fire, level_celsius=155.0)
        for client in clients:
            client.queue.put_nowait(wire.News(night(alarms=(), fire=hotter)))
        await settle(pilot, lambda: "grate 155 °C" in seen(app))
        await pilot.press("P")
        await settle(pilot, lambda: "PAUSED" in seen(app) and "grate 100 °C" in seen(app))


async def test_an_alarm_of_a_hidden_pit_rings_and_is_named_and_so_does_a_collector_that_falls_silent(
    clients, night, alarm, monkeypatch
):
    rung = []
    monkeypatch.setattr(Dashboard, "bell", lambda self: rung.append(1))
    app = board(clients, bell=True)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        assert not rung
        clients[2].queue.put_nowait(cold(night, alarm, value=13.0, limit=8.3, unit="kelvin"))
        await settle(pilot, lambda: rung)
        line = seen(app).splitlines()[2]
        assert line.startswith(" garden: the flat side runs cold, 13 °C ")
        assert "NOT ACK" in line
        clients[1].link = ClientLink(ClientState.LOST, time.time(), "it closed")
        await settle(pilot, lambda: len(rung) == 2)
        assert "2 south: NO LINK" in first(app)
        await pilot.pause(0.6)
        assert len(rung) == 2, "once for each"
        clients[2].queue.put_nowait(cold(night, alarm, state=AlarmState.ACKNOWLEDGED))
        await settle(pilot, lambda: " south: LOST the collector since" in seen(app).splitlines()[2])
        assert "grate 100 °C" in seen(app)
        assert not app.view.old, "the pit shown is as it was"


async def test_only_the_pit_shown_is_drawn_while_the_history_of_the_others_is_kept(clients, night, history):
    app = board(clients)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        drawn = []
        app.board.show = lambda snapshot, *_: drawn.append(snapshot.cook)
        last = history()[-1]
        for k in range(1, 4):
            clients[1].queue.put_nowait(wire.News(night(night().now_unix + k)))
            clients[1].queue.put_nowait(wire.Trend((replace(last, time_unix=last.time_unix + 10.0 * k),)))
        await settle(pilot, lambda: app.pits[1].trend_log.time_unix[-1] == last.time_unix + 30.0)
        assert drawn == []
        assert len(app.pits[1].trend_log.time_unix) == len(history()) + 3


async def test_a_pit_of_another_version_or_without_a_way_disturbs_no_other(clients, night):
    clients[1].queue.put_nowait(VersionRefused(2, 1, "9.9.9"))
    clients[2].queue.put_nowait(WayError("pit.crt: holds no certificate in PEM form"))
    app = board(clients)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await settle(pilot, lambda: first(app).count("NO LINK") == 2)
        clients[0].queue.put_nowait(wire.News(night(alarms=(), fire=replace(night().fire, level_celsius=155.0))))
        await settle(pilot, lambda: "grate 155 °C" in seen(app))
        await pilot.press("N")
        await settle(pilot, lambda: "CANNOT READ THIS COLLECTOR" in seen(app) and "9.9.9" in seen(app))
        await pilot.press("N")
        await settle(pilot, lambda: "holds no certificate" in seen(app))


async def test_the_bed_shows_the_pit_in_trouble_first_and_names_it(clients, night, alarm):
    clients[2].queue.put_nowait(cold(night, alarm, priority=Priority.SOON))
    app = board(clients)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await settle(pilot, lambda: "CHECK" in first(app))
        await pilot.press("b")
        await settle(pilot, lambda: isinstance(app.screen, BedScreen) and "garden: grate °C" in seen(app))
        assert "[3 garden" in first(app)
        assert "N: next pit" in seen(app)
        await pilot.press("N", "P", "P")
        await settle(pilot, lambda: "south: grate °C" in seen(app) and " garden: the flat side runs cold" in seen(app))
        await pilot.pause(0.6)
        assert app.shown.name == "south", "who looks at another by hand is left with it"


async def test_at_the_bed_a_pit_that_gets_into_worse_trouble_comes_up_and_a_key_meant_for_another_waits(
    clients, night, alarm, monkeypatch
):
    monkeypatch.setattr("tui.pit_switch.TURNED_SECONDS", WAIT_SECONDS)
    clients[2].queue.put_nowait(cold(night, alarm, priority=Priority.SOON))
    app = board(clients)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await settle(pilot, lambda: "CHECK" in first(app))
        await pilot.press("b")
        await settle(pilot, lambda: isinstance(app.screen, BedScreen) and "garden: grate" in seen(app))
        clients[1].queue.put_nowait(cold(night, alarm))
        await settle(pilot, lambda: "south: grate" in seen(app))
        await pilot.press("k")
        await settle(pilot, lambda: "south is shown since a moment ago: press again" in seen(app))
        assert clients[1].sent == clients[2].sent == []
        monkeypatch.setattr("tui.pit_switch.TURNED_SECONDS", 0.0)
        await settle(pilot, lambda: not app.turned_by_itself())
        await pilot.press("k")
        await settle(pilot, lambda: clients[1].sent)
        assert clients[1].sent == [wire.Acknowledge(0, "cold-spot/flat side")]
        assert clients[2].sent == []


@contextlib.asynccontextmanager
async def running(folder):
    """Run a real collector with a record of its own."""
    folder.mkdir(exist_ok=True)
    for file in folder.glob("s.db*"):
        file.unlink()
    pit = TimedPit(folder)
    await pit.start()
    try:
        yield pit
    finally:
        await pit.stop()


async def test_two_real_collectors_one_dies_and_comes_back_and_the_alarms_of_each_are_its_own(tmp_path):
    folders = [tmp_path / "north", tmp_path / "south"]
    swift = {"first_delay_seconds": 0.02, "greatest_delay_seconds": 0.1, "random": Random(1)}
    pits = [Pit(CollectorClient(f / "c.sock", **swift), f.name) for f in folders]
    app = Dashboard(pits, depth="truecolor")
    async with app.run_test(notifications=True, size=(80, 24)) as pilot, running(folders[0]) as north:
        async with running(folders[1]) as south:
            for pit in (north, south):
                pit.hear(0.0)
                pit.pass_until(10.0)
            await settle(pilot, lambda: first(app).count("not lit") == 2)
            south.pass_until(400.0)  # nobody was heard since: all its probes are silent
            await settle(pilot, lambda: "2 south: " in first(app) and "CHECK" in first(app))
            assert seen(app).splitlines()[2].startswith(" south: ")
            assert not north.states
            await pilot.press("N", "k")
            await settle(pilot, lambda: "south: acknowledged" in seen(app))
            await settle(pilot, lambda: set(south.states.values()) == {str(AlarmState.ACKNOWLEDGED)})
            assert not north.states
        await settle(pilot, lambda: "2 south: NO LINK" in first(app) and "LOST the collector" in seen(app))
        assert "1 north: not lit" in first(app)
        await pilot.press("f1", "s")
        await settle(pilot, lambda: "north: marked: split" in seen(app))
        async with running(folders[1]):
            await settle(pilot, lambda: "2 south: not lit" in first(app))
