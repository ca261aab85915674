import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from collector.model.chamber import model_of
from collector.raster import Raster
from collector.snapshot import PlaceView, SpotView
from tui.draw.chamber_map import UNKNOWN_KELVIN, Subject, draw_chamber, range_celsius
from tui.draw.colour_scale import difference_scale, temperature_scale
from tui.draw.labels import place, place_signs
from tui.draw.picture import STRONG
from tui.draw.places import NO_TELLING, Places
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


def test_the_coldest_and_the_hottest_place_are_marked_and_told_with_how_sure_they_are(night):
    drawing = drawn(night(), 100, 24)
    *rows, told, _ = drawing.picture.text
    assert told.rstrip() == "◇ coldest 99 ±2 °C by the stack  ◆ hottest 131 ±3 °C near the back by the fire"
    hot = next((i, row.index("◆")) for i, row in enumerate(rows) if "◆" in row)
    cold = next((i, row.index("◇")) for i, row in enumerate(rows) if "◇" in row)
    assert hot[1] < 25 < 75 < cold[1]
    assert hot[0] < cold[0], "near the back, above the middle"
    assert "\n".join(rows).count("◆") == "\n".join(rows).count("◇") == 1
    assert drawing.picture.ink[hot] == drawing.picture.ink[cold] == STRONG


@pytest.mark.parametrize("depth", ["truecolor", "16", "none"])
def test_places_have_signs_of_their_own_without_colour_and_in_ascii(night, depth):
    subject = Subject("grate", temperature_scale(depth, ascii_only=True))
    rows = drawn(night(), 80, 11, subject, ascii_only=True).picture.text
    assert "\n".join(rows).isascii()
    assert "[c] coldest 99 +-2  [h] hottest 131 +-3" in rows[-1]
    assert "[h]" in "\n".join(rows[:5])
    assert "[c]" in "\n".join(rows[3:-1])


def test_with_few_rows_the_places_are_told_in_short_beside_the_scale(night):
    last = drawn(night(), 80, 11, fahrenheit=True).picture.text[-1]
    assert "◇ coldest 210 ±4  ◆ hottest 268 ±5  ╱ unknown  ▲▼ probes" in last
    assert last.startswith("194 ")
    assert " 284 °F " in last


@pytest.mark.parametrize("size", [(80, 11), (100, 24), (50, 24)])
def test_where_places_cannot_be_told_apart_none_is_marked(night, size):
    snapshot = night()
    unsure = replace(snapshot.fields[0], difference_sd_kelvin=16.1)
    text = "\n".join(drawn(replace(snapshot, fields=(unsure,)), *size).picture.text)
    assert NO_TELLING in text
    assert not set("◆◇") & set(text)
    sure = replace(snapshot.fields[0], difference_sd_kelvin=15.9)
    assert "◇ coldest 99" in "\n".join(drawn(replace(snapshot, fields=(sure,)), *size).picture.text)


def test_differences_tell_the_places_as_differences_too(night):
    text = "\n".join(drawn(night(), 100, 24, Subject("grate", difference_scale("truecolor"), True)).picture.text)
    assert "◇ coldest -13 ±2 °C by the stack" in text
    assert "◆ hottest +19 ±3 °C near the back by the fire" in text


@pytest.mark.parametrize(
    ("x_m", "y_m", "where"),
    [
        (0.1, 0.05, "near the back by the fire"), (0.75, 0.45, "near the door midway"), (1.4, 0.25, "by the stack"),
        (0.75, 0.25, "in the middle"), (1.4, 0.45, "near the door by the stack"),
    ],
)  # fmt: skip
def test_a_place_is_told_by_thirds_whichever_side_the_fire_is(night, x_m, y_m, where):
    snapshot = night()
    field = replace(snapshot.fields[0], coldest=PlaceView(x_m, y_m, 99.0, 0.1))
    for side in ("left", "right"):
        words = Places(field, replace(snapshot.chamber, fire_side=side), View()).plain()
        assert words.startswith(f"coldest 99 ±1 °C {where}, hottest 131 "), "never surer than a degree"


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
    signs = place_signs([(*places[0], " ◇ "), (*places[-1], " ◆ ")], labels, snapshot.chamber, width, height)
    taken = set()
    for label in [*labels, *signs]:
        assert 0 <= label.row < height
        assert 0 <= label.column <= width - len(label.text)
        cells = {(label.row, label.column + i) for i in range(len(label.text))}
        assert not cells & taken
        taken |= cells


