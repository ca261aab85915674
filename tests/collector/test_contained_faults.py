"""A fault in any part of a look or of a view takes nothing else with it: alarms, views, record and calls go on."""

import math
from types import SimpleNamespace

import msgspec
import pytest

from adapters.reading import Reading
from collector.engine import Engine
from collector.faults import CALL_AFTER_SECONDS
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.model.meat.piece import Part, Piece
from collector.page_view import PageViewer
from collector.pipeline import Pipeline
from collector.publish.documents import documents
from collector.settings.load import parse
from collector.snapshot import AlarmState, Phase
from tui.draw.summary import status_lines
from tui.draw.view import View
from tui.nights import night_settings

BEGIN = 1_790_000_000.0
PLAN = night_settings().plan
MINUTES = 30
SILENT = next(p.name for p in PLAN.probes if p.duty == "meat")
"""No neighbor covers it, so its silence is an alarm."""
SILENT_FROM = 8 * 60


def broken(*_args, **_more):
    raise RuntimeError("injected")


def play(engine, minutes=MINUTES, since=0):
    """Play a steady pit in which one probe of the meat falls silent."""
    events = []
    for second in range(since, since + 60 * minutes, 10):
        now = BEGIN + second
        for i, probe in enumerate(PLAN.probes):
            if probe.name == SILENT and second >= SILENT_FROM:
                continue
            value = 113.0 + 0.3 * i + 0.05 * (second % 30) if probe.duty == "chamber" else 5.0 + second / 120.0
            events += engine.take(Reading(probe.source, probe.key, value, now), now + 0.01 * i)[1]
        if second % 60 == 0:
            show(engine)
    return events


def show(engine):
    """Build every view that a person or a program is given."""
    snapshot = engine.snapshot()
    lines = status_lines(snapshot, View(fahrenheit=True))
    page = PageViewer().view(snapshot)
    msgspec.json.encode(page)
    return snapshot, lines, page, documents(snapshot)


LOOKS = {
    "probe values": ("_gather",),
    "zones": ("_estimate",),
    "falls": ("_falls",),
    "fire": ("_look_at_fire",),
    "zone deficits": ("_follow_deficits",),
    "probe checks": ("_compare_neighbours",),
    "local changes": ("_look_for_changes",),
    "trends of probes and zones": ("_find_trends",),
    "slope of the fire": ("_fire", "look_at_slope"),
    "reasons for cold zones": ("_cold_reasons",),
    "stuck probes": ("_look_for_stuck",),
    "evenness": ("_find_evenness",),
    "meat": ("_look_at_meat",),
    "events": ("_book", "add"),
    "trend": ("_trend_point",),
    "alarms": ("_rules", "views"),
    "map": ("_maps",),
    "marks": ("_book", "marks"),
    "readings by hand": ("_meat", "spots"),
    "view of the fire": ("_fire_view",),
    f"probe {SILENT}": ("_probe_view",),
    f"zone {PLAN.zones[0].name}": ("_zone_view",),
}
NEED_AN_EVENT = ("events",)
NEED_STEADY = ("zone deficits", "probe checks", "local changes")


@pytest.mark.parametrize("part", LOOKS)
def test_a_fault_in_one_part_leaves_every_alarm_and_every_other_view(part):
    engine = Engine(PLAN, "n", BEGIN)
    *path, name = LOOKS[part]
    target = engine
    for step in path:
        target = getattr(target, step)
    if part in NEED_AN_EVENT:
        play(engine, 1)
        setattr(target, name, broken)
        engine.act(Action(ActionKind.MARK, "note", text="x"), BEGIN + 61.0)
        assert engine.faults.records[0].part == "what a person asked for"
        return
    setattr(target, name, broken)
    minutes = 90 if part in NEED_STEADY else MINUTES
    events = play(engine, minutes)
    raised = [e for e in events if isinstance(e, Transition) and e.after is AlarmState.UNACKNOWLEDGED]
    assert f"probe-silent/{SILENT}" in {e.key for e in raised}, "the others are judged all the same"
    assert engine.judged_unix >= BEGIN + 60 * minutes - 20
    assert part in {fault.part for fault in engine.faults.records}
    snapshot, lines, page, topics = show(engine)
    assert any(t.key == f"fault/{part}" for t in snapshot.troubles)
    assert any("not available" in line and part in line for line in lines)
    assert any(part in trouble.title for trouble in page.troubles)
    assert any("fault" in topic for topic in topics)


