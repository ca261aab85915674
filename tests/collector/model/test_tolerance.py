"""Tolerance classes: the published limits, and in which a calibrated probe stands."""

import math
import typing

import pytest

from collector.model.calibration import Kind, Point
from collector.model.tolerance import CLASSES, PLATINUM, Standing, best_class, standing_in
from collector.settings.shape import ToleranceClass


@pytest.mark.parametrize(
    ("name", "celsius", "kelvin"),
    [
        # IEC 60751, table of tolerances
        ("IEC 60751 AA", 0.0, 0.1), ("IEC 60751 AA", 100.0, 0.27), ("IEC 60751 A", 0.0, 0.15),
        ("IEC 60751 A", 100.0, 0.35), ("IEC 60751 A", -100.0, 0.35), ("IEC 60751 B", 0.0, 0.3),
        ("IEC 60751 B", 100.0, 0.8), ("IEC 60751 B", 200.0, 1.3), ("IEC 60751 C", 100.0, 1.6),
        # IEC 60584-1, type K (from memory)
        ("IEC 60584-1 K class 1", 100.0, 1.5), ("IEC 60584-1 K class 1", 500.0, 2.0),
        ("IEC 60584-1 K class 2", 100.0, 2.5), ("IEC 60584-1 K class 2", 400.0, 3.0),
    ],
)  # fmt: skip
def test_limits(name, celsius, kelvin):
    assert CLASSES[name].limit_kelvin(celsius) == pytest.approx(kelvin)
    assert CLASSES[name].sd_kelvin(celsius) == pytest.approx(kelvin / math.sqrt(3.0))


def test_the_config_may_name_every_class():
    assert set(typing.get_args(ToleranceClass)) == set(CLASSES) >= set(PLATINUM)


def point(off, celsius=0.0, sd=0.05):
    return Point(Kind.ICE if celsius == 0.0 else Kind.BOIL, celsius, celsius + off, sd, 0.0)


def test_how_a_probe_stands_to_its_class():
    assert standing_in("IEC 60751 B", [point(0.29)]) is Standing.WITHIN
    assert standing_in("IEC 60751 B", [point(-0.35)]) is Standing.EDGE
    assert standing_in("IEC 60751 B", [point(0.45)]) is Standing.OUTSIDE
    assert standing_in("IEC 60751 B", [point(0.1), point(1.5, 99.0)]) is Standing.OUTSIDE, "the worst point tells"


def test_the_best_class_is_never_one_the_bath_could_not_tell():
    assert best_class([point(0.05)]) == "IEC 60751 AA"
    assert best_class([point(0.05, sd=0.1)]) == "IEC 60751 B"
    assert best_class([point(0.5)]) == "IEC 60751 C"
    assert best_class([point(0.05), point(0.9, 99.97)]) == "IEC 60751 C"
    assert best_class([point(3.0)]) == ""
    assert best_class([]) == ""
