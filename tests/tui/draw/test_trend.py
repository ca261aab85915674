import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tui.draw.curve import DASHES, GAP_SECONDS, curve_dots
from tui.draw.picture import FAINT
from tui.draw.trend import Curve, Guide, Sign, draw_trend
from tui.draw.view import View

WINDOW = (0.0, 10_800.0)
TIME = np.arange(0.0, 10_800.0, 10.0)


def braille(picture):
    return np.array([["\u2800" <= c <= "\u28ff" for c in row] for row in picture.text])


def drawn(value, time=TIME, width=120, height=20, guides=(), **view):
    return draw_trend(time, (Curve("flat side", value),), guides, WINDOW, View(**view), width, height)


def test_a_gap_in_time_stays_a_gap():
    keep = (TIME < 4000.0) | (TIME > 6000.0)
    dots = curve_dots(TIME[keep], np.full(keep.sum(), 5.0), WINDOW, (0.0, 10.0), 216, 40)
    lit = dots.any(axis=0)
    first, last = int(4000 / 10_800 * 216), int(6000 / 10_800 * 216)
    assert not lit[first + 1 : last].any()
    assert lit[: first - 1].all()
    assert lit[last + 1 :].all()


def test_a_value_that_is_not_there_breaks_the_curve():
    value = np.full(TIME.size, 5.0)
    value[400:600] = np.nan
    lit = curve_dots(TIME, value, WINDOW, (0.0, 10.0), 216, 40).any(axis=0)
    assert not lit[int(400 / 1080 * 216) + 1 : int(600 / 1080 * 216) - 1].any()


def test_rows_less_than_a_gap_apart_are_joined():
    time = np.arange(0.0, 10_800.0, GAP_SECONDS - 5.0)
    lit = curve_dots(time, np.linspace(0.0, 10.0, time.size), WINDOW, (0.0, 10.0), 1000, 40).any(axis=0)
    assert lit[: int(time[-1] / 10_800 * 1000)].all()


@settings(max_examples=60, deadline=None)
@given(st.integers(0, TIME.size - 1), st.booleans())
def test_a_single_peak_is_never_decimated_away(at, up):
    value = np.full(TIME.size, 50.0)
    value[at] = 100.0 if up else 0.0
    dots = curve_dots(TIME, value, WINDOW, (0.0, 100.0), 60, 40)
    assert dots[0 if up else -1].any()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(-100, 400) | st.just(float("nan")), min_size=2, max_size=300),
    st.integers(1, 200),
    st.integers(1, 80),
)
def test_any_curve_stays_within_its_raster(values, columns, rows):
    time = np.arange(len(values)) * 30.0
    dots = curve_dots(time, np.array(values), (0.0, 9000.0), (0.0, 300.0), columns, rows)
    assert dots.shape == (rows, columns)
    assert dots.any() == (not np.isnan(values).all())


def test_a_steady_curve_lies_at_its_height_on_the_axis():
    picture = drawn(np.full(TIME.size, 120.0), guides=(Guide(100.0), Guide(140.0)))
    assert set(np.argwhere(braille(picture))[:, 0].tolist()) <= {9, 10}
    assert picture.text[0].lstrip().startswith("140")


def test_the_curve_is_named_at_its_end_with_its_last_value():
    assert any("1 120 flat side" in row for row in drawn(np.full(TIME.size, 120.0)).text)
    gone = np.full(TIME.size, 120.0)
    gone[-200:] = np.nan
    assert any("1 -- flat side" in row for row in drawn(gone).text)


def test_curves_differ_by_more_than_colour():
    assert len(set(DASHES)) == len(DASHES)
    curves = tuple(Curve(f"zone {i}", np.full(TIME.size, 100.0 + 10 * i)) for i in range(4))
    picture = draw_trend(TIME, curves, (), WINDOW, View(), 120, 24)
    patterns = set()
    for index in range(4):
        rows = np.argwhere((picture.ink == index) & braille(picture))[:, 0]
        patterns.add(picture.text[rows[0]][10:80].translate({0x2800 + i: "·" for i in range(256)}) + str(index))
        assert any(f"{index + 1} {100 + 10 * index} zone {index}" in row for row in picture.text)
    assert len(patterns) == 4


def test_guides_lie_behind_the_curve():
    picture = drawn(np.full(TIME.size, 120.0), guides=(Guide(107.0), Guide(135.0)))
    assert sum("┄" in row for row in picture.text) == 2


def test_a_mark_stands_over_the_curves_at_its_time_and_not_outside_the_window():
    signs = (Sign(-5.0, "w"), Sign(5400.0, "s"), Sign(10_800.0, "t"))
    curves = (Curve("flat side", np.full(TIME.size, 120.0)),)
    picture = draw_trend(TIME, curves, (), WINDOW, View(), 120, 20, signs)
    plot = picture.text[0][6 : 120 - 22]
    assert plot.strip(" │") == "s"
    assert abs(plot.index("s") / len(plot) - 0.5) < 0.02


def test_old_curves_have_no_colour():
    assert set(np.unique(drawn(np.full(TIME.size, 120.0), old=True).ink)) <= {-1, FAINT}


def test_ascii_is_ascii_and_tells_curves_by_their_marks():
    curves = (Curve("a", np.full(TIME.size, 100.0)), Curve("b", np.full(TIME.size, 120.0)))
    picture = draw_trend(TIME, curves, (), WINDOW, View(ascii_only=True), 80, 16)
    assert "".join(picture.text).isascii()
    assert any(row.count("1") > 40 for row in picture.text)
    assert any(row.count("2") > 40 for row in picture.text)


@pytest.mark.parametrize("size", [(24, 4), (34, 7), (80, 12), (200, 60), (10, 2)])
@pytest.mark.parametrize("points", [0, 1, 1080])
def test_any_size_and_any_number_of_points(size, points):
    picture = draw_trend(TIME[:points], (Curve("x", np.full(points, 99.0)),), (), WINDOW, View(), *size)
    assert len(picture.text) == size[1]
    assert {len(row) for row in picture.text} == {size[0]}
