"""Who is told of a trouble, when and again: nobody is let sleep for want of a message, nobody is told twice at once."""

import datetime as dt

from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from collector.calls.escalation import Escalation, Ladder, Person, Quiet, Step
from collector.snapshot import AlarmState, Priority, TroubleView

BEGAN = 1_750_000_000.0  # 2025-06-15 15:06:40 UTC
COLD = TroubleView(
    "cold", Priority.URGENT, AlarmState.UNACKNOWLEDGED, True, BEGAN - 150.0, "flat side runs cold", "look", 9.0, 8.3,
    "kelvin", ("cold-spot/flat side",),
)  # fmt: skip
SOON = replace(COLD, key="source/house", priority=Priority.SOON)
ANN, BEN = Person("Ann", ("push", "mail")), Person("Ben", ("push",))
LADDERS = (
    Ladder(frozenset({Priority.URGENT}), (Step(0, ("Ann",)), Step(120, ("Ann",)), Step(300, ("Ann", "Ben"))), 600.0),
    Ladder(frozenset({Priority.SOON}), (Step(0, ("Ann",)),), 3600.0),
)


def told(dues):
    return [(d.person, d.channel, d.word) for d in dues]


def test_it_is_told_at_once_again_and_to_the_next_until_it_is_acknowledged():
    escalation = Escalation((ANN, BEN), LADDERS)
    heard = {}
    for second in range(0, 2000, 5):
        if found := escalation.look(BEGAN + second, [COLD]):
            heard[second] = sorted({d.person for d in found})
    assert heard == {0: ["Ann"], 120: ["Ann"], 300: ["Ann", "Ben"], 900: ["Ann", "Ben"], 1500: ["Ann", "Ben"]}
    seen = replace(COLD, state=AlarmState.ACKNOWLEDGED)
    assert escalation.look(BEGAN + 2000, [seen]) == []
    assert [(call.trouble, why) for call, why in escalation.ended] == [("cold", "acknowledged")]
    assert escalation.look(BEGAN + 9000, [seen]) == []


def test_each_channel_of_a_person_gets_it_and_what_is_over_is_told_once_to_those_who_were_woken():
    escalation = Escalation((ANN, BEN), LADDERS)
    assert told(escalation.look(BEGAN, [COLD])) == [("Ann", "push", "raised"), ("Ann", "mail", "raised")]
    back = replace(COLD, state=AlarmState.RETURNED, active=False)
    assert told(escalation.look(BEGAN + 60, [back])) == [("Ann", "push", "over"), ("Ann", "mail", "over")]
    assert escalation.look(BEGAN + 120, [back]) == []
    assert [why for _, why in escalation.ended] == ["over"]
    again = escalation.look(BEGAN + 200, [COLD])
    assert {d.word for d in again} == {"raised"}
    assert {d.call for d in again} == {2}, "it is another call"


def test_what_nobody_is_to_be_told_of_makes_no_call():
    escalation = Escalation((ANN, BEN), LADDERS)
    note = replace(COLD, key="battery/house", priority=Priority.NOTE)
    assert escalation.look(BEGAN, [note, replace(COLD, state=AlarmState.SHELVED)]) == []
    assert escalation.calls == {}


def test_quiet_hours_hold_back_what_is_not_urgent_until_they_are_over_and_never_what_is():
    ann = replace(ANN, quiet=Quiet(15 * 60, 15 * 60 + 30))  # it is 15:06
    escalation = Escalation((ann, BEN), LADDERS, zone=dt.UTC)
    assert {d.trouble for d in escalation.look(BEGAN, [COLD, SOON])} == {"cold"}
    assert {
        d.trouble for d in escalation.look(BEGAN + 900, [replace(COLD, state=AlarmState.ACKNOWLEDGED), SOON])
    } == set()
    morning = escalation.look(BEGAN + 1500, [SOON])
    assert told(morning) == [("Ann", "push", "raised"), ("Ann", "mail", "raised")]
    assert escalation.look(BEGAN + 1505, [SOON]) == []


def test_a_trouble_that_is_over_before_the_quiet_hours_are_wakes_nobody():
    ann = replace(ANN, quiet=Quiet(0, 24 * 60))
    escalation = Escalation((ann,), LADDERS, zone=dt.UTC)
    assert escalation.look(BEGAN, [SOON]) == []
    assert escalation.look(BEGAN + 60, []) == []
    assert escalation.calls == {}


def test_a_trouble_that_becomes_urgent_begins_its_ladder_anew():
    escalation = Escalation((ANN, BEN), LADDERS)
    escalation.look(BEGAN, [SOON])
    found = escalation.look(BEGAN + 60, [replace(SOON, priority=Priority.URGENT)])
    assert {d.word for d in found} == {"raised"}
    assert escalation.calls["source/house"].began_unix == BEGAN + 60


def test_after_an_hour_in_which_nobody_looked_each_is_told_once():
    escalation = Escalation((ANN, BEN), LADDERS)
    escalation.look(BEGAN, [COLD])
    assert sorted(told(escalation.look(BEGAN + 3600, [COLD]))) == [
        ("Ann", "mail", "again"), ("Ann", "push", "again"), ("Ben", "push", "again"),
    ]  # fmt: skip
    assert escalation.look(BEGAN + 3605, [COLD]) == []


def test_a_restart_goes_on_where_it_was():
    before = Escalation((ANN, BEN), LADDERS)
    before.look(BEGAN, [COLD])
    after = Escalation((ANN, BEN), LADDERS, calls=before.calls.values(), last_number=1)
    assert after.look(BEGAN + 60, [COLD]) == []
    assert {d.call for d in after.look(BEGAN + 120, [COLD])} == {1}


@given(st.lists(st.tuples(st.floats(1, 900), st.sampled_from(["open", "acknowledged", "over"])), max_size=40))
@settings(max_examples=60, deadline=None)
def test_whatever_comes_nobody_is_told_of_what_is_acknowledged_and_open_troubles_are_never_silent_for_long(steps):
    escalation = Escalation((ANN, BEN), LADDERS)
    now, last_told, standing = BEGAN, None, False
    for seconds, what in steps:
        now += seconds
        state = {"open": AlarmState.UNACKNOWLEDGED, "acknowledged": AlarmState.ACKNOWLEDGED}.get(what)
        troubles = [] if state is None else [replace(COLD, state=state)]
        found = escalation.look(now, troubles)
        assert len({(d.person, d.channel, d.trouble) for d in found}) == len(found), "one message a look and channel"
        if what != "open":
            assert {d.word for d in found} <= {"over"}
            assert what == "over" or not found
            standing, last_told = False, None
            continue
        if found:
            last_told = now
        assert standing or found, "a new trouble is told at the first look"
        assert last_told is not None
        assert now - last_told <= 600.0
        standing = True
