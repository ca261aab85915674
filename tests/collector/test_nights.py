"""The recorded nights end to end, against what truly happens in them (sample_streams/truth.json)."""

import json
import re
from importlib.resources import files

import pytest

from collector.replay import differences
from collector.snapshot import AlarmState
from collector.store.archive import Archive
from tui.draw.summary import summary_lines

TRUTH = json.loads((files("sample_streams") / "truth.json").read_text(encoding="utf-8"))


def raised(run):
    """Each alarm raised: its key and the seconds from the start."""
    return [
        (t.key, t.time_unix - run.started_unix)
        for t in run.transitions
        if t.after is AlarmState.UNACKNOWLEDGED and t.before in (AlarmState.NORMAL, AlarmState.RETURNED)
    ]


def test_a_quiet_night_raises_no_alarm(played):
    assert raised(played("quiet-night")[0]) == []


def test_the_summary_of_a_quiet_night_says_what_a_cook_wants_to_know(played):
    lines = summary_lines(played("quiet-night")[0], fahrenheit=True)
    assert "  no alarm at all" in lines
    assert "alarms      none" in lines
    assert any(re.match(r"zone        flat side \(grate\): 2[0-5]\d ±\d °F, -\d+ from", line) for line in lines), lines


def test_the_cold_flat_side_is_told_within_five_minutes_and_no_other_zone(played):
    """A second zone follows hours later, truly: the leak draws the stack end down too, and the level for a while."""
    onset = TRUTH["flat-side-cold"]["cold_spots"]["flat side"]["onset"]
    alarms = raised(played("flat-side-cold")[0])
    assert [key for key, at in alarms if at < onset + 2 * 3600] == ["cold-spot/flat side"]
    assert {key for key, _ in alarms} <= {"cold-spot/flat side", "cold-spot/stack end", "drift/fading fire"}
    assert 0 <= alarms[0][1] - onset <= 300


def test_the_fading_fire_is_an_alarm_within_ten_minutes_of_leaving_its_band(played):
    lost = TRUTH["fire-fades"]["faded_by_kelvin"]
    alarms = raised(played("fire-fades")[0])
    assert [key for key, _ in alarms][:2] == ["drift/fading fire", "pit-low/grate"]
    assert lost["2"] < alarms[0][1] < lost["15"] + 600.0, "15 K down is at the edge of the band"


def test_the_summary_counts_what_was_seen_before_the_fire_went_out(played):
    lines = summary_lines(played("fire-fades")[0], fahrenheit=False)
    assert any(re.match(r"fire        [1-9]\d* refuels and 3 lid openings seen", line) for line in lines), lines


def test_wind_and_fifteen_lid_openings_are_seen_as_what_they_are(played):
    """The stack end stands within a kelvin of the limit all night, and the level sinks to its band after openings."""
    run = played("windy")[0]
    assert {key for key, at in raised(run)} <= {"cold-spot/stack end", "drift/fading fire", "drift/hot fire"}
    assert len(raised(run)) <= 6
    openings = [m.time_unix - run.started_unix for m in run.marks if m.kind == "seen-lid"]
    for begins, lasts, _why in TRUTH["windy"]["lids"]:
        assert any(begins <= seen <= begins + lasts + 60 for seen in openings), f"lid at {begins} s not seen"
    assert len(openings) == len(TRUTH["windy"]["lids"]), "and no other"


def test_the_faulty_probes_are_named_and_nothing_else(played):
    alarms = raised(played("faulty-probes")[0])
    assert {key for key, _ in alarms} == {
        "probe-lying/grate mid back",
        "probe-lying/grate fire front",
        "probe-lying/grate point",
    }, "the silent probe of the top is covered by its neighbors"


def test_the_lower_stack_ends_the_cold_spot(played):
    assert {key for key, _ in raised(played("stack-before")[0])} == {"cold-spot/stack end"}
    assert raised(played("stack-after")[0]) == []


@pytest.mark.parametrize("name", ["faulty-probes"])
def test_a_replay_from_the_store_gives_the_same_alarm_log(played, name):
    run, store = played(name)
    with Archive(store) as archive:
        cook = archive.cook(name)
        assert cook.readings == run.readings
        assert len(archive.alarm_log(cook)) == len(run.transitions) > 10
        assert differences(archive, cook) == []
