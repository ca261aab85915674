"""Why a zone may run cold: the likeliest reason first."""

import math

import pytest

from collector.model.cold_reason import likely_reason

NOTHING = {
    "grown": True, "rate_kelvin_per_second": 0.0, "in_doubt": False, "since_lid_seconds": math.inf,
    "fire_below_kelvin": -math.inf, "restless": 1.0,
}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({}, "it came slowly"),
        ({"rate_kelvin_per_second": 0.01}, "it came fast"),
        ({"restless": 2.5}, "gusty"),
        ({"fire_below_kelvin": 4.0}, "the fire runs low too"),
        ({"since_lid_seconds": 600.0}, "since the lid was open"),
        ({"grown": False}, "all night"),
        ({"in_doubt": True}, "or one of its probes lies"),
        ({"in_doubt": True, "grown": False, "since_lid_seconds": 1.0}, "or one of its probes lies"),
        ({"since_lid_seconds": 600.0, "restless": 9.0}, "since the lid was open"),
    ],
)
def test_the_likeliest_reason_is_told(change, says):
    assert says in likely_reason(**NOTHING | change)
