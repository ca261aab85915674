from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.model.chamber import model_of
from tui.draw.chamber_map import UNKNOWN_KELVIN, Subject, draw_chamber, range_celsius
from tui.draw.colour_scale import difference_scale, temperature_scale
from tui.draw.labels import place
from tui.draw.raster import Raster
from tui.draw.view import View

COLOURED = Subject("grate", temperature_scale("truecolor"))


def drawn(snapshot, width=80, height=20, subject=COLOURED, **view):
    return draw_chamber(snapshot, subject, Raster(), View(**view), width, height)


def test_every_probe_of_the_level_shows_its_number_and_no_other(night):
    text = "\n".join(drawn(night()).picture.text)
    for number in ("131", "122", "117", "107", "103", "99"):
        assert number in text
    assert "152" not in text
    assert "×" in text
    assert "▲131" in text
    assert "▼99" in text


def test_the_fire_end_stands_on_the_side_where_the_firebox_stands(night):
    left = night()
    right = replace(left, chamber=replace(left.chamber, fire_side="right"))
    for snapshot, fire_first in ((left, True), (right, False)):
        picture = drawn(snapshot).picture
        top = next(row for row in picture.text if "FIRE END" in row)
        assert (top.index("FIRE END") < top.index("STACK END")) is fire_first
        hot = next(row for row in picture.text if "▲131" in row)
        assert (hot.index("▲131") < 40) is fire_first
        cells = np.argwhere(picture.ink >= 0)
        warm = picture.ink[tuple(cells.T)] > 40
        assert bool(cells[warm, 1].mean() < cells[~warm, 1].mean()) is fire_first


def test_fahrenheit(night):
    text = "\n".join(drawn(night(), fahrenheit=True).picture.text)
    assert "268" in text
    assert "°F" in text


def test_differences_are_told_from_the_median_with_their_sign(night):
    text = "\n".join(drawn(night(), subject=Subject("grate", difference_scale("truecolor"), True)).picture.text)
    assert "▲+19" in text
    assert "▼-13" in text
    assert "from the median" in text


def test_where_the_field_does_not_know_there_is_no_colour(night):
    snapshot = night()
    few = replace(snapshot.fields[0], x_m=(0.1,), y_m=(0.25,), levels=(0,), celsius=(120.0,), noise_kelvin=(0.5,))
    drawing = drawn(replace(snapshot, fields=(few,)))
    assert 0.3 < drawing.unknown_share < 1.0
    picture = drawing.picture
    hatched = np.array([[c == "╱" for c in row] for row in picture.text])
    hatched[-1] = False
    assert hatched.any()
    assert (picture.ink[hatched] < 0).all()
    assert (picture.paper[hatched] < 0).all()
    assert any("unknown" in row for row in picture.text)


def test_the_hatching_is_where_the_models_own_deviation_is_large(night):
    snapshot = night()
    field = snapshot.fields[0]
    model = model_of(field, snapshot.chamber)
    _, sd = Raster().draw(field, snapshot.chamber, 60, 20)
    x = (np.arange(60) + 0.5) / 60 * snapshot.chamber.length_m
    y = (np.arange(20) + 0.5) / 20 * snapshot.chamber.width_m
    for row in (0, 9, 19):
        np.testing.assert_allclose(sd[row], model.sd_at(x, np.full(60, y[row])), atol=1e-9)
    share = (np.maximum(sd[0::2], sd[1::2]) > UNKNOWN_KELVIN).mean()
    assert 0.0 < share < 0.5


def test_a_level_without_a_field_is_hatched_all_over_and_still_tells_its_probes(night):
    drawing = drawn(night(fields=()))
    assert drawing.unknown_share == 1.0
    assert any("▲131" in row for row in drawing.picture.text)


def test_old_values_carry_no_colour(night):
    picture = drawn(night(), old=True).picture
    assert (picture.ink[:-1] < 0).all()
    assert (picture.paper[:-1] < 0).all()
    assert any("131" in row for row in picture.text)


@pytest.mark.parametrize("depth", ["16", "none"])
def test_without_colours_the_same_is_told_by_glyphs(night, depth):
    scale = temperature_scale(depth)
    picture = drawn(night(), subject=Subject("grate", scale)).picture
    assert (picture.ink < 0).all()
    hot = next(row for row in picture.text if "▲131" in row)
    assert hot.count(scale.ramp[-1]) > hot[40:].count(scale.ramp[-1])
    assert scale.ramp[0] in hot[60:]


def test_ascii_is_ascii(night):
    subject = Subject("grate", temperature_scale("none", ascii_only=True))
    text = "\n".join(drawn(night(), subject=subject, ascii_only=True).picture.text)
    assert text.isascii()
    assert "^131" in text
    assert "v99" in text


@settings(max_examples=60, deadline=None)
@given(width=st.integers(1, 220), height=st.integers(1, 70), fire=st.sampled_from(["left", "right"]))
def test_the_picture_fills_exactly_what_it_was_given(night, width, height, fire):
    snapshot = night()
    snapshot = replace(snapshot, chamber=replace(snapshot.chamber, fire_side=fire))
    picture = drawn(snapshot, width, height).picture
    assert len(picture.text) == height
    assert {len(row) for row in picture.text} == {width}
    assert picture.ink.shape == picture.paper.shape == (height, width)
    if width >= 20 and height >= 6:
        inner = [row for row in picture.text[:-1] if "│" in row]
        assert all(row.count("│") == 2 for row in inner), "a number covers the outline"


@settings(max_examples=100)
@given(
    places=st.lists(st.tuples(st.floats(0, 1.5), st.floats(0, 0.5)), min_size=1, max_size=24),
    width=st.integers(8, 90),
    height=st.integers(1, 20),
)
def test_numbers_overlap_neither_each_other_nor_the_border(night, places, width, height):
    snapshot = night()
    probes = [replace(snapshot.probes[0], name=str(i), x_m=x, y_m=y) for i, (x, y) in enumerate(places)]
    labels, left_out = place([(p, " 123 ") for p in probes], snapshot.chamber, width, height)
    assert len(labels) + len(left_out) == len(probes)
    taken = set()
    for label in labels:
        assert 0 <= label.row < height
        assert 0 <= label.column <= width - len(label.text)
        cells = {(label.row, label.column + i) for i in range(len(label.text))}
        assert not cells & taken
        taken |= cells


def test_the_scale_holds_the_band_and_every_probe_of_the_level(night):
    assert range_celsius(night(), "grate") == (90.0, 140.0)
    assert range_celsius(night(), "top") == (100.0, 160.0)
