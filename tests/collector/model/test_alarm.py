"""One alarm: delays, deadband, states, shelving, suppression."""

import math

from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from collector.model.alarm import TRANSITIONS, Alarm, AlarmEvent, in_order
from collector.model.plan import Rule
from collector.snapshot import AlarmState, Priority

RULE = Rule("cold-spot", Priority.URGENT, 8.0, 1.0, 60.0, 30.0)


def run(values, rule=RULE, start=0.0, step=10.0, **more):
    alarm = Alarm(rule, "flat side", "kelvin")
    steps = []
    for k, value in enumerate(values):
        steps += alarm.update(start + k * step, value, limit=rule.limit, message="m", **more)
    return alarm, steps


def test_it_waits_out_its_on_delay():
    alarm, steps = run([9.0] * 6)
    assert steps == []
    assert not alarm.active
    alarm, steps = run([9.0] * 7)
    assert [(s.time_unix, s.after) for s in steps] == [(60.0, AlarmState.UNACKNOWLEDGED)]
    assert alarm.since_unix == 0.0
    assert alarm.raised_unix == 60.0


def test_any_drop_below_the_limit_restarts_the_delay():
    alarm, steps = run([9.0] * 6 + [8.0] + [9.0] * 6)
    assert steps == []
    assert not alarm.active


def test_it_returns_only_past_the_deadband_for_the_whole_off_delay():
    alarm, _ = run([9.0] * 7 + [7.5] * 20)
    assert alarm.state is AlarmState.UNACKNOWLEDGED, "within the deadband"
    alarm, _ = run([9.0] * 7 + [6.9] * 3)
    assert alarm.state is AlarmState.UNACKNOWLEDGED, "the off-delay is not over"
    alarm, _ = run([9.0] * 7 + [6.9] * 4)
    assert alarm.state is AlarmState.RETURNED


def test_not_knowing_changes_nothing():
    alarm, steps = run([9.0] * 7 + [math.nan] * 100)
    assert alarm.state is AlarmState.UNACKNOWLEDGED
    assert len(steps) == 1
    alarm, steps = run([math.nan] * 100)
    assert steps == []


def test_what_comes_off_the_shelf_still_stands_though_its_rule_is_silent_by_then():
    """The fire died, its alarm was shelved, and the pit went cold: it was never heard of again."""
    alarm, _ = run([9.0] * 7)
    alarm.shelve(100.0, 600.0, RULE.limit)
    steps = [s for t in range(110, 900, 10)
             for s in alarm.update(float(t), math.nan, limit=RULE.limit, message="m", suppress=True)]  # fmt: skip
    assert [s.after for s in steps] == [AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED]
    assert alarm.state is AlarmState.UNACKNOWLEDGED


def test_suppressed_by_design_it_does_not_come_and_a_standing_one_does_not_go():
    alarm, steps = run([9.0] * 50, suppress=True)
    assert alarm.state is AlarmState.SUPPRESSED
    assert [s.event for s in steps] == [AlarmEvent.SUPPRESS]
    alarm, _ = run([9.0] * 7)
    alarm.update(70.0, 0.0, limit=8.0, message="", suppress=True)
    alarm.update(700.0, 0.0, limit=8.0, message="", suppress=True)
    assert alarm.state is AlarmState.UNACKNOWLEDGED


def test_shelved_it_is_quiet_until_its_time_and_then_speaks_again():
    alarm, _ = run([9.0] * 7)
    alarm.shelve(70.0, 600.0, 8.0)
    assert alarm.state is AlarmState.SHELVED
    assert alarm.shelved_until_unix == 670.0
    assert alarm.update(660.0, 9.0, limit=8.0, message="m") == []
    steps = alarm.update(670.0, 9.0, limit=8.0, message="m")
    assert [s.after for s in steps] == [AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED]
    assert alarm.shelved_until_unix is None


def test_a_rule_switched_off_is_out_of_service():
    alarm, steps = run([9.0] * 100, rule=Rule("r", Priority.NOTE, 8, 0, 0, 0, enabled=False))
    assert alarm.state is AlarmState.OUT_OF_SERVICE
    assert steps == []


def test_the_table_leads_back_to_normal_from_everywhere():
    reach = {AlarmState.NORMAL}
    for _ in AlarmState:
        reach |= {before for (before, _), after in TRANSITIONS.items() if after in reach}
    assert reach == set(AlarmState)


@given(
    st.lists(
        st.tuples(
            st.floats(0, 15) | st.just(math.nan), st.booleans(), st.sampled_from(["", "ack", "shelve", "unshelve"])
        ),
        max_size=120,
    )
)
@settings(max_examples=200, deadline=None)
def test_every_step_is_in_the_table_and_they_chain(moments):
    alarm = Alarm(RULE, "x", "kelvin")
    state = alarm.state
    for k, (value, suppress, hand) in enumerate(moments):
        steps = alarm.update(k * 10.0, value, limit=8.0, message="m", suppress=suppress)
        if hand == "ack":
            steps += alarm.apply(AlarmEvent.ACKNOWLEDGE, k * 10.0, 8.0)
        elif hand == "shelve":
            steps += alarm.shelve(k * 10.0, 100.0, 8.0)
        elif hand == "unshelve":
            steps += alarm.apply(AlarmEvent.UNSHELVE, k * 10.0, 8.0)
        for step in steps:
            assert step.before is state
            assert TRANSITIONS[step.before, step.event] is step.after
            state = step.after
        assert state is alarm.state
        assert (alarm.shelved_until_unix is None) == (state is not AlarmState.SHELVED)
    assert alarm.key == "cold-spot/x"


