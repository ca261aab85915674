"""The real app with a client that plays a night: text first."""

import asyncio
import time

import pytest
from msgspec.structs import replace

from adapters.source import LinkState
from collector import wire
from collector.model.trouble import troubles
from collector.snapshot import AlarmState, CallsView, Mark, Priority, StoreView, TroubleView, Verdict
from tests.waiting import WAIT_SECONDS
from tui.actions import ACTIONS
from tui.app import Dashboard
from tui.client import ClientLink, ClientState
from tui.errors import NotConnected, VersionRefused
from tui.screens.bed import BedScreen
from tui.screens.help import HelpScreen
from tui.screens.note import NoteScreen
from tui.widgets.banner import Banner
from tui.widgets.text_panel import TextPanel


@pytest.fixture(autouse=True)
def nothing_goes_stale(monkeypatch):
    """News is given once; a slow machine may look at it seconds later."""
    monkeypatch.setattr("tui.draw.banner.STALE_SECONDS", WAIT_SECONDS)


def seen(app):
    """Read the screen as a person does, line by line."""
    strips = app.screen._compositor.render_strips()  # the only way to the text that is shown, not to a picture
    return "\n".join(strip.text for strip in strips)


async def settle(pilot, condition):
    async with asyncio.timeout(WAIT_SECONDS):
        while not condition():
            await pilot.pause(0.02)
        before = None
        while before != (before := seen(pilot.app)):  # a slow machine draws it bit by bit
            await pilot.pause(0.05)


def board(client, **choices):
    return Dashboard(client, depth=choices.pop("depth", "truecolor"), **choices)


async def ready(pilot):
    await settle(pilot, lambda: "FIRE END" in seen(pilot.app))


@pytest.mark.parametrize("size", [(80, 24), (120, 34), (160, 48), (200, 60)])
async def test_what_matters_is_there_at_every_size(client, size):
    app = board(client)
    async with app.run_test(notifications=True, size=size) as pilot:
        await ready(pilot)
        text = seen(app)
        for words in (
            "grate 114 °C", "spread 31 °C", "stack end is cold", "NOT ACKNOWLEDGED", "FIRE END", "STACK END", "▲131",
            "▼99", "firebox end", "flat side", "-13", "140 °C", "zones at the grate, 3 h",
        ):  # fmt: skip
            assert words in text, words
        assert "? help" in text
        assert "q quit" in text
        if size >= (160, 48):
            for words in ("brisket point", "below 107 °C in about 25 min", "garage/fridge", "acknowledged"):
                assert words in text, words


async def test_what_has_come_already_is_in_the_first_picture_and_nothing_is_said_to_be_missing(client, monkeypatch):
    said = []
    show = Banner.show
    monkeypatch.setattr(Banner, "show", lambda self, found: (said.append(found), show(self, found))[1])
    app = board(client)
    async with app.run_test(size=(120, 34)) as pilot:
        await ready(pilot)
    assert said
    assert not any(said), said


async def test_a_click_on_a_hint_presses_its_key_and_a_disabled_one_is_not_there(client):
    app = board(client)
    async with app.run_test(size=(100, 24)) as pilot:
        await ready(pilot)
        line = seen(app).splitlines()[-1]
        await pilot.hover("HintLine", offset=(line.index("? help"), 0))
        assert app.board.query_one("HintLine").tooltip
        await pilot.click("HintLine", offset=(line.index("? help") + 3, 0))
        await settle(pilot, lambda: isinstance(app.screen, HelpScreen))


@pytest.mark.parametrize("size", [(60, 16), (40, 12), (20, 6)])
async def test_a_terminal_too_small_shows_what_fits_and_does_not_fall_over(client, size):
    app = board(client)
    async with app.run_test(notifications=True, size=size) as pilot:
        await settle(pilot, lambda: "grate 114" in seen(app) or size[0] < 30)
        await pilot.resize_terminal(80, 24)
        await ready(pilot)


