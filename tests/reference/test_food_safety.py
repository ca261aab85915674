"""Time and temperature as food law prints them, beside what is counted here."""

import math

import numpy as np
import pytest
from scipy import stats

from collector.model.meat.cooling import LIMITS, Cooling, CoolingRule, PartCooling
from collector.model.meat.piece import FOOD_CODE_HOLD_CELSIUS, Cut, Part, Piece, Species, species_of
from collector.model.meat.safety import (
    APPENDIX_A_SECONDS,
    COME_UP_HIGH_CELSIUS,
    COME_UP_LOW_CELSIUS,
    COME_UP_SECONDS,
    COME_UP_SOON_SECONDS,
    DANGER_HIGH_CELSIUS,
    DANGER_LOW_CELSIUS,
    done_words,
    has_table,
    log_reduction_per_second,
    minimum_doubts,
)

# USDA FSIS, Appendix A to the compliance guidelines (January 1999, updated June 1999), cooked, roast and corned beef:
# degrees Fahrenheit, seconds for 6.5 and for 7 log reductions of Salmonella, printed in minutes up to 145 °F
APPENDIX_A = [
    (130, 112 * 60, 121 * 60), (135, 36 * 60, 37 * 60), (140, 12 * 60, 12 * 60), (145, 4 * 60, 4 * 60), (150, 67, 72),
    (155, 22, 23),
]  # fmt: skip
# FDA Food Code 2005 and later, 3-401.11(B)(2), whole meat roasts: degrees Fahrenheit, minutes
FOOD_CODE_ROASTS = [(130, 112), (133, 56), (135, 36), (136, 28), (138, 18), (140, 12), (142, 8), (144, 5), (145, 4)]


def celsius(fahrenheit):
    return (fahrenheit - 32.0) / 1.8


@pytest.mark.parametrize(("fahrenheit", "six_and_a_half", "seven"), APPENDIX_A)
def test_a_row_of_appendix_a_held_for_its_time_is_its_reduction(fahrenheit, six_and_a_half, seven):
    rate = log_reduction_per_second(celsius(fahrenheit))
    assert rate * six_and_a_half == pytest.approx(6.5)
    assert rate * seven == pytest.approx(7.0, abs=0.55), "its rows are printed in whole minutes, and 145 °F is a floor"


@pytest.mark.parametrize(("fahrenheit", "minutes"), FOOD_CODE_ROASTS)
def test_the_roasts_of_the_food_code_are_the_same_table(fahrenheit, minutes):
    assert 60 * minutes * log_reduction_per_second(celsius(fahrenheit)) == pytest.approx(6.5, rel=0.05)


def test_the_rows_follow_the_law_of_thermal_death():
    """Ten degrees Fahrenheit a decade: the z value of the table, by a straight line through its rows with scipy."""
    table = np.array(APPENDIX_A_SECONDS)
    fit = stats.linregress(table[:, 0], np.log10(table[:, 1]))
    assert -1.0 / fit.slope == pytest.approx(10.0, abs=0.1)
    assert fit.rvalue**2 > 0.999


def test_between_rows_it_goes_straight_and_outside_it_is_careful():
    between = log_reduction_per_second(celsius(140.5))
    around = [log_reduction_per_second(celsius(f)) for f in (140, 141)]
    assert between == pytest.approx(math.sqrt(around[0] * around[1]))
    assert log_reduction_per_second(celsius(129.9)) == 0.0
    hot = log_reduction_per_second(celsius(157))
    assert log_reduction_per_second(celsius(200)) == hot
    assert log_reduction_per_second(math.nan) == 0.0


@pytest.mark.parametrize("species", Species)
@pytest.mark.parametrize("cut", Cut)
def test_the_table_of_roasts_of_beef_is_used_for_nothing_else(species, cut):
    assert has_table(species, cut) is (species is Species.BEEF and cut is Cut.BRISKET)


def test_a_cut_that_may_be_anything_is_not_taken_for_beef():
    assert [species_of(cut) for cut in (Cut.BRISKET, Cut.PORK_SHOULDER)] == [Species.BEEF, Species.PORK]
    assert {species_of(cut) for cut in (Cut.RIBS, Cut.OTHER)} == {Species.UNKNOWN}


