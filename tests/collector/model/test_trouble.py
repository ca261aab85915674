"""One trouble for many alarms: what goes together, under which key, in which words."""

from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from collector.model.trouble import could_be, troubles
from collector.snapshot import AlarmState, AlarmView, Priority

SOURCES = {"p0": "house", "p1": "house", "p2": "house", "p3": "meat"}
S = AlarmState
SAYS = {
    "cold-spot": "the {} runs cold; gusts",
    "drift": "the fire is fading: look at the firebox",
    "spread": "the grate is uneven from end to end",
    "lid-open": "the lid is open or the heat is gone: look at lid and firebox",
    "probe-silent": "{} is not heard any more",
    "probe-lying": "{} jumps: look at its plug and cable",
    "battery-low": "the battery of {} runs low: change or charge it",
}


def alarm(key, state=S.UNACKNOWLEDGED, priority=Priority.SOON, since=100.0, **changes):
    rule, subject = key.split("/")
    message = SAYS.get(rule, "{}").format(subject)
    made = AlarmView(key, rule, subject, priority, state, True, since, since, 9.0, 8.0, "kelvin", message)
    return replace(made, **changes)


def group(*alarms, lid_open=False):
    return {t.key: t for t in troubles(alarms, SOURCES, lid_open=lid_open)}


def test_a_dead_source_is_one_trouble_and_its_liars_are_part_of_it():
    found = group(*(alarm(f"probe-silent/p{k}") for k in range(3)), alarm("probe-lying/p1"), alarm("probe-silent/p3"))
    assert set(found) == {"source/house", "probe/p3"}
    house = found["source/house"]
    assert house.title == "source house is silent: 3 probes"
    assert house.what == "look at its power and its link"
    assert house.alarms[0].startswith("probe-silent/")
    assert len(house.alarms) == 4
    assert found["probe/p3"].title == "probe p3 is silent"
    two = group(alarm("probe-silent/p0"), alarm("probe-silent/p1"))
    assert two["source/house"].title == "2 of 3 probes of source house are silent"


def test_what_is_said_of_one_probe_is_one_trouble():
    found = group(alarm("probe-lying/p1"), alarm("probe-silent/p1"))
    assert [t.title for t in found.values()] == ["probe p1 is silent and lies"]
    lying = group(alarm("probe-lying/p1"))["probe/p1"]
    assert (lying.title, lying.what) == ("probe p1 lies", "look at its plug and cable")


def test_cold_spots_are_one_trouble_and_the_spread_is_part_of_it_while_one_stands():
    flat, middle, spread = alarm("cold-spot/flat side"), alarm("cold-spot/middle"), alarm("spread/grate")
    assert group(flat)["cold"].title == "flat side runs cold"
    both = group(spread, flat, middle)
    assert list(both) == ["cold"]
    assert both["cold"].title == "2 zones run cold: flat side, middle"
    assert both["cold"].what == "gusts"
    assert both["cold"].alarms[-1] == "spread/grate"
    over = replace(flat, state=S.RETURNED, active=False)
    assert set(group(spread, over)) == {"uneven", "cold"}


def test_the_lid_leads_the_fire_that_fades_behind_it_while_it_counts_as_open():
    lid, fading = alarm("lid-open/lid"), alarm("drift/fading fire")
    told = group(lid, fading, lid_open=True)
    assert list(told) == ["lid"]
    assert told["lid"].alarms == ("lid-open/lid", "drift/fading fire")
    assert told["lid"].what == "look at lid and firebox; look at the firebox"
    shut = group(lid, fading)
    assert list(shut) == ["fire"]
    assert (shut["fire"].title, shut["fire"].alarms[0]) == ("the fire is fading", "drift/fading fire")
    hot = alarm("drift/hot fire", message="the pit is running hot")
    assert set(group(lid, hot, lid_open=True)) == {"lid", "fire"}


def test_a_trouble_is_as_bad_as_its_worst_alarm_and_as_old_as_its_first():
    seen = alarm("cold-spot/a", S.ACKNOWLEDGED, Priority.URGENT, since=50.0)
    over = alarm("cold-spot/b", S.RETURNED, active=False, value=3.0)
    told = group(over, seen)["cold"]
    assert (told.state, told.priority, told.since_unix, told.active) == (S.RETURNED, Priority.URGENT, 50.0, True)
    assert (told.value, told.title) == (9.0, "a runs cold")
    assert group(over, alarm("cold-spot/c"))["cold"].state is S.UNACKNOWLEDGED
    order = troubles((alarm("spread/grate", S.ACKNOWLEDGED, Priority.URGENT), alarm("battery-low/meat")), SOURCES,
                     lid_open=False)  # fmt: skip
    assert [t.key for t in order] == ["battery/meat", "uneven"]


def test_what_rests_is_no_trouble_and_what_is_new_is_one_of_its_own():
    assert not group(alarm("spread/grate", S.SHELVED), alarm("drift/hot fire", S.OUT_OF_SERVICE))
    assert group(alarm("ash/pan"))["ash/pan"].alarms == ("ash/pan",)


KEYS = [f"{r}/{p}" for r in ("probe-silent", "probe-lying") for p in SOURCES]
KEYS += [
    "cold-spot/a",
    "cold-spot/b",
    "spread/grate",
    "drift/fading fire",
    "drift/hot fire",
    "pit-low/grate",
    "lid-open/lid",
]
KEYS += ["battery-low/house", "source-silent/house"]


@given(
    st.lists(st.tuples(st.sampled_from(KEYS), st.sampled_from(AlarmState), st.booleans()), unique_by=lambda a: a[0]),
    st.booleans(),
)
@settings(max_examples=200, deadline=None)
def test_every_alarm_that_does_not_rest_is_in_one_trouble_of_a_key_that_may_be(given_alarms, lid_open):
    alarms = [alarm(key, state, active=active) for key, state, active in given_alarms]
    found = group(*alarms, lid_open=lid_open)
    resting = (S.NORMAL, S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE)
    assert sorted(k for t in found.values() for k in t.alarms) == sorted(
        a.key for a in alarms if a.state not in resting
    )
    assert all(could_be(key, SOURCES) for key in found)
    assert all(t.title for t in found.values())


def test_only_what_may_stand_is_known():
    assert could_be("source/house", SOURCES)
    assert could_be("probe/p3", SOURCES)
    assert not any(could_be(key, SOURCES) for key in ("source/x", "probe/house", "battery/p0", "cold-spot", ""))
