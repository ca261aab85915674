"""The quantities of IEC 60068-3-5 on a worked example.

The definitions are the standard's (wording from memory, the text was not at hand); the example's numbers are ours,
small enough to check by head: five places, four moments.

    place    0    1    2    3      mean   swing
    A      100  101  102  101     101      2
    B      110  112  111  111     111      2
    C       95   97   96   96      96      2
    D      105  104  103  104     104      2
    E (centre) 103 105 104 104    104      2
"""

import numpy as np
import pytest

from collector.model.evenness import along, fluctuation, gradient, spread, top_to_grate, variation_in_space

RECORD = np.array(
    [[100, 101, 102, 101], [110, 112, 111, 111], [95, 97, 96, 96], [105, 104, 103, 104], [103, 105, 104, 104.0]]
)


def test_fluctuation_is_the_swing_of_each_place():
    assert fluctuation(RECORD).tolist() == [2, 2, 2, 2, 2]


def test_gradient_is_the_greatest_difference_of_two_means():
    assert gradient(RECORD) == 111 - 96


def test_variation_in_space_is_against_the_centre():
    assert variation_in_space(RECORD, centre=4).tolist() == [3, -7, 8, 0, 0]


def test_a_missing_value_is_left_out_and_a_missing_place_is_unknown():
    record = RECORD.copy()
    record[0, 1] = np.nan
    record[2] = np.nan
    assert fluctuation(record)[0] == 2
    assert np.isnan(fluctuation(record)[2])
    assert gradient(record) == pytest.approx(111 - 101)


def test_spread_along_and_top_to_grate():
    assert spread(np.array([100.0, np.nan, 92.0])) == 8
    assert np.isnan(spread(np.array([100.0, np.nan])))
    x = np.array([0.1, 0.6, 1.1])
    assert along(x, 120 - 10 * x, 1.2) == pytest.approx(12.0)
    assert top_to_grate(np.array([150.0, 160.0, 170.0]), np.array([110.0, 111.0, 100.0])) == 49
