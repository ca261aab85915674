"""The measures of alarms against a night worked out by hand.

Definitions after ISA-18.2 / IEC 62682 and EEMUA 191 as `collector.model.alarm_measures` states them, from memory: more
than ten alarms in ten minutes are a flood, three within a minute chatter, a day on end is stale.
"""

import math

import pytest

from collector.model.alarm import AlarmEvent, Transition
from collector.model.alarm_measures import measures
from collector.snapshot import AlarmState, Priority

S, E = AlarmState, AlarmEvent
START = 1_790_000_000.0


def step(at, key, event, before, after, priority=Priority.SOON):
    return Transition(START + at, key, event, before, after, 9.0, 8.0, "", priority)


def raised(at, key, priority=Priority.SOON, before=S.NORMAL):
    return step(at, key, E.ACTIVE, before, S.UNACKNOWLEDGED, priority)


def seen(at, key):
    return step(at, key, E.ACKNOWLEDGE, S.UNACKNOWLEDGED, S.ACKNOWLEDGED)


def over(at, key, before=S.UNACKNOWLEDGED):
    after = S.RETURNED if before is S.UNACKNOWLEDGED else S.NORMAL
    return step(at, key, E.INACTIVE, before, after)


def test_a_night_worked_out_by_hand():
    steps = [
        step(0, "cold-spot/a", E.SUPPRESS, S.NORMAL, S.SUPPRESSED),
        step(3600, "cold-spot/a", E.UNSUPPRESS, S.SUPPRESSED, S.NORMAL),
        raised(4000, "cold-spot/a", Priority.URGENT), seen(4060, "cold-spot/a"),
        over(7600, "cold-spot/a", S.ACKNOWLEDGED),
        raised(8000, "spread/grate"), over(8010, "spread/grate"),
        raised(8030, "spread/grate", before=S.RETURNED), over(8040, "spread/grate"),
        raised(8060, "spread/grate", before=S.RETURNED), seen(8180, "spread/grate"),
        step(8200, "spread/grate", E.SHELVE, S.ACKNOWLEDGED, S.SHELVED),
        step(10000, "spread/grate", E.UNSHELVE, S.SHELVED, S.NORMAL),
        step(12000, "drift/fading fire", E.REMOVE, S.NORMAL, S.OUT_OF_SERVICE),
        raised(13000, "probe-silent/p", Priority.NOTE),
    ]  # fmt: skip
    found = measures(steps, START, START + 14400.0)
    assert (found.hours, found.alarms, found.per_hour, found.per_day) == (4.0, 5, 1.25, 30.0)
    assert (found.most_in_ten_minutes, found.flood_share) == (3, 0.0)
    assert found.chattering == ("spread/grate",), "8000, 8030 and 8060"
    assert found.stale == ()
    assert (found.longest_key, found.longest_seconds) == ("cold-spot/a", 3600.0)
    assert found.frequent[0] == ("spread/grate", 3)
    assert found.priorities == {"urgent": 1, "soon": 3, "note": 1}
    assert (found.acknowledged, found.never_acknowledged) == (2, 1)
    assert found.acknowledge_median_seconds == pytest.approx(120.0), "60 and, since it first came, 180"
    assert found.acknowledge_p95_seconds == pytest.approx(174.0)
    assert (found.suppressed_seconds, found.shelved_seconds, found.removed_seconds) == (3600.0, 1800.0, 2400.0)


def test_a_flood_and_an_alarm_gone_stale():
    steps = [raised(1200 + k, f"probe-silent/p{k}") for k in range(11)]
    found = measures(steps, START, START + 3600.0)
    assert (found.most_in_ten_minutes, found.flood_share, found.chattering) == (11, pytest.approx(1 / 6), ())
    assert measures(steps, START, START + 26 * 3600.0).stale == tuple(f"probe-silent/p{k}" for k in range(11))


def test_a_night_without_alarms():
    found = measures([], START, START)
    assert (found.alarms, found.per_hour, found.longest_key, found.acknowledged) == (0, 0.0, "", 0)
    assert math.isnan(found.acknowledge_median_seconds)


def test_a_latched_alarm_stood_only_while_its_condition_did():
    steps = [
        raised(100, "drift/fading fire"),
        step(400, "drift/fading fire", E.LATCH, S.UNACKNOWLEDGED, S.LATCHED_UNACKNOWLEDGED),
        step(1000, "drift/fading fire", E.ACKNOWLEDGE, S.LATCHED_UNACKNOWLEDGED, S.LATCHED),
    ]
    found = measures(steps, START, START + 3600.0)
    assert (found.longest_seconds, found.acknowledge_median_seconds) == (300.0, 900.0)
