"""How long alarms waited, step by step through the states."""

import math

from collector.model.alarm import AlarmEvent, Transition
from collector.report.waits import alarms_of
from collector.snapshot import AlarmState, Priority

N, U, A, R, S = (
    AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.RETURNED, AlarmState.SHELVED,
)  # fmt: skip


def log(*steps, key="cold-spot/flat side"):
    found, before = [], N
    for time, event, after in steps:
        found.append(Transition(time, key, event, before, after, 9.0, 8.3, "the flat side runs cold", Priority.URGENT))
        before = after
    return found


def rows(*steps, end=10_000.0):
    return alarms_of(log(*steps), {"cold-spot": "kelvin"}, 0.0, end).rows


RAISE, ACK, RETURN, SHELVE = AlarmEvent.ACTIVE, AlarmEvent.ACKNOWLEDGE, AlarmEvent.INACTIVE, AlarmEvent.SHELVE


def test_acknowledged_then_over():
    (row,) = rows((100.0, RAISE, U), (160.0, ACK, A), (900.0, RETURN, N))
    assert (row.waited_seconds, row.acknowledged_unix, row.over_unix, row.waits) == (60.0, 160.0, 900.0, False)
    assert (row.rule, row.subject, row.priority, row.unit, row.value, row.limit) == (
        "cold-spot", "flat side", "urgent", "kelvin", 9.0, 8.3,
    )  # fmt: skip


def test_over_before_anybody_saw_it_it_waits_on():
    (row,) = rows((100.0, RAISE, U), (400.0, RETURN, R), (1000.0, ACK, N))
    assert (row.waited_seconds, row.over_unix, row.waits) == (900.0, 400.0, False)
    (row,) = rows((100.0, RAISE, U), (400.0, RETURN, R), end=5000.0)
    assert (row.waited_seconds, row.waits, row.acknowledged_unix) == (4900.0, True, None)


def test_one_that_comes_again_before_anybody_saw_it_has_waited_since_it_first_came():
    first, second = rows((100.0, RAISE, U), (400.0, RETURN, R), (700.0, RAISE, U), (800.0, ACK, A))
    assert (first.raised_unix, first.waited_seconds) == (100.0, 700.0)
    assert (second.raised_unix, second.waited_seconds) == (700.0, 700.0)
    assert first.acknowledged_unix == second.acknowledged_unix == 800.0


def test_one_that_was_seen_begins_to_wait_anew():
    first, second = rows((100.0, RAISE, U), (160.0, ACK, A), (400.0, RETURN, N), (700.0, RAISE, U))
    assert first.waited_seconds == 60.0
    assert (second.waited_seconds, second.waits) == (9300.0, True)


def test_shelved_ends_the_waiting_without_an_acknowledgement():
    (row,) = rows((100.0, RAISE, U), (220.0, SHELVE, S))
    assert (row.waited_seconds, row.aside, row.acknowledged_unix, row.waits) == (120.0, "shelved", None, False)


def test_a_number_that_is_not_known_is_null_and_none_is_none():
    step = Transition(5.0, "done/brisket", RAISE, N, U, math.nan, math.nan, "", Priority.NOTE)
    (row,) = alarms_of([step], {}, 0.0, 60.0).rows
    assert (row.value, row.limit, row.unit) == (None, None, "")
    nothing = alarms_of([], {}, 0.0, 60.0)
    assert (nothing.rows, nothing.wait_median_seconds, nothing.acknowledged) == ((), None, 0)