@pytest.mark.parametrize("sizes", [((160, 48), (80, 24)), ((80, 24), (60, 20)), ((80, 24), (160, 48))])
async def test_after_the_terminal_changed_its_size_a_panel_is_as_high_as_what_it_says(client, night, sizes):
    app = board(client)
    async with app.run_test(size=sizes[0]) as pilot:
        await ready(pilot)
        await pilot.resize_terminal(*sizes[1])
        for k in (60.0, 120.0):
            client.queue.put_nowait(wire.News(night(night().now_unix + k)))
            await settle(pilot, lambda k=k: app.newest.now_unix == night().now_unix + k)
        shown = [panel for panel in app.board.query(TextPanel) if panel.size.width]
        assert shown
        for panel in shown:
            assert panel.size.height == len(panel._written[0]), panel.parent.id


async def test_every_panel_is_reached_by_its_key_fills_the_screen_and_is_left(client):
    places = {
        "g": "zones at the grate, 3 h", "a": "! stack end is cold", "e": "brisket point", "f": "refuel",
        "j": "refuel seen?", "o": "garage/fridge", "z": "flat side", "c": "FIRE END",
    }  # fmt: skip
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        for key, words in places.items():
            await pilot.press(key)
            await settle(pilot, lambda words=words: words in seen(app))
            await pilot.press(key)
            await settle(pilot, lambda: app.board.has_class("-filled"))
            assert words in seen(app)
            assert ("FIRE END" in seen(app)) is (key == "c")
            await pilot.press("escape")
            await settle(pilot, lambda: "FIRE END" in seen(app) and "flat side" in seen(app))


async def test_a_mark_takes_one_key(client):
    marks = {"s": "split", "i": "lid", "r": "spritz", "w": "wrap", "t": "turned", "m": "moved"}
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 40)) as pilot:
        await ready(pilot)
        for key, kind in marks.items():
            await pilot.press(key)
            await settle(pilot, lambda kind=kind: f"marked: {kind}" in seen(app))
        assert [(type(c), c.kind) for c in client.sent] == [(wire.AddMark, kind) for kind in marks.values()]


