"""Scores of a night whose truth and alarms were made by hand."""

import numpy as np
import pytest

from tests.bench.quality.nights.figures import FIGURES, Figure, Measured, NightScore, measure, verdict, wilson
from tests.bench.quality.nights.night_files import Night
from tests.bench.quality.nights.night_tables import night_tables
from tests.bench.quality.nights.reference.cold_reference import latch
from tests.bench.quality.nights.scoring_cold import score_cold
from tests.bench.quality.nights.scoring_drift import minutes_of, score_drift
from tests.bench.quality.pits.labels import cold_labels, drift_labels

ZONES = ["fire_front", "fire_back", "mid_front", "mid_back", "stack_front", "stack_back"]
HOURS = 10
T = np.arange(HOURS * 60) * 60.0 + 30.0
GRID = np.arange(30.0, HOURS * 3600.0 + 1.0, 30.0)


def night_of(zones: np.ndarray, causes: tuple = (), probed: list[str] = ZONES) -> Night:
    labels = {
        "cold": cold_labels(T, zones, ZONES, ()),
        "drift": drift_labels(T, zones, (), causes),
        "lid": [],
        "faults": [],
        "causes": list(causes),
        "events": [],
    }
    probes = {
        "hours": HOURS,
        "zones": ZONES,
        "target_F": 250.0,
        "probes": [{"id": name, "kind": "grate", "zone": name} for name in probed],
    }
    return Night(None, probes, labels, {"t": T, "zones": zones})


def cold_night(probed: list[str] = ZONES) -> Night:
    zones = np.full((len(T), 6), 250.0)
    zones[200:300, 5] -= 30.0  # 25 °F below the mean, from 3:20 to 5:00
    return night_of(zones, probed=probed)


def states(*spells: tuple[float, float, int]) -> np.ndarray:
    on = np.zeros((len(GRID), 6), bool)
    for start, end, zone in spells:
        on[(start * 60 <= GRID) & (end * 60 > GRID), zone] = True
    return on


def test_a_cold_spot_that_is_alarmed_for_has_its_delay() -> None:
    found = score_cold(cold_night(), GRID, states((208, 290, 5)))
    assert found["clear_missed"] == [0.0]
    assert found["clear_delay"] == [pytest.approx(8.0, abs=2.1)]
    assert found["clear_in_10"] == [1.0]
    assert found["clear_false"] == [0.0]


def test_one_without_an_alarm_is_missed_and_an_alarm_elsewhere_is_false() -> None:
    found = score_cold(cold_night(), GRID, states((208, 290, 0)))
    assert found["clear_missed"] == [1.0]
    assert found["clear_delay"] == [np.inf]
    assert (found["clear_false"], found["tight_false"]) == ([1.0], [1.0])


def test_a_zone_without_a_probe_is_counted_apart() -> None:
    watched = np.zeros((2, 6), bool)
    found = score_cold(cold_night(ZONES[:5]), GRID, states(), watched, np.array([13_000.0, 15_000.0]))
    assert found["clear_missed"] == []
    assert (found["no_probe_seen"], found["no_probe_said"]) == ([0.0], [1.0])


def test_a_dying_fire_is_scored_from_its_cause_and_standing_out_of_the_band_is_no_false_alarm() -> None:
    zones = 250.0 - np.interp(T, [10_800.0, 21_600.0], [0.0, 90.0])[:, None] * np.ones(6)
    night = night_of(zones, ({"cause": "fire dying", "start": 10_800.0, "direction": -1},))
    t = minutes_of(night)
    on = {1: np.zeros(len(t), bool), -1: (t >= 13_200.0) & (t < 36_000.0)}
    found = score_drift(night, on)
    assert found["drift_missed"] == [0.0]
    assert found["fire_delay"] == [pytest.approx(40.0, abs=1.0)]
    assert found["drift_false"] == [0.0]
    wrong_way = score_drift(night, {1: on[-1], -1: on[1]})
    assert (wrong_way["drift_missed"], wrong_way["fire_missed"], wrong_way["drift_false"]) == ([1.0], [1.0], [1.0])


def test_only_a_drift_out_of_the_band_must_be_alarmed_for() -> None:
    zones = 300.0 - np.interp(T, [10_800.0, 18_000.0], [0.0, 60.0])[:, None] * np.ones(6)  # back to the target
    night = night_of(zones)
    quiet = {way: np.zeros(len(minutes_of(night)), bool) for way in (1, -1)}
    assert score_drift(night, quiet)["drift_missed"] == []
    late = 250.0 + np.interp(T, [28_800.0, 36_000.0], [0.0, 80.0])[:, None] * np.ones(6)  # to the night's very end
    assert score_drift(night_of(late), quiet)["drift_missed"] == [1.0]


def test_wilsons_interval_is_that_of_the_published_example() -> None:
    # Newcombe, Statistics in Medicine 17 (1998), table I, method 3: 81 of 263, and 0 of 20
    assert wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=5e-5)
    assert wilson(0, 20) == pytest.approx((0.0, 0.1611), abs=5e-5)


def test_a_goal_is_met_not_excluded_or_missed() -> None:
    figure = Figure("x", "x", "share", high=0.5)
    assert verdict(figure, Measured(0.0, 0.0, 3.0, 100)) == "met"
    assert verdict(figure, Measured(1.0, 0.2, 5.0, 100)) == "not excluded"
    assert verdict(figure, Measured(5.0, 2.0, 9.0, 100)) == "missed"


def test_bootstrap_takes_nights_not_samples() -> None:
    figure = Figure("x", "x", "mean")
    nights = [{"x": [0.0] * 100}, {"x": [1.0] * 100}]  # samples of a night are no evidence of their own
    measured = measure(figure, nights)
    assert measured is not None
    assert (measured.low, measured.high) == (0.0, 1.0)


def test_the_table_marks_the_worst_source_and_a_better_reference() -> None:
    good = [NightScore("a", {"clear_missed": [0.0] * 20}, {"clear_missed": [0.0] * 20})]
    bad = [NightScore("b", {"clear_missed": [1.0] * 10 + [0.0] * 10}, {"clear_missed": [0.0] * 20})]
    text = night_tables({"one": good, "two": bad}, "two")
    row = next(line for line in text.splitlines() if line.startswith("| clear: missed"))
    assert "**50.0" in row
    assert row.count("WORST") == 1
    assert "(better)" in row
    assert "two (left out)" in text


def test_every_figure_has_a_name_of_its_own() -> None:
    keys = [figure.key for _, figures in FIGURES for figure in figures]
    assert len(keys) == len(set(keys))


def test_a_latch_stands_still_while_it_is_frozen() -> None:
    over = np.array([[True]] * 4 + [[False]] * 6)
    frozen = np.array([False, True, True, False] + [False] * 6)
    on = latch(over, ~over, 2, 3, frozen)[:, 0]
    assert on.tolist() == [False, False, False, True, True, True, False, False, False, False]
