"""What is typed of a reading by hand."""

import pytest
from msgspec.structs import replace

from collector.model.meat.spots import Spot
from collector.snapshot import SpotView
from tui.draw.by_hand import place_of, read_spot, usual_where


@pytest.mark.parametrize(
    ("value", "unit", "celsius"), [("198", "F", 92.2), ("92", "C", 92.0), ("92 C", "F", 92.0), ("198f", "C", 92.2)]
)
def test_a_number_is_in_the_unit_on_show_unless_it_names_its_own(value, unit, celsius):
    spot = read_spot("flat, thin end", value, unit, None)
    assert (spot.kind, spot.where, spot.x_m) == ("spot", "flat, thin end", None)
    assert spot.value == pytest.approx(celsius, abs=0.05)


def test_bread_is_scored():
    assert read_spot("stack end", "bread 4", "F", None) == Spot("bread", "stack end", 4.0)
    assert read_spot("stack end", "Bread3.5", "F", None).value == 3.5


@pytest.mark.parametrize(
    ("where", "value", "why"),
    [("", "198", "say where"), ("flat", "warm", "no temperature"), ("flat", "", "no temperature"),
     ("flat", "bread 9", "from 1"), ("flat", "nan", "no temperature"), ("flat", "2000", "no thermometer")],
)  # fmt: skip
def test_what_is_no_reading_is_refused_with_the_reason(where, value, why):
    with pytest.raises(ValueError, match=why):
        read_spot(where, value, "F", None)


def test_a_zone_and_a_probe_have_a_place_and_other_words_none(night):
    assert place_of("Flat side", night()) == (1.0, 0.25)
    assert place_of("far flat", night()) == (1.15, 0.15)
    assert place_of("under the lid", night()) == (None, None)
    assert place_of("somewhere", night()) == (None, None)


def test_of_two_flats_each_is_named_after_its_piece(night, piece):
    one = piece()
    flat, point = (replace(part, name=f"{part.name} tip") for part in one.parts)
    second = replace(one, name="second", parts=(replace(flat, probe="far flat"), replace(point, probe="none")))
    one = replace(one, parts=(replace(flat, probe="fire door"), point))
    cook = night(meat=(one, second))
    placed = {p.name: (p.x_m, p.y_m) for p in cook.probes}
    assert place_of("second FLAT tip", cook) == placed["far flat"]
    assert place_of("flat tip", cook) == (None, None), "which of them is not known"
    assert place_of("flat tip", night(meat=(replace(one, phase="off"), second))) == placed["far flat"]
    assert usual_where(cook) == "brisket flat tip"


def test_where_the_last_one_was_is_offered_first(night, piece):
    assert usual_where(night()) == ""
    assert usual_where(night(meat=(piece(),))) == "flat"
    assert usual_where(night(meat=(piece(),), spots=(SpotView(0.0, "spot", "point", None, None, 9.0),))) == "point"
