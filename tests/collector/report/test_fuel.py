"""The fuel log: what the curves show and what was marked, without a guess at mass."""

import pytest

from collector.report.fuel import fuel_log, mass_kg
from collector.snapshot import Mark, Verdict


def seen(minute, verdict=None):
    return Mark(60.0 * minute, "seen-refuel", "the fire picked up", f"refuel/{minute}", verdict)


def split(minute, text=""):
    return Mark(60.0 * minute, "split", text)


def test_a_split_near_what_was_seen_is_the_same():
    log = fuel_log([seen(10), split(18, "2 kg of oak"), split(70)])
    assert [(r.time_unix, r.seen, r.marked) for r in log.refuels] == [(1080.0, True, True), (4200.0, False, True)]
    assert log.total_kg == 2.0


def test_two_splits_near_one_seen_are_two():
    log = fuel_log([seen(10), split(12), split(20)])
    assert [r.seen for r in log.refuels] == [True, False]


def test_what_was_deleted_is_left_out_and_counted():
    log = fuel_log([seen(10), seen(50, Verdict.DELETED), seen(90, Verdict.CONFIRMED)])
    assert [r.marked for r in log.refuels] == [False, True]
    assert log.deleted == 1


def test_the_rhythm_divides_a_gap_that_hides_a_split():
    log = fuel_log([seen(m) for m in (0, 40, 80, 160, 202)])
    assert log.interval_seconds == 2400.0, "40, 40, 80 / 2 and 42"
    assert (log.interval_low_seconds, log.interval_high_seconds) == (2400.0, 2430.0)
    assert log.longest_seconds == 4800.0


def test_two_refuels_are_no_rhythm_and_no_mass_is_no_mass():
    log = fuel_log([seen(0), seen(40)])
    assert log.interval_seconds is None
    assert log.total_kg is None
    assert fuel_log([]).refuels == ()


@pytest.mark.parametrize(
    ("text", "kg"),
    [("2.1 kg oak", 2.1), ("oak 1,5kg", 1.5), ("3 lb", 1.361), ("4 pounds of hickory", 1.814), ("800 g", 0.8),
     ("2 splits", None), ("", None), ("a big one", None)],
)  # fmt: skip
def test_mass_is_read_out_of_the_words(text, kg):
    assert mass_kg(text) == kg