async def test_a_note_is_written_and_kept_and_an_empty_one_is_not(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("n")
        await settle(pilot, lambda: isinstance(app.screen, NoteScreen))
        await pilot.press("enter")
        await settle(pilot, lambda: not isinstance(app.screen, NoteScreen))
        await pilot.press("n")
        await settle(pilot, lambda: isinstance(app.screen, NoteScreen))
        await pilot.press(*"wet", "enter")
        await settle(pilot, lambda: client.sent)
        assert [(c.kind, c.text) for c in client.sent] == [("note", "wet")]


async def test_a_note_that_could_not_be_taken_stands_there_again(client, monkeypatch):
    lost, send = [NotConnected("not connected to the collector")], client.send

    async def away(command):
        if lost:
            raise lost[0]
        return await send(command)

    monkeypatch.setattr(client, "send", away)
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("n")
        await settle(pilot, lambda: isinstance(app.screen, NoteScreen))
        await pilot.press(*"wet", "enter")
        await settle(pilot, lambda: "NOT DONE: not connected" in seen(app))
        lost.clear()
        await pilot.press("n")
        await settle(pilot, lambda: isinstance(app.screen, NoteScreen) and "wet" in seen(app))
        await pilot.press("enter")
        await settle(pilot, lambda: client.sent)
        assert [c.text for c in client.sent] == ["wet"]
        await settle(pilot, lambda: not app.shown.not_taken.get(wire.AddMark))
        await pilot.press("n")
        await settle(pilot, lambda: isinstance(app.screen, NoteScreen))
        assert app.screen.query_one("Input").value == ""


async def test_notes_under_way_are_not_offered_again_and_of_several_that_are_lost_none_is(client, monkeypatch):
    answer = asyncio.Event()

    async def slow(_):
        await answer.wait()
        raise NotConnected("not connected to the collector")

    monkeypatch.setattr(client, "send", slow)
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        for text in ("wet", "dry"):
            await pilot.press("n")
            await settle(pilot, lambda: isinstance(app.screen, NoteScreen))
            assert app.screen.query_one("Input").value == "", "it is under way"
            await pilot.press(*text, "enter")
            await settle(pilot, lambda: not isinstance(app.screen, NoteScreen))
        answer.set()
        await settle(pilot, lambda: len(app.shown.not_taken.get(wire.AddMark, ())) == 2)
        for text in ("wet", "dry"):
            await pilot.press("n")
            await settle(pilot, lambda: isinstance(app.screen, NoteScreen))
            assert app.screen.query_one("Input").value == text
            await pilot.press("escape")
            await settle(pilot, lambda: not isinstance(app.screen, NoteScreen))


async def test_alarms_are_acknowledged_and_shelved_by_the_one_that_is_chosen(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(160, 48)) as pilot:
        await ready(pilot)
        await pilot.press("k")
        await pilot.press("a", "down", "h", "H", "K")
        await settle(pilot, lambda: len(client.sent) == 4)
        first, second = "cold-spot/stack end", "silent-probe/door"
        assert client.sent[0].alarm == first
        assert [(c.alarm, c.seconds) for c in client.sent[1:3]] == [(second, 1800), (second, 7200)]
        assert client.sent[3] == wire.Acknowledge(0, "")


async def test_the_chosen_alarm_stays_chosen_when_another_comes_before_it(client, night, alarm):
    app = board(client)
    async with app.run_test(notifications=True, size=(160, 48)) as pilot:
        await ready(pilot)
        await pilot.press("a", "down")
        snapshot = night()
        client.queue.put_nowait(wire.News(replace(snapshot, alarms=(alarm("spread/grate"), *snapshot.alarms))))
        await settle(pilot, lambda: "+2 more" in seen(app))
        assert app.board.alarm_list.chosen.key == "silent-probe/door"


async def test_a_trouble_is_acknowledged_by_its_own_key_and_an_alarm_taken_out_only_from_the_list(client, night, alarm):
    cold = tuple(alarm(f"cold-spot/{zone}", message=f"the {zone} runs cold") for zone in ("flat side", "stack end"))
    latched = alarm("lid-open/lid", AlarmState.LATCHED, active=False, message="the lid is open")
    out = alarm("drift/fading fire", AlarmState.OUT_OF_SERVICE, removed_unix=night().now_unix - 600.0)
    alarms = (*cold, latched, out)
    told = night(alarms=alarms, troubles=troubles(alarms, {}, lid_open=False))
    client.queue.put_nowait(wire.News(told))
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await settle(pilot, lambda: "2 zones run cold" in seen(app))
        await pilot.press("X", "R", "a", "a")
        await settle(pilot, lambda: "out of service since" in seen(app))
        assert client.sent == [], "these keys are heard in the list alone"
        await pilot.press("k", "down", "down", "X")
        await settle(pilot, lambda: len(client.sent) == 2)
        await pilot.press("down", "k", "R")
        await settle(pilot, lambda: len(client.sent) == 4)
        assert client.sent == [
            wire.Acknowledge(0, "cold"), wire.TakeOut(0, "cold-spot/stack end"), wire.Reset(0, "lid-open/lid"),
            wire.PutBack(0, "drift/fading fire"),
        ]  # fmt: skip


async def test_a_test_of_the_wake_up_is_acknowledged_by_a_key_and_what_does_not_go_out_is_told(client, night):
    test = TroubleView(
        "test", Priority.NOTE, AlarmState.UNACKNOWLEDGED, True, night().now_unix, "a test of the wake-up", "press k",
        float("nan"), float("nan"), "", (),
    )  # fmt: skip
    calls = CallsView(faults=(("push", "answers 500"),))
    client.queue.put_nowait(wire.News(night(alarms=(), troubles=(test,), calls=calls)))
    app = board(client)
    async with app.run_test(notifications=True, size=(120, 34)) as pilot:
        await settle(pilot, lambda: "a test of the wake-up" in seen(app))
        await pilot.press("a", "a")
        await settle(pilot, lambda: "push does not take messages: answers 500" in seen(app))
        assert "wake-up never proven" in seen(app)
        await pilot.press("k")
        await settle(pilot, lambda: client.sent == [wire.Acknowledge(0, "test")])


async def test_an_event_is_chosen_confirmed_and_deleted_by_keys(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("y", "x")
        assert "y confirm" not in seen(app), "only among the marks"
        await pilot.press("j")
        await settle(pilot, lambda: "refuel seen?" in seen(app))
        await settle(pilot, lambda: "y confirm x delete" in seen(app))
        assert app.board.mark_list.chosen.event == "refuel/20231114T213320Z", "the cook's own marks are passed over"
        await pilot.press("y")
        await settle(pilot, lambda: "confirmed: " in seen(app))
        await pilot.press("down", "down", "x")
        await settle(pilot, lambda: "deleted: " in seen(app))
        assert client.sent == [
            wire.Confirm(0, "refuel/20231114T213320Z"), wire.Delete(0, "lid/20231114T201320Z"),
        ]  # fmt: skip
        await pilot.press("escape")
        await settle(pilot, lambda: "y confirm" not in seen(app))


async def test_an_event_is_chosen_and_judged_by_the_mouse(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(160, 48)) as pilot:
        await ready(pilot)
        row = next(i for i, line in enumerate(seen(app).splitlines()) if "lid seen, confirmed" in line)
        await pilot.click(offset=(115, row))
        await settle(pilot, lambda: "x delete" in seen(app))
        assert app.board.mark_list.chosen.event == "lid/20231114T201320Z"
        line = seen(app).splitlines()[-1]
        await pilot.click(offset=(line.index("x delete") + 3, 47))
        await settle(pilot, lambda: client.sent)
        assert client.sent == [wire.Delete(0, "lid/20231114T201320Z")]


async def test_the_chosen_event_stays_chosen_and_a_deleted_one_can_be_taken_back(client, night):
    app = board(client)
    async with app.run_test(notifications=True, size=(160, 48)) as pilot:
        await ready(pilot)
        assert seen(app).count("refuel seen") == 3
        assert seen(app).count("refuel seen, deleted") == 1
        await pilot.press("j", "down", "down")
        await settle(pilot, lambda: "j marks: lid/20231114T201320Z" in seen(app))
        snapshot = night()
        lid, newest = snapshot.marks[1], Mark(snapshot.now_unix, "seen-stall", "", "stall/1")
        client.queue.put_nowait(wire.News(replace(snapshot, marks=(*snapshot.marks, newest))))
        await settle(pilot, lambda: "fire not picked up?" in seen(app))
        assert app.board.mark_list.chosen == lid
        await pilot.press("x")
        gone = tuple(replace(m, verdict=Verdict.DELETED) if m == lid else m for m in snapshot.marks)
        client.queue.put_nowait(wire.News(replace(snapshot, marks=gone)))
        await settle(pilot, lambda: "lid seen, deleted" in seen(app))
        assert app.board.mark_list.chosen.event == lid.event
        await pilot.press("y")
        await settle(pilot, lambda: len(client.sent) == 2)
        assert client.sent == [wire.Delete(0, lid.event), wire.Confirm(0, lid.event)]


async def test_no_event_is_judged_that_was_not_chosen_in_the_list(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(160, 48)) as pilot:
        await ready(pilot)
        app.run_by_id("delete")
        await settle(pilot, lambda: "no event is chosen: j goes to the marks" in seen(app))
        await pilot.press("j")
        app.board.set_focus(app.board.query_one("#zones"))
        app.run_by_id("delete")
        await pilot.pause(0.1)
        await pilot.press("j")
        app.board.mark_list.highlighted = None
        await pilot.press("x", "up")
        assert app.board.mark_list.chosen.event == "refuel/20231114T213320Z", "up begins with the newest"
        assert client.sent == []


@pytest.mark.parametrize("cells", [40, 78, 79, 80, 81, 100])
async def test_no_hint_of_the_bottom_line_is_cut(client, cells):
    app = board(client)
    async with app.run_test(size=(cells, 24)) as pilot:
        await settle(pilot, lambda: "? help" in seen(app))
        await pilot.pause(0.05)
        line = seen(app).splitlines()[-1].strip()
        whole = {f"{app.key_of(a.id, a.key)} {a.label}" for a in ACTIONS if a.footer and a.place == "board"}
        while line:
            hint = next(h for h in whole if line.startswith(h))
            line = line.removeprefix(hint).strip()


async def test_the_help_says_what_the_signs_mean(client):
    app = board(client)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("question_mark")
        await settle(pilot, lambda: isinstance(app.screen, HelpScreen))
        await pilot.press(*"dose")
        await settle(pilot, lambda: "degrees below the band times minutes" in seen(app))
        await pilot.press(*"xyz", "enter")
        await settle(pilot, lambda: "'dosexyz' is in no key and no sign" in seen(app))
        assert isinstance(app.screen, HelpScreen), "there is nothing to run"


async def test_unshelve_takes_back_what_is_shelved(client, night, alarm):
    client.queue.put_nowait(wire.News(night(alarms=(alarm("drift/fading fire", AlarmState.SHELVED),))))
    app = board(client)
    async with app.run_test(notifications=True, size=(160, 48)) as pilot:
        await settle(pilot, lambda: "1 shelved" in seen(app))
        await pilot.press("u")
        await settle(pilot, lambda: client.sent)
        assert client.sent == [wire.Unshelve(0, "drift/fading fire")]


async def test_what_is_not_done_is_said_loudly(client):
    client.refusal = "no such alarm"
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("k")
        await settle(pilot, lambda: "NOT DONE: no such alarm" in seen(app))

        async def lost(command):
            raise NotConnected("not connected")

        client.send = lost
        await pilot.press("s")
        await settle(pilot, lambda: "NOT DONE: not connected" in seen(app))


async def test_a_lost_link_is_unmistakable_and_goes_away_again(client, night):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        assert "LOST" not in seen(app)
        client.link = ClientLink(ClientState.LOST, time.time(), "it closed")
        await settle(pilot, lambda: "LOST the collector since" in seen(app))
        assert "it closed" in seen(app)
        assert app.view.old
        assert app.board.has_class("-old")
        assert "stack end is cold" in seen(app)
        client.link = ClientLink(ClientState.UP, time.time())
        client.queue.put_nowait(wire.News(night()))
        await settle(pilot, lambda: "LOST" not in seen(app))
        assert not app.view.old


async def test_news_that_stop_are_called_stale(client, monkeypatch):
    monkeypatch.setattr("tui.draw.banner.STALE_SECONDS", 0.3)
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await settle(pilot, lambda: "STALE since" in seen(app))
        assert "these values are old" in seen(app)


async def test_before_the_first_snapshot_nothing_looks_well(client):
    client.queue = asyncio.Queue(10)
    client.link = ClientLink(ClientState.CONNECTING, time.time(), "no collector at /run/x")
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await settle(pilot, lambda: "NO COLLECTOR" in seen(app))
        assert "no values yet" in seen(app)
        await pilot.press("s", "k", "l", "d", "v", "p", "b")
        await pilot.pause()


async def test_a_collector_of_another_version_is_refused_on_the_screen(client):
    client.queue.put_nowait(VersionRefused(2, 1, "9.9.9"))
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await settle(pilot, lambda: "CANNOT READ THIS COLLECTOR" in seen(app))
        assert "9.9.9" in seen(app)


async def test_a_fault_of_the_disk_is_a_banner_while_values_stay_bright(client, night):
    client.queue.put_nowait(wire.News(night(store=StoreView("x", 321, None, "disk full"))))
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await settle(pilot, lambda: "NOT SAVED" in seen(app))
        assert "disk full; 321 readings wait" in seen(app)
        assert not app.view.old


async def test_a_pause_holds_the_picture_while_alarms_still_come(client, night, alarm):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("p")
        await settle(pilot, lambda: "PAUSED at" in seen(app))
        snapshot = night()
        hotter = replace(snapshot, alarms=(alarm("drift/pit", message="the pit is running away"),),
                         fire=replace(snapshot.fire, level_celsius=155.0))  # fmt: skip
        client.queue.put_nowait(wire.News(hotter))
        await settle(pilot, lambda: "the pit is running away" in seen(app))
        assert "grate 114 °C" in seen(app)
        await pilot.press("p")
        await settle(pilot, lambda: "grate 155 °C" in seen(app))
        assert "PAUSED" not in seen(app)


async def test_level_difference_unit_chart_and_hours(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("l")
        await settle(pilot, lambda: "top from above" in seen(app) and "▲152" in seen(app))
        await pilot.press("l", "d")
        await settle(pilot, lambda: "from the median" in seen(app) and "▲+19" in seen(app))
        await pilot.press("d", "F")
        await settle(pilot, lambda: "grate 237 °F" in seen(app) and "spread 56 °F" in seen(app))
        await pilot.press("2")
        await settle(pilot, lambda: "12 h" in seen(app))
        await pilot.press("v")
        await settle(pilot, lambda: "spread, 12 h" in seen(app))
        await pilot.press("v", "1")
        await settle(pilot, lambda: "meat, 1 h" in seen(app))


async def test_help_finds_an_action_and_runs_it(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("question_mark")
        await settle(pilot, lambda: isinstance(app.screen, HelpScreen))
        await pilot.press(*"wrapped", "enter")
        await settle(pilot, lambda: client.sent)
        assert client.sent[0].kind == "wrap"
        assert not isinstance(app.screen, HelpScreen)


async def test_the_palette_offers_every_command_with_its_key(client):
    app = board(client, keys={"mark-split": "j"})
    async with app.run_test(notifications=True, size=(100, 60)) as pilot:
        await ready(pilot)
        await pilot.press("ctrl+p")
        await settle(pilot, lambda: "split  (j)" in seen(app))
        await pilot.press(*"spritz")
        await settle(pilot, lambda: "spritz  (r)" in seen(app))
        await pilot.press("enter")
        await settle(pilot, lambda: "spritz  (r)" not in seen(app))
        if not client.sent:  # the first Enter chooses, the second runs
            await pilot.press("enter")
        await settle(pilot, lambda: client.sent)
        assert client.sent[0].kind == "spritz"


async def test_keys_are_rebound_and_told_so_everywhere(client):
    app = board(client, keys={"mark-split": "j", "trend": "f8", "no-such": "x"})
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        assert "no-such" in seen(app)
        assert "j split" in seen(app)
        await pilot.press("s")
        await pilot.press("j")
        await settle(pilot, lambda: client.sent)
        assert len(client.sent) == 1
        await settle(pilot, lambda: "f8 zones at the grate" in seen(app).lower())


def test_no_two_actions_share_a_key_or_an_id():
    keys = [key for action in ACTIONS for key in action.key.split(",")]
    assert len(set(keys)) == len(keys)
    assert len({action.id for action in ACTIONS}) == len(ACTIONS)


async def test_the_bed_view_shows_large_figures_the_alarm_and_a_lost_link(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("b")
        await settle(pilot, lambda: isinstance(app.screen, BedScreen) and seen(app).count("██") > 60)
        for words in ("grate °C, fading", "coldest: stack end °C", "spread °C", "stack end is cold"):
            assert words in seen(app)
        client.link = ClientLink(ClientState.LOST, time.time(), "it closed")
        await settle(pilot, lambda: "LOST" in seen(app))
        await pilot.press("escape")
        await settle(pilot, lambda: "FIRE END" in seen(app))


@pytest.mark.parametrize("size", [(80, 24), (160, 48)])
async def test_ascii_only_is_ascii_on_every_cell(client, size):
    app = board(client, ascii_only=True, depth="none")
    async with app.run_test(notifications=True, size=size) as pilot:
        await ready(pilot)
        strange = {c for c in seen(app) if not c.isascii()}
        assert not strange
        await pilot.press("b")
        await settle(pilot, lambda: isinstance(app.screen, BedScreen) and "##" in seen(app))
        assert not {c for c in seen(app) if not c.isascii()}


@pytest.mark.parametrize("theme", ["dark", "light", "high-contrast"])
async def test_text_stands_out_from_its_background_in_every_theme(client, theme):
    app = board(client, theme=theme)
    async with app.run_test(notifications=True, size=(160, 48)) as pilot:
        await ready(pilot)
        assert app.theme == theme
        for strip in app.screen._compositor.render_strips():
            for segment in strip:
                style = segment.style
                if segment.text.strip() and style and style.color and style.bgcolor and "▀" not in segment.text:
                    apart = abs(_brightness(style.color) - _brightness(style.bgcolor))
                    assert apart > 0.15, (segment.text, style)


def _brightness(colour):
    r, g, b = colour.get_truecolor()
    return (0.2126 * r + 0.7152 * g + 0.0722 * b) / 255


async def test_themes_change_by_key_and_stay_ours(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        for name in ("light", "high-contrast", "dark"):
            await pilot.press("T")
            await settle(pilot, lambda name=name: app.theme == name)


async def test_the_bell_rings_once_for_a_new_alarm_and_not_when_off(client, night, monkeypatch):
    rung = []
    monkeypatch.setattr(Dashboard, "bell", lambda self: rung.append(1))
    app = board(client, bell=True)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await settle(pilot, lambda: rung)
        client.queue.put_nowait(wire.News(night()))
        await pilot.pause(0.6)
        assert len(rung) == 1
        await pilot.press("B")
        await settle(pilot, lambda: not app.alarm_bell.on)


async def test_quit_by_key(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("q")
        await pilot.pause()
    assert app.return_code == 0


async def test_only_the_newest_message_is_shown_and_covers_no_value(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        before = seen(app).splitlines()
        await pilot.press("s", "i", "r", "w")
        await settle(pilot, lambda: "marked: wrap" in seen(app))
        now = seen(app).splitlines()
        changed = [row for row, (old, new) in enumerate(zip(before, now, strict=True)) if old != new]
        assert changed == [22]  # the lower edge of the frames
        assert now[22].count("marked") == 1
        app.notify("a long story, " * 30)
        await settle(pilot, lambda: "a long story" in seen(app))
        assert sum("story" in line for line in seen(app).splitlines()) == 1
        assert "stack end is cold" in seen(app).splitlines()[1]


async def test_at_the_bed_a_message_leaves_the_alarm_in_sight(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("b")
        await settle(pilot, lambda: isinstance(app.screen, BedScreen) and "stack end is cold" in seen(app))
        await pilot.press("k")
        await settle(pilot, lambda: "acknowledged: cold-spot" in seen(app))
        assert "stack end is cold" in seen(app)


async def test_a_note_is_repeated_letter_by_letter(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        app.notify("noted: split [bold] oak [/x]")
        await settle(pilot, lambda: "noted: split [bold] oak [/x]" in seen(app))


@pytest.mark.parametrize("size", [(110, 30), (150, 42), (160, 48), (180, 50), (200, 60)])
async def test_alarms_have_room_and_a_panel_that_fills_the_screen_does_so_at_every_size(client, size):
    app = board(client)
    async with app.run_test(notifications=True, size=size) as pilot:
        await ready(pilot)
        panel = app.board.query_one("#alarms")
        assert panel.region.width >= 40
        await pilot.press("a", "a")
        await settle(pilot, lambda: panel.region.width == size[0])
        assert "NOT ACKNOWLEDGED" in seen(app)
        assert "FIRE END" not in seen(app)
        assert not app.board.query_one("#fire").display
        await pilot.press("escape")
        await settle(pilot, lambda: 40 <= panel.region.width < size[0] and "FIRE END" in seen(app))


async def test_with_no_color_everything_is_grey_and_curves_carry_their_numbers(client, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "")
    app = Dashboard(client)
    async with app.run_test(notifications=True, size=(160, 48)) as pilot:
        await ready(pilot)
        await pilot.press("s")
        await settle(pilot, lambda: "marked: split" in seen(app))
        styles = {segment.style for strip in app.screen._compositor.render_strips() for segment in strip}
        colours = {c.get_truecolor() for s in styles if s for c in (s.color, s.bgcolor) if c}
        assert colours
        assert all(len(set(colour)) == 1 for colour in colours), colours
        assert "▓" in seen(app)
        chart = app.board.query_one("#trend").region
        rows = seen(app).splitlines()[chart.y : chart.bottom]
        inside = "".join(row[chart.x + 7 : chart.right - 24] for row in rows)
        for mark in "1234":
            assert mark in inside


async def test_the_end_of_a_recording_is_told_and_marks_are_still_kept(client, night):
    played = replace(night().sources[0], state=LinkState.ENDED, why="the recording ended")
    client.queue.put_nowait(wire.News(night(sources=(played,), speed=240.0)))
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await settle(pilot, lambda: "the recording has ended" in seen(app).splitlines()[0])
        await pilot.press("s", "k")
        await settle(pilot, lambda: len(client.sent) == 2)
        await pilot.press("b")
        await settle(pilot, lambda: isinstance(app.screen, BedScreen) and "the recording has ended" in seen(app))


async def test_alarms_of_a_rule_and_a_unit_not_known_here_are_shown_all_the_same(client, night, alarm):
    strange = alarm("ash/pan", value=3.0, limit=0.0, unit="buckets_full", message="the ash pan is full: empty it")
    lid = alarm(
        "lid-open/lid", value=22.0, limit=15.0, unit="kelvin",
        message="the lid stands open, or the heat does not come back: look at the lid and the firebox",
    )  # fmt: skip
    client.queue.put_nowait(wire.News(night(alarms=(strange, lid))))
    app = board(client)
    async with app.run_test(notifications=True, size=(200, 60)) as pilot:
        await settle(pilot, lambda: "the ash pan is full, 3 buckets full: empty it" in seen(app))
        assert "buckets full (limit" not in seen(app)
        assert "the lid stands open, or the heat does not come back" in seen(app)