def test_the_scale_holds_the_band_and_every_probe_of_the_level(night):
    assert range_celsius(night(), "grate") == (90.0, 140.0)
    assert range_celsius(night(), "top") == (100.0, 160.0)


def test_a_piece_is_outlined_where_it_lies_and_hides_no_number(night, piece):
    with_meat = drawn(night(meat=(piece(),)))
    without = drawn(night())
    text = "\n".join(with_meat.picture.text)
    assert {"┏", "┓", "┗", "┛"} <= set(text)
    assert "brisket" in text
    numbers = [n for n in ("131", "122", "117", "107", "103", "99") if n not in text]
    assert not numbers
    assert with_meat.left_out == without.left_out
    rows = [row for row in with_meat.picture.text if "┏" in row]
    assert (rows[0].index("┏") - 1) / 76 == pytest.approx(0.4 / 1.5, abs=0.03)
    top = drawn(night(meat=(piece(),)), subject=Subject("top", temperature_scale("truecolor"))).picture
    assert "┏" not in "\n".join(top.text)
    assert "┏" not in "\n".join(drawn(night(meat=(piece(phase="resting"),))).picture.text)


@pytest.mark.parametrize("width", [20, 40, 80, 140])
@pytest.mark.parametrize("height", [6, 9, 14, 30])
def test_where_there_is_hardly_room_numbers_come_before_meat(night, piece, width, height):
    spots = (SpotView(0.0, "spot", "flat", 0.9, 0.25, 90.0),)
    with_meat = drawn(night(meat=(piece(),), spots=spots), width, height)
    assert with_meat.left_out == drawn(night(), width, height).left_out


@pytest.mark.parametrize("x_m", [float("nan"), float("inf"), -5.0, 55.0])
def test_a_place_that_cannot_be_draws_no_nonsense(night, piece, x_m):
    spots = (SpotView(0.0, "spot", "flat", x_m, 0.2, 90.0),)
    strange = drawn(night(meat=(piece(place=(x_m, 1.0, 0.1, 0.4)),), spots=spots))
    assert strange.left_out == drawn(night()).left_out


def test_readings_by_hand_are_marked_where_they_were_taken_and_told_in_the_legend(night):
    spots = (SpotView(0.0, "spot", "thin end", 1.3, 0.42, 90.0), SpotView(0.0, "bread", "no place", None, None, 3.0))
    for view, sign in (({}, "◦"), ({"ascii_only": True}, "o")):
        rows = drawn(night(spots=spots), 100, 26, **view).picture.text
        assert sum(f" {sign} " in row for row in rows[:-3]) == 1
        assert f"{sign} by hand" in rows[-1]
    assert "by hand" not in drawn(night(), 100, 26).picture.text[-1]


class MadeRaster(Raster):
    """Knows every place equally well but for three cells of the first row: only above, only below, both halves."""

    def draw(self, field, chamber, columns, rows):
        mean, sd = np.full((rows, columns), 110.0), np.full((rows, columns), 3.9)
        sd[0, 0] = sd[1, 1] = 4.1
        sd[0:2, 2] = 4.1
        return mean, sd


@pytest.mark.parametrize("depth", ["truecolor", "none"])
def test_a_cell_is_hatched_if_either_half_of_it_is_unknown(night, depth):
    """A cell shows two pixels; unknown is what may be off by more than 4 K, one standard deviation."""
    bare = night(probes=(), meat=(), spots=())
    drawing = draw_chamber(bare, Subject("grate", temperature_scale(depth)), MadeRaster(), View(), 80, 20)
    rows = [row for row in drawing.picture.text[:-1] if "╱" in row]
    assert len(rows) == 1, "but for the legend"
    row = rows[0]
    first = row.index("│") + 1
    assert [row[first + k] == "╱" for k in range(5)] == [True, True, True, False, False]
    assert row.count("╱") == 3
    columns = row.rindex("│") - first
    inside = [text for text in drawing.picture.text if "│" in text]
    assert drawing.unknown_share == pytest.approx(3 / (columns * len(inside)))
