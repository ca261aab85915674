"""Labels of a truth that was made by hand."""

import numpy as np

from tests.bench.quality.pits.labels import cold_labels, drift_labels

MINUTES = 600
T = np.arange(MINUTES) * 60.0 + 30.0
NAMES = ("a", "b", "c", "d", "e", "f")


def flat() -> np.ndarray:
    return np.full((MINUTES, 6), 250.0)


def test_a_zone_that_falls_is_cold_for_each_limit_that_it_passes() -> None:
    zones = flat()
    zones[200:260, 2] -= 21.6  # its own weight lowers the mean by a sixth: 18 °F below
    found = cold_labels(T, zones, NAMES, ())
    assert {(spot["zone"], spot["D"]) for spot in found} == {("c", 10), ("c", 15)}
    spot = next(spot for spot in found if spot["D"] == 15)
    assert spot["peak"] == 18.0
    assert abs(spot["start"] - T[200]) <= 120.0
    assert abs(spot["end"] - T[260]) <= 120.0


def test_nine_minutes_are_too_short() -> None:
    zones = flat()
    zones[200:209, 2] -= 60.0
    assert not [spot for spot in cold_labels(T, zones, NAMES, ()) if spot["end"] - spot["start"] < 600.0]


def test_what_a_door_opening_cools_is_no_cold_spot() -> None:
    zones = flat()
    zones[200:208, 2] -= 80.0
    assert cold_labels(T, zones, NAMES, ())
    assert not cold_labels(T, zones, NAMES, [(T[200], T[201])])


def test_a_fall_of_eighty_degrees_in_two_hours_is_a_major_drift_with_its_cause() -> None:
    zones = flat() - np.interp(T, [18_000.0, 25_200.0], [0.0, 80.0])[:, None]
    cause = {"cause": "fire dying", "start": 18_000.0, "direction": -1}
    (drift,) = drift_labels(T, zones, (), [cause])
    assert (drift["direction"], drift["size"], drift["cause"]) == (-1, "major", "fire dying")
    assert -80.0 < drift["excursion_F"] < -65.0  # the hour's mean has its slope for less than the fall lasts
    assert drift["start"] == 18_000.0
    assert 18_000.0 < drift["moved_10F"] < 21_600.0


def test_a_rise_is_not_laid_to_a_dying_fire_and_a_slow_one_is_no_drift() -> None:
    cause = {"cause": "fire dying", "start": 18_000.0, "direction": -1}
    rises = flat() + np.interp(T, [18_000.0, 25_200.0], [0.0, 40.0])[:, None]
    assert [drift["cause"] for drift in drift_labels(T, rises, (), [cause])] == [None]
    slow = flat() - np.interp(T, [3_600.0, 32_400.0], [0.0, 80.0])[:, None]  # 10 °F/h
    assert drift_labels(T, slow, (), [cause]) == []