def test_each_alarm_is_judged_apart_from_the_others():
    engine = Engine(PLAN, "n", BEGIN)
    low = engine._rules._low
    low.__class__ = type("Broken", (type(low),), {"__slots__": (), "update": broken})
    raised = {e.key for e in play(engine) if isinstance(e, Transition) and e.after is AlarmState.UNACKNOWLEDGED}
    assert f"probe-silent/{SILENT}" in raised
    assert [fault.part for fault in engine.faults.records] == ["alarm drift/fading fire"]


def test_a_fire_that_is_not_watched_says_so_and_calls_after_two_minutes():
    engine = Engine(PLAN, "n", BEGIN)
    play(engine, 20)
    engine._fire.look = broken
    play(engine, 1, since=20 * 60)
    snapshot, lines, page, _ = show(engine)
    assert snapshot.fire.phase is Phase.UNAVAILABLE
    assert math.isnan(snapshot.fire.level_celsius), "no value of before is shown as the present one"
    assert page.fire == "not available"
    assert any(line.startswith("fire        not available") for line in lines)
    assert "fault/fire" not in {t.key for t in engine.troubles()}
    play(engine, 2, since=21 * 60)
    assert "fault/fire" in {t.key for t in engine.troubles()}, f"calls after {CALL_AFTER_SECONDS} s"
    engine.act(Action(ActionKind.ACKNOWLEDGE, "fault/fire"), BEGIN + 23 * 60)
    assert {t.key: t.state for t in engine.troubles()}["fault/fire"] is AlarmState.ACKNOWLEDGED


@pytest.mark.parametrize("name", ["_judge_probes", "_judge_grate", "_judge_batteries"])
def test_a_group_of_alarms_that_fails_leaves_what_the_others_raised(name):
    engine = Engine(PLAN, "n", BEGIN)
    setattr(engine._rules, name, broken)
    events = play(engine)
    raised = {e.key for e in events if isinstance(e, Transition) and e.after is AlarmState.UNACKNOWLEDGED}
    assert (f"probe-silent/{SILENT}" in raised) is (name != "_judge_probes")
    assert any(isinstance(e, Transition) and e.key == "drift/fading fire" for e in events) is (name != "_judge_grate")
    assert engine.judged_unix >= BEGIN + 60 * MINUTES - 20


@pytest.mark.parametrize("part", ["_look", "_rule_look", "row"])
def test_where_judging_fails_no_value_of_before_is_shown_as_the_present_one(part):
    engine = Engine(PLAN, "n", BEGIN)
    play(engine, 20)
    piece = next(iter(engine._meat._pieces.values()))
    setattr(piece if part == "row" else engine, part, broken)
    play(engine, 10, since=20 * 60)
    snapshot = engine.snapshot()
    if part == "_look":
        assert snapshot.fire.phase is Phase.UNAVAILABLE
        assert all(math.isnan(zone.celsius) for zone in snapshot.zones)
    if part == "_rule_look":
        assert all(math.isnan(alarm.value) for alarm in snapshot.alarms)
        assert all(math.isnan(rule.value) for rule in engine.rules())
    else:
        assert math.isnan(snapshot.meat[0].parts[0].celsius)
        assert math.isnan(snapshot.meat[0].parts[0].danger_seconds)
        assert "not watched" in snapshot.meat[0].advice[0]


def test_a_past_that_cannot_be_kept_leaves_the_alarms():
    engine = Engine(PLAN, "n", BEGIN)
    engine._ring.push = broken
    raised = {e.key for e in play(engine) if isinstance(e, Transition) and e.after is AlarmState.UNACKNOWLEDGED}
    assert f"probe-silent/{SILENT}" in raised