# USDA FSIS, Safe Minimum Internal Temperature Chart: whole beef, pork, lamb 145 °F with three minutes of rest, poultry
# 165 °F, as printed
@pytest.mark.parametrize(
    ("species", "fahrenheit"),
    [(Species.BEEF, 145), (Species.PORK, 145), (Species.LAMB, 145), (Species.POULTRY, 165), (Species.UNKNOWN, 165)],
)
def test_minimum_temperatures_of_the_usda(species, fahrenheit):
    def piece(done_fahrenheit):
        return Piece("p", Cut.OTHER, (Part("breast", "b", done_at=celsius(done_fahrenheit)),), species=species)

    assert not minimum_doubts(piece(fahrenheit))
    (doubt,) = minimum_doubts(piece(fahrenheit - 1))
    assert f"below {fahrenheit} °F" in doubt
    assert "by feel" not in done_words(piece(fahrenheit - 1)).removeprefix("not by feel")
    by_feel = species in (Species.BEEF, Species.PORK, Species.LAMB)
    assert done_words(piece(203)).startswith("probe it, it is done by feel" if by_feel else "not by feel: its coldest")


def test_limits_of_the_come_up():
    """USDA FSIS, Revised Appendix A (December 2021), from memory: 50 to 130 °F within six hours."""
    assert [round(c * 1.8 + 32) for c in (COME_UP_LOW_CELSIUS, COME_UP_HIGH_CELSIUS)] == [50, 130]
    assert COME_UP_SECONDS == 6 * 3600
    assert COME_UP_SOON_SECONDS < COME_UP_SECONDS


def test_limits_of_the_food_code():
    """3-501.16: hot holding 135 °F, cold holding 41 °F; 57 and 5 °C as the code prints them."""
    assert round(FOOD_CODE_HOLD_CELSIUS) == 57
    assert (round(DANGER_LOW_CELSIUS), round(DANGER_HIGH_CELSIUS)) == (5, 57)


@pytest.mark.parametrize(
    ("to_70_hours", "to_41_hours", "late"), [(1.9, 5.9, False), (2.1, 5.9, True), (1.9, 6.1, True), (2.0, 6.0, False)]
)
def test_cooling_in_two_stages(to_70_hours, to_41_hours, late):
    """FDA Food Code 3-501.14: from 135 to 70 °F within two hours, to 41 °F within six in all."""
    cooling = PartCooling()
    cooling.look(-600.0, celsius(140))
    assert math.isnan(cooling.due_unix())
    cooling.look(0.0, celsius(134.9))
    assert cooling.due_unix() == 2 * 3600
    cooling.look(3600 * to_70_hours, celsius(70))
    assert cooling.due_unix() == 6 * 3600
    cooling.look(3600 * to_41_hours, celsius(41))
    assert math.isnan(cooling.due_unix())
    assert cooling.late() is late


@pytest.mark.parametrize(
    ("to_80_hours", "to_40_hours", "late"), [(1.4, 6.3, False), (1.6, 5.0, True), (1.4, 6.5, True), (1.5, 6.5, False)]
)
def test_cooling_by_appendix_b(to_80_hours, to_40_hours, late):
    """USDA FSIS Appendix B, first option: from 130 to 80 °F within an hour and a half, to 40 °F within five more."""
    cooling = PartCooling(LIMITS[CoolingRule.APPENDIX_B])
    cooling.look(-600.0, celsius(131))
    assert math.isnan(cooling.due_unix())
    cooling.look(0.0, celsius(129.9))
    assert cooling.due_unix() == 1.5 * 3600
    cooling.look(3600 * to_80_hours, celsius(80))
    assert cooling.due_unix() == 3600 * (to_80_hours + 5)
    cooling.look(3600 * to_40_hours, celsius(41))
    assert not math.isnan(cooling.due_unix()), "41 °F are not 40"
    cooling.look(3600 * to_40_hours, celsius(40))
    assert math.isnan(cooling.due_unix())
    assert cooling.late() is late


def test_each_part_is_cooled_against_its_own_clock():
    """The flat passes 135 °F an hour before the point; FDA Food Code 3-501.14 gives each two hours from there."""
    cooling = Cooling()
    cooling.look(0.0, {"flat": celsius(134), "point": celsius(160)})
    assert cooling.due_unix() == 2 * 3600
    cooling.look(3600.0, {"flat": celsius(100), "point": celsius(134)})
    assert cooling.due_unix() == 2 * 3600, "the flat's time is over first"
    cooling.look(2.5 * 3600, {"flat": celsius(71), "point": celsius(90)})
    assert cooling.left_seconds(2.5 * 3600) < 0.0, "the flat is late, though the warmest part has half an hour left"
    cooling.look(2.6 * 3600, {"flat": celsius(69), "point": math.nan})
    assert cooling.left_seconds(2.6 * 3600) < 0.0, "that it took too long stays"
