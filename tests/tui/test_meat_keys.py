"""The meat on the dashboard: what is shown at which size, and what its keys send."""

import pytest

from collector import wire
from collector.model.meat.piece import MeatPhase
from collector.model.meat.spots import Spot
from collector.snapshot import SpotView
from tests.trend import packed
from tests.tui.conftest import FakeClient, history, night, piece
from tests.tui.test_dashboard import board, ready, seen, settle
from tui.errors import NotConnected
from tui.screens.piece import PieceScreen
from tui.screens.spot import SpotScreen


@pytest.fixture
def client():
    spots = (SpotView(night().now_unix - 600.0, "spot", "point", 0.6, 0.25, 79.0),)
    return FakeClient(wire.History(packed(history())), wire.News(night(meat=(piece(),), spots=spots)))


@pytest.mark.parametrize(
    ("size", "look"), [((80, 24), "no colour"), ((80, 24), "light"), ((160, 48), "dark"), ((160, 48), "16")]
)
async def test_the_meat_is_shown_and_read_in_full(client, size, look, monkeypatch):
    if look == "no colour":
        monkeypatch.setenv("NO_COLOR", "1")
    depth = {"no colour": "none", "16": "16"}.get(look, "truecolor")
    app = board(client, depth=depth, theme=look if look == "light" else "dark", fahrenheit=True)
    async with app.run_test(notifications=True, size=size) as pilot:
        await ready(pilot)
        await pilot.press("e")
        await settle(pilot, lambda: "brisket cooking since" in seen(app))
        assert "160/203" in seen(app)
        assert "173/203" in seen(app)
        assert seen(app).count("done ") == 2
        assert "┏" in seen(app)
        await pilot.press("E")
        await settle(pilot, lambda: "13.0 lb, cooking" in seen(app))
        for words in ("E all meat", "stalls since", "the trade would", "serve ", "where many codes count 4 h"):
            assert words in seen(app), words
        assert "FIRE END" not in seen(app)
        assert "stack end is cold" in seen(app), "the alarm line stays"
        await pilot.press("end")
        await settle(pilot, lambda: "point: 174 °F" in seen(app))
        await pilot.press("escape")
        await settle(pilot, lambda: "FIRE END" in seen(app))
        assert "all meat" not in seen(app)


async def test_the_chart_looks_ahead_by_a_key_and_back(client):
    app = board(client)
    async with app.run_test(size=(160, 48)) as pilot:
        await ready(pilot)
        await pilot.press("V")
        await settle(pilot, lambda: "meat, 3 h, 6 h ahead" in seen(app))
        assert "forecast, 8 of 10" in seen(app)
        assert "┊" in seen(app)
        await pilot.press("V")
        await settle(pilot, lambda: "meat, 3 h" in seen(app) and "ahead" not in seen(app))
        await pilot.press("v", "V")
        await settle(pilot, lambda: "forecast, 8 of 10" in seen(app))


async def test_a_phase_is_told_by_two_keys(client):
    app = board(client)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("W")
        await settle(pilot, lambda: isinstance(app.screen, PieceScreen))
        assert "brisket: wrapped (it was wrapped)" in seen(app)
        await pilot.press("enter")
        await settle(pilot, lambda: "brisket: wrapped" in seen(app) and not isinstance(app.screen, PieceScreen))
        await pilot.press("W")
        await settle(pilot, lambda: isinstance(app.screen, PieceScreen))
        await pilot.press("down", "enter")
        await settle(pilot, lambda: len(client.sent) == 2)
        await pilot.press("W", "escape")
        await settle(pilot, lambda: not isinstance(app.screen, PieceScreen))
        assert client.sent == [
            wire.TurnMeat(0, "brisket", MeatPhase.WRAPPED), wire.TurnMeat(0, "brisket", MeatPhase.RESTING),
        ]  # fmt: skip


async def test_a_reading_by_hand_offers_the_last_place_and_keeps_what_is_wrong_to_be_mended(client):
    app = board(client, fahrenheit=True)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("S")
        await settle(pilot, lambda: isinstance(app.screen, SpotScreen))
        assert "point" in seen(app)
        await pilot.press(*"hot", "enter")
        await settle(pilot, lambda: "'hot' is no temperature" in seen(app))
        assert "113 C" in seen(app), "the whole sentence is read"
        await pilot.press("backspace", "backspace", "backspace", *"194", "enter")
        await settle(pilot, lambda: "on record: point" in seen(app))
        await pilot.press("S")
        await settle(pilot, lambda: isinstance(app.screen, SpotScreen))
        await pilot.press("shift+tab", *"stack end", "enter", *"bread 4", "enter")
        await settle(pilot, lambda: len(client.sent) == 2)
        spot, bread = (command.spot for command in client.sent)
        assert (spot.kind, spot.where, spot.value) == ("spot", "point", pytest.approx(90.0))
        assert bread == Spot("bread", "stack end", 4.0, pytest.approx(1.35), pytest.approx(0.25))


async def test_a_reading_by_hand_that_could_not_be_taken_stands_there_again(client, monkeypatch):
    send = client.send

    async def away(command):
        raise NotConnected("not connected to the collector")

    monkeypatch.setattr(client, "send", away)
    app = board(client, fahrenheit=True)
    async with app.run_test(notifications=True, size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("S")
        await settle(pilot, lambda: isinstance(app.screen, SpotScreen))
        await pilot.press(*"194", "enter")
        await settle(pilot, lambda: "NOT DONE: not connected" in seen(app))
        monkeypatch.setattr(client, "send", send)
        await pilot.press("S")
        await settle(pilot, lambda: isinstance(app.screen, SpotScreen) and "194" in seen(app))
        await pilot.press("enter")
        await settle(pilot, lambda: client.sent)
        assert client.sent[0].spot.value == pytest.approx(90.0)


async def test_keys_of_the_meat_are_bound_anew_and_without_a_piece_it_is_said():
    client = FakeClient(wire.History(packed(history())), wire.News(night()))
    app = board(client, keys={"piece": "f9", "pieces": "f10"})
    async with app.run_test(notifications=True, size=(120, 34)) as pilot:
        await ready(pilot)
        await pilot.press("f9")
        await settle(pilot, lambda: "no piece of meat" in seen(app))
        await pilot.press("f10")
        await settle(pilot, lambda: "f10 all meat" in seen(app).lower())


async def test_all_meat_is_ascii_where_it_must_be(client):
    app = board(client, ascii_only=True, depth="none")
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        for key in ("V", "E", "W"):
            await pilot.press(key)
            await pilot.pause(0.05)
            assert not {c for c in seen(app) if not c.isascii()}