def test_news_of_events_that_fail_cost_no_reading_and_no_record():
    engine = Engine(PLAN, "n", BEGIN)
    pipeline = Pipeline(engine, {}, on_event=broken)
    for second in range(0, 600, 10):
        for probe in PLAN.probes:
            pipeline.take(Reading(probe.source, probe.key, 110.0, BEGIN + second))
    assert len(pipeline.batch.rows) == 60 * len(PLAN.probes)
    assert pipeline.batch.trend
    assert [fault.part for fault in engine.faults.records] == ["news of events"]


def test_the_fire_is_still_watched_where_the_zones_are_not():
    engine = Engine(PLAN, "n", BEGIN)
    engine._estimate = broken
    play(engine)
    snapshot = engine.snapshot()
    assert 110.0 < snapshot.fire.level_celsius < 120.0, "the median of the grate's probes"
    assert all(math.isnan(zone.celsius) for zone in snapshot.zones)


@pytest.mark.parametrize("method", ["row", "look_ahead", "look", "view"])
def test_a_fault_in_one_piece_of_meat_leaves_the_other(method):
    engine = Engine(PLAN, "n", BEGIN)
    play(engine, 5)
    ill, well = list(engine._meat._pieces)[:2] if len(engine._meat._pieces) > 1 else (None, None)
    if ill is None:
        probe = [p.name for p in PLAN.probes if p.duty == "meat"][-1]
        other = Piece("second", parts=(Part("flat", probe),))
        engine.act(Action(ActionKind.MEAT, "second", text=msgspec.json.encode(other).decode()), BEGIN + 300.0)
        ill, well = next(iter(engine._meat._pieces)), "second"
    setattr(engine._meat._pieces[ill], method, broken)
    play(engine, 10, since=5 * 60)
    meat = {piece.name: piece for piece in show(engine)[0].meat}
    assert math.isfinite(meat[well].parts[0].celsius)
    if method == "view":
        assert math.isnan(meat[ill].parts[0].celsius)
        assert math.isnan(meat[ill].parts[0].danger_seconds), "no clock of before is shown as the present one"
        assert "not watched" in meat[ill].advice[0]
        known = [p for p in meat[ill].parts if math.isfinite(p.done.median_unix)]
        assert all(p.done.why.endswith(" min old") for p in known)


def test_a_reading_that_cannot_be_screened_is_recorded_and_not_believed():
    engine = Engine(PLAN, "n", BEGIN)
    probe = PLAN.probes[0]
    engine._screens[0] = SimpleNamespace(judge=broken)
    taken, _ = engine.take(Reading(probe.source, probe.key, 113.0, BEGIN + 1.0), BEGIN + 1.0)
    assert taken.probe == 0
    assert taken.quality.name == "UNCERTAIN"
    assert not engine.believed(BEGIN + 1.0)
    assert engine.faults.records[0].critical


BRISKET = """
[chamber]
length = 120
width = 50
unit = "cm"
[cook]
target = "235 F"
band = "25 F"
[[source]]
name = "house"
kind = "mqtt"
host = "127.0.0.1"
subscribe = [{ filter = "pit/+", key = "level 2" }]
[[probe]]
name = "grate"
source = "house"
x = 60
y = 25
[[probe]]
name = "flat tip"
source = "house"
duty = "meat"
[[zone]]
name = "flat side"
x = [76, 120]
y = [0, 50]
[[meat]]
name = "brisket"
mass = "13 lb"
serve = "13:00"
wrap = "165 F"
done = "203 F"
[meat.part.flat]
probe = "flat tip"
"""


@pytest.mark.parametrize("hour", range(24))
def test_a_brisket_to_be_served_at_one_is_shown_at_every_hour_before_it_is_on(tmp_path, hour):
    plan = parse(BRISKET, tmp_path / "coldside.toml").plan
    began = BEGIN - BEGIN % 86_400.0 + 3600.0 * hour
    engine = Engine(plan, "n", began)
    engine.take(Reading("house", "grate", 110.0, began + 1.0), began + 1.0)
    engine.take(Reading("house", "flat tip", 4.0, began + 1.0), began + 1.0)
    engine.advance(began + 120.0)
    snapshot, lines, _, _ = show(engine)
    assert not engine.faults.records
    assert not snapshot.faults
    assert any(line.startswith("meat        brisket flat") for line in lines)
    assert math.isnan(snapshot.meat[0].air_needed_celsius), "no air helps meat that is not on"
