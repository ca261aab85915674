"""A fault in the drawing of one panel: it says so, and every other panel and the alarm line go on."""

import pytest
from msgspec.structs import replace

from collector import wire
from collector.snapshot import FaultView, FireView, Phase
from tests.tui.test_dashboard import board, seen, settle
from tui.draw.fire import fire_lines
from tui.draw.line import plain
from tui.draw.summary import status_lines
from tui.draw.view import View
from tui.printable import printable_output
from tui.screens import bed as bed_screen
from tui.screens import board as board_screen
from tui.widgets import alarm_list, chamber_map, mark_list, trend_chart

SIZES = [(80, 24), (160, 48)]


def broken(*_args, **_more):
    raise ValueError("injected")


def lines_of(app):
    return " ".join(seen(app).split())


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    ("module", "name", "key"),
    [
        (board_screen, "zone_lines", "z"),
        (board_screen, "meat_lines", "e"),
        (board_screen, "fire_lines", "f"),
        (board_screen, "source_lines", "o"),
        (alarm_list, "alarm_rows", "a"),
        (mark_list, "listed", "j"),
        (chamber_map, "draw_chamber", "c"),
        (trend_chart, "draw_trend", "g"),
    ],
)
async def test_a_panel_that_cannot_be_drawn_says_so_and_the_others_go_on(client, monkeypatch, module, name, key, size):
    monkeypatch.setattr(module, name, broken)
    app = board(client)
    async with app.run_test(notifications=True, size=size) as pilot:
        await settle(pilot, lambda: "grate 114" in seen(app))
        await pilot.press(key)
        await pilot.press(key)
        await settle(pilot, lambda: "not available: a fault of coldside's" in lines_of(app))
        assert "stack end is cold" in seen(app), "the alarm line is there"
        await pilot.press("escape")
        await settle(pilot, lambda: ("FIRE END" in seen(app)) is (name != "draw_chamber"))


@pytest.mark.parametrize("name", ["heading_line", "alarm_line", "choose_chart"])
async def test_a_line_of_the_board_that_cannot_be_drawn_leaves_the_rest(client, monkeypatch, name):
    monkeypatch.setattr(board_screen, name, broken)
    app = board(client)
    async with app.run_test(size=(160, 48)) as pilot:
        await settle(pilot, lambda: "FIRE END" in seen(app))
        assert "not available: a fault of coldside's (ValueError in test_contained.py" in lines_of(app)
        assert "flat side" in seen(app)


@pytest.mark.parametrize("name", ["alarm_line", "fire_words"])
async def test_the_bed_view_shows_no_old_number_where_it_cannot_be_drawn(client, monkeypatch, name):
    monkeypatch.setattr(bed_screen, name, broken)
    app = board(client)
    async with app.run_test(size=(100, 30)) as pilot:
        await settle(pilot, lambda: "FIRE END" in seen(app))
        await pilot.press("b")
        await settle(pilot, lambda: "not available: a fault of coldside's" in lines_of(app))


FIRE = FaultView("fire", True, 14, 1_700_000_000.0, 1_700_000_060.0, "ValueError in fire.py, line 3")
TREND = FaultView("trend", False, 2, 1_700_000_000.0, 1_700_000_060.0, "KeyError in x.py, line 9", 1_699_999_990.0)


async def test_faults_of_the_collector_are_in_the_sources_panel_and_in_status(client, night):
    nan = float("nan")
    fire = FireView(Phase.UNAVAILABLE, nan, nan, nan, nan, nan, None, None, nan, None, 0, 0, "")
    ill = replace(night(), fire=fire, faults=(FIRE, TREND))
    app = board(client)
    async with app.run_test(size=(160, 48)) as pilot:
        await settle(pilot, lambda: "FIRE END" in seen(app))
        client.queue.put_nowait(wire.News(ill))
        await pilot.press("o")
        await pilot.press("o")
        await settle(pilot, lambda: "FAULT of coldside's: fire not available since" in lines_of(app))
        assert "failed 14 times (ValueError in fire.py, line 3)" in lines_of(app)
        assert "; what is shown is from" in lines_of(app)
    lines = status_lines(ill, View())
    assert any(line.startswith("fault       FAULT of coldside's: fire not available since") for line in lines)
    assert any(line.startswith("fire        not available") for line in lines)
    panel = "\n".join(plain(line) for line in fire_lines(ill, View(), 60))
    assert "not available" in panel
    assert not [word for word in ("shut", "no way out", "none seen", "target") if word in panel], panel


def test_status_says_what_it_cannot_write_and_writes_the_rest(night):
    lines = status_lines(replace(night(), meat=(None,)), View())
    assert "meat        not available: a fault of coldside's (AttributeError)" in lines
    assert any(line.startswith("zone        flat side") for line in lines)
    assert any(line.startswith("alarm       ") for line in lines)


HOSTILE = "split\rEVIL\x07\x1b[2J\x9b31m\u202eevil\nnext"


@pytest.mark.parametrize("size", SIZES)
async def test_a_mark_with_control_characters_is_a_line_like_any_other(client, night, size):
    marks = tuple(replace(mark, text=HOSTILE) for mark in night().marks)
    pieces = tuple(replace(piece, name=HOSTILE) for piece in night().meat)
    app = board(client)
    async with app.run_test(notifications=True, size=size) as pilot:
        await settle(pilot, lambda: "FIRE END" in seen(app))
        client.queue.put_nowait(wire.News(replace(night(), marks=marks, meat=pieces, cook=HOSTILE)))
        for key in ("j", "j", "e", "e", "g", "g", "escape"):
            await pilot.press(key)
            await settle(pilot, lambda: True)
            assert all(line.isprintable() for line in seen(app).split("\n")), key
        assert "not available" not in seen(app)


def test_what_commands_print_is_printable_whatever_is_on_record(capsys):
    with printable_output():
        print(HOSTILE)
    out = capsys.readouterr().out
    assert out == "split�EVIL��[2J�31m�evil\nnext\n"
