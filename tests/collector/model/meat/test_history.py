"""What a probe has shown before its piece was described: what counts as meat, and what cannot be."""

import math

import pytest

from collector.model.meat.history import in_meat_since

NAN = math.nan


def told(*values, grate=110.0):
    return [(60.0 * minute, value, grate) for minute, value in enumerate(values)]


@pytest.mark.parametrize(
    ("values", "since"),
    [
        ((4.0, 5.0, 6.0), 0.0),
        ((109.0, 108.0, 40.0, 41.0), 120.0),  # hung in the pit, then in meat
        ((22.0, 22.0, 8.0, 5.0, 6.0), 120.0),  # lay on the table, then in cold meat
        ((22.0, 22.0, 22.0), 0.0),  # on a table, or meat on a table: the longer time counts
        ((60.0, 52.0, 53.0), 0.0),  # moved within meat that cooks
        ((NAN, 30.0, NAN, 31.0, NAN), 60.0),
    ],
)
def test_it_counts_as_meat_since_it_last_cannot_have_been_in_any(values, since):
    assert in_meat_since(told(*values)) == since


@pytest.mark.parametrize("values", [(), (NAN, NAN), (5.0, 20.0, 106.0), (101.5,)])
def test_a_probe_in_the_air_of_a_hot_pit_is_in_no_meat(values):
    assert math.isnan(in_meat_since(told(*values)))


def test_in_a_cold_pit_air_and_meat_look_the_same():
    assert in_meat_since(told(20.0, 20.5, grate=20.0)) == 0.0
