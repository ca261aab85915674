"""The line of a past cook: as wide as it may be, hours where they were, the louder sign over the quieter."""

from datetime import UTC

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tui.draw.line import plain, width
from tui.draw.scrubber import SIGNS, moment_at, replay_line, track_line
from tui.draw.view import View

HOUR = 3600.0
ASCII = View(ascii_only=True, zone=UTC)


def test_hours_signs_and_the_moment():
    happened = [(2.5 * HOUR, "seen-refuel"), (2.5 * HOUR, "urgent"), (7.5 * HOUR, "seen-lid"), (8.5 * HOUR, "wrap")]
    line = track_line(0.0, 10 * HOUR, 10 * HOUR, 5.5 * HOUR, happened, ASCII, 40)
    assert plain(line) == "----|---|-!-|---|---|-#-|---|-I-|-w-|---"
    assert ("!", "alarm") in line


def test_the_priority_of_an_alarm_shows_without_colour():
    happened = [(0.5 * HOUR, "urgent"), (2.5 * HOUR, "soon"), (4.5 * HOUR, "minor"), (6.5 * HOUR, "wrapped")]
    assert (
        plain(track_line(0.0, 8 * HOUR, 8 * HOUR, 7.5 * HOUR, happened, ASCII, 32))
        == "--!-|---|-?-|---|-:-|---|-*-|-#-"
    )


def test_where_no_collector_ran_there_are_dots():
    line = track_line(0.0, 8 * HOUR, 8 * HOUR, 0.0, [], ASCII, 32, [(2.25 * HOUR, 4.75 * HOUR)])
    assert plain(line) == "#---|---|-.........-|---|---|---"
    told = replay_line("c", 3 * HOUR, 0.0, 0.0, ASCII, 80, loaded=1.0, away=True)
    assert "no collector ran" in plain(told)


def test_a_moment_that_goes_on_with_the_loading_does_not_stand():
    told = [
        plain(replay_line("c", HOUR, 0.0, 0.0, ASCII, 80, loaded=0.5, follows=follows)) for follows in (True, False)
    ]
    assert ["stands" in one for one in told] == [False, True]
    assert all("loading 50 %" in one for one in told)


def test_what_is_not_loaded_is_blank():
    assert plain(track_line(0.0, 10 * HOUR, 5 * HOUR, 0.0, [], ASCII, 20)) == "#-|-|-|-|-|         "


@given(
    st.floats(60.0, 90_000.0), st.floats(0.0, 1.0), st.floats(-0.2, 1.2), st.integers(1, 220), st.booleans(),
    st.lists(st.tuples(st.floats(-0.1, 1.1), st.sampled_from([*SIGNS, "spritz"])), max_size=40),
)  # fmt: skip
def test_it_is_as_wide_as_it_may_be_and_shows_the_moment_once(span, loaded, at, cells, ascii_only, happened):
    told = [(share * span, kind) for share, kind in happened]
    line = track_line(0.0, span, loaded * span, at * span, told, View(ascii_only=ascii_only), cells)
    assert width(line) == cells
    assert plain(line).count("#" if ascii_only else "█") == 1


@given(st.integers(1, 220), st.integers(0, 219))
def test_a_click_means_the_moment_under_it(cells, column):
    column = min(column, cells - 1)
    unix = moment_at(column, 0.0, 10 * HOUR, cells)
    assert 0.0 <= unix <= 10 * HOUR
    line = plain(track_line(0.0, 10 * HOUR, 10 * HOUR, unix, [], ASCII, cells))
    assert line[column] == "#"


@pytest.mark.parametrize("cells", [20, 80, 160])
def test_it_names_the_cook_its_day_and_clock(cells):
    at = 1_790_000_000.0 + 2 * HOUR
    line = plain(replay_line("a brisket\x1b[2J", at, at - 2 * HOUR, 60.0, ASCII, cells, loaded=0.5))
    assert len(line) == cells
    assert line.startswith(" REPLAY")
    if cells >= 80:
        for words in ("a brisket", "Mon 2026-09-21 16:13:20", "2:00 in", "x60", "loading 50 %"):
            assert words in line
    assert "\x1b" not in line
