"""The survey of a report on a worked example: the quantities of IEC 60068-3-5, laid out as AMS2750 surveys are.

The definitions are the standards' (wording from memory, the texts were not at hand); the numbers are ours, small enough
to check by head. Three places of a grate, sixty minutes, the reference 100 all the time. In the first half hour each
place has its first value in even minutes and its second in odd ones, in the second half hour likewise:

    place     1st half hour   2nd half hour   mean of each   swing of each
    west        104  108        106  112        106  109         4  6
    centre      100  102        101  101        101  101         2  0
    east         90   94         92   92         92   92         4  0

So the gradient is 14 and 17, between west and east. Variation in space (centre
less place): west -5 and -8, east 9 and 9.
"""

import numpy as np
import pytest

from collector.report.survey import Points, survey_of

PLACES = {"west": ((104, 108), (106, 112)), "centre": ((100, 102), (101, 101)), "east": ((90, 94), (92, 92))}
UNIX = 1_790_000_000.0 + 60.0 * np.arange(60)


def points(celsius, names=tuple(PLACES)):
    return Points(names, ("grate",) * len(names), celsius, np.full(len(names), 1.5), np.ones(len(names), dtype=bool))


def record():
    return np.array([[halves[k // 30][k % 2] for k in range(60)] for halves in PLACES.values()], dtype=np.float64)


def survey(celsius=None, steady=None, centre=1):
    celsius = record() if celsius is None else celsius
    steady = np.ones(60, dtype=bool) if steady is None else steady
    none = points(np.zeros((0, 60)), ())
    return survey_of(UNIX, steady, points(celsius), none, np.full(60, 100.0), "the target", centre)


def test_deviations_from_the_reference_with_the_furthest_above_and_below():
    west, centre, east = survey().probes
    assert (west.mean_celsius, west.deviation_kelvin, west.above_kelvin, west.below_kelvin) == (107.5, 7.5, 12.0, 4.0)
    assert (centre.deviation_kelvin, centre.above_kelvin, centre.below_kelvin) == (1.0, 2.0, 0.0)
    assert (east.deviation_kelvin, east.above_kelvin, east.below_kelvin) == (-8.0, -6.0, -10.0)
    assert [p.sd_kelvin for p in survey().probes] == [1.5] * 3


def test_fluctuation_is_the_swing_of_one_place_in_half_an_hour():
    found = [(p.fluctuation_kelvin, p.fluctuation_most_kelvin) for p in survey().probes]
    assert found == [(5.0, 6.0), (1.0, 2.0), (2.0, 4.0)]


def test_gradient_is_the_greatest_difference_of_two_means_in_a_half_hour():
    found = survey()
    assert (found.gradient_kelvin, found.gradient_most_kelvin) == (15.5, 17.0)
    assert found.gradient_most_unix == UNIX[30]
    assert found.gradient_between == ("west", "east")


def test_variation_in_space_is_the_centre_less_the_place():
    assert [p.variation_kelvin for p in survey().probes] == [-6.5, 0.0, 9.0]
    assert survey().centre == "centre"


def test_without_a_centre_there_is_no_variation_in_space():
    found = survey(centre=None)
    assert found.centre == ""
    assert [p.variation_kelvin for p in found.probes] == [None] * 3


def test_minutes_that_are_not_steady_do_not_count_and_are_told():
    celsius, steady = record(), np.ones(60, dtype=bool)
    celsius[:, 10:14], steady[10:14] = 500.0, False
    found = survey(celsius, steady)
    assert (found.minutes, found.left_out_minutes, found.windows) == (56, 4, 2)
    assert found.probes[0].above_kelvin == 12.0


def test_a_half_hour_of_too_few_minutes_is_no_half_hour():
    steady = np.ones(60, dtype=bool)
    steady[40:50] = False
    found = survey(steady=steady)
    assert found.windows == 1
    assert found.gradient_most_kelvin == 14.0


def test_a_place_that_was_hardly_known_has_no_fluctuation_but_a_share():
    celsius = record()
    celsius[2, 12:] = np.nan
    east = survey(celsius).probes[2]
    assert east.known_share == pytest.approx(0.2)
    assert east.fluctuation_kelvin is None
    assert east.variation_kelvin is None
    assert survey(celsius).gradient_most_kelvin == 8.0, "west and centre are left"


def test_less_than_half_an_hour_is_no_survey():
    steady = np.zeros(60, dtype=bool)
    steady[:24] = True
    assert survey(steady=steady) is None


def test_places_of_which_nothing_is_known_give_no_numbers():
    found = survey(np.full((3, 60), np.nan))
    assert found.gradient_kelvin is None
    assert found.gradient_between == ()
    assert {p.deviation_kelvin for p in found.probes} == {None}