LATCHING = replace(RULE, latch=True)


def test_latched_it_stays_until_it_is_reset_and_comes_anew_while_it_does():
    alarm, steps = run([9.0] * 7 + [0.0] * 100, rule=LATCHING)
    assert [s.after for s in steps] == [AlarmState.UNACKNOWLEDGED, AlarmState.LATCHED_UNACKNOWLEDGED]
    alarm.apply(AlarmEvent.ACKNOWLEDGE, 2000.0, 8.0)
    assert alarm.state is AlarmState.LATCHED
    for k in range(7):
        alarm.update(2000.0 + 10.0 * k, 9.0, limit=8.0, message="again")
    assert (alarm.state, alarm.message, alarm.raised_unix) == (AlarmState.UNACKNOWLEDGED, "again", 2060.0)
    for k in range(4):
        alarm.update(2100.0 + 10.0 * k, 0.0, limit=8.0, message="")
    alarm.apply(AlarmEvent.RESET, 2200.0, 8.0)
    assert alarm.state is AlarmState.RETURNED, "nobody has seen it yet"
    alarm.apply(AlarmEvent.ACKNOWLEDGE, 2300.0, 8.0)
    assert alarm.state is AlarmState.NORMAL
    assert alarm.update(2310.0, 0.0, limit=8.0, message="") == []


def test_what_latched_on_the_shelf_is_latched_still_when_its_time_there_is_over():
    alarm, _ = run([9.0] * 7, rule=LATCHING)
    alarm.shelve(70.0, 600.0, 8.0)
    for k in range(4):
        alarm.update(80.0 + 10.0 * k, 0.0, limit=8.0, message="")
    steps = alarm.update(670.0, 0.0, limit=8.0, message="")
    assert [s.event for s in steps] == [AlarmEvent.UNSHELVE, AlarmEvent.LATCH]
    assert alarm.state is AlarmState.LATCHED_UNACKNOWLEDGED


def test_out_of_service_it_says_nothing_and_begins_anew_when_it_is_put_back():
    alarm, _ = run([9.0] * 7)
    alarm.apply(AlarmEvent.REMOVE, 70.0, 8.0)
    assert (alarm.state, alarm.removed_unix) == (AlarmState.OUT_OF_SERVICE, 70.0)
    assert alarm.update(5000.0, 9.0, limit=8.0, message="m") == []
    alarm.apply(AlarmEvent.RESTORE, 5010.0, 8.0)
    assert alarm.removed_unix is None
    assert [s.after for s in alarm.update(5020.0, 9.0, limit=8.0, message="m")] == [AlarmState.UNACKNOWLEDGED]


_HANDS = [
    e for e in AlarmEvent if e not in (AlarmEvent.ACTIVE, AlarmEvent.INACTIVE, AlarmEvent.LATCH, AlarmEvent.SHELVE)
]
_MOMENTS = st.lists(
    st.tuples(st.floats(0, 15) | st.just(math.nan), st.booleans(), st.sampled_from([None, "shelve", *_HANDS])),
    max_size=150,
)


@given(_MOMENTS, st.booleans())
@settings(max_examples=200, deadline=None)
def test_whatever_happens_it_stays_in_the_table_and_neither_a_latch_nor_the_shelf_gives_way(moments, latch):
    alarm = Alarm(replace(RULE, latch=latch, on_delay_seconds=10.0), "x", "kelvin")
    state, held, steps = alarm.state, False, []
    for k, (value, suppress, hand) in enumerate(moments):
        now = k * 10.0
        some = alarm.update(now, value, limit=8.0, message="m", suppress=suppress)
        if hand == "shelve":
            some += alarm.shelve(now, 100.0, 8.0)
        elif hand is not None:
            some += alarm.apply(hand, now, 8.0)
        for step in some:
            assert step.before is state
            assert TRANSITIONS[step.before, step.event] is step.after
            state = step.after
            held = (held or state is AlarmState.UNACKNOWLEDGED) and latch
            held = held and step.event not in (AlarmEvent.RESET, AlarmEvent.REMOVE)
            assert not (held and step.before is not AlarmState.SHELVED and state is AlarmState.NORMAL)
        steps += some
        assert state is alarm.state
        assert (alarm.shelved_until_unix is None) == (state is not AlarmState.SHELVED)
        assert alarm.shelved_until_unix is None or now < alarm.shelved_until_unix
        assert (alarm.removed_unix is None) == (state is not AlarmState.OUT_OF_SERVICE)
    end = len(moments) * 10.0 + 200.0
    alarm.update(end, math.nan, limit=8.0, message="")
    assert alarm.state is not AlarmState.SHELVED
    if held:
        assert alarm.state not in (AlarmState.NORMAL, AlarmState.RETURNED)
    scrambled = sorted(steps, key=lambda s: (s.time_unix, s.key, s.event))
    assert [s.after for s in in_order(scrambled)][-1:] == [s.after for s in steps][-1:]


def test_an_alarm_log_is_put_in_the_order_in_which_it_happened():
    alarm, steps = run([9.0] * 7)
    steps += alarm.shelve(70.0, 600.0, 8.0)
    steps += alarm.update(670.0, 9.0, limit=8.0, message="m")
    assert len(steps) == 4
    assert in_order(sorted(steps, key=lambda s: (s.time_unix, s.key, s.event))) == steps
