"""Nights as they also happen: slow probes, few probes, a lid left open, a collector that was away, a second night."""

import math
from collections import Counter

import msgspec
import pytest

from adapters.reading import Reading
from adapters.recording import readings
from collector.engine import Engine
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.pipeline import Pipeline
from collector.snapshot import AlarmState, Mark, Phase
from tui.nights import SOURCE, night_file, night_settings

PLAN = night_settings().plan
HOUR = 3600.0


def slow(every, stream):
    """Keep a reading of each probe every so many seconds."""
    last = {}
    for r in stream:
        if r.received_unix - last.get(r.key, 0) >= every:
            last[r.key] = r.received_unix
            yield r


def play(night, change=lambda r, _t: r, *, every=20.0, plan=PLAN, hours=12.0):
    """Play a night thinned out; `change(reading, seconds)` may alter or drop each. Return engine and events."""
    events, engine, pipeline, first = [], None, None, None
    for r in slow(every, readings(night_file(night), SOURCE)):
        first = first or r.received_unix
        t = r.received_unix - first
        if t > hours * HOUR:
            break
        if engine is None:
            engine = Engine(plan, night, first)
            pipeline = Pipeline(engine, {}, on_event=events.append)
        changed = change(r, t)
        if changed is not None:
            pipeline.take(changed)
    return engine, events, first


def raised(events, first):
    return [
        (e.key, e.time_unix - first)
        for e in events
        if isinstance(e, Transition) and e.after is AlarmState.UNACKNOWLEDGED and e.before is AlarmState.NORMAL
    ]


def marks(events):
    return Counter(e.kind for e in events if isinstance(e, Mark))


def test_a_reading_a_minute_is_enough_to_find_the_cold_flat_side():
    _, events, first = play("flat-side-cold", every=60.0, hours=7.0)
    assert raised(events, first)[0][0] == "cold-spot/flat side"
    assert 1 <= marks(events)["seen-lid"] <= 2, "an opening of 40 s may lie between two readings"


def test_three_grate_probes_one_of_which_comes_and_goes():
    few = ("grate-fire-front", "grate-point", "grate-flat-front")
    kept = tuple(p for p in PLAN.probes if p.key in few)
    plan = msgspec.structs.replace(PLAN, probes=kept, chamber=msgspec.structs.replace(PLAN.chamber, levels=("grate",)))

    def change(r, t):
        gone = r.key == "grate-flat-front" and t % 300 < 60
        return r if r.key in few and not gone else None

    _, events, first = play("quiet-night", change, plan=plan, hours=5.0)
    assert marks(events)["seen-lid"] == 2, "the true ones"
    assert raised(events, first) == []


@pytest.mark.parametrize(("left", "tau"), [(0.7, 240.0), (0.0, 300.0)])
def test_a_lid_left_open_is_told_within_a_quarter_of_an_hour(left, tau):
    def change(r, t):
        since = t - 2.5 * HOUR
        if since > 0 and r.key.startswith(("grate", "top")):
            keeps = 1 - (1 - left) * (1 - math.exp(-since / tau))
            return msgspec.structs.replace(r, celsius=10 + (r.celsius - 10) * keeps)
        return r

    _, events, first = play("quiet-night", change, hours=2.8)
    key, seconds = raised(events, first)[0]
    assert key in ("lid-open/lid", "drift/fading fire"), "with 30 % lost it is the fire as well as the lid"
    assert 2.5 * HOUR < seconds < 2.75 * HOUR


def test_two_gateways_that_hear_the_same_probe_do_not_make_it_a_liar():

    events, engine, pipeline = [], None, None
    for r in slow(20.0, readings(night_file("quiet-night"), SOURCE)):
        if engine is None:
            first = r.received_unix
            engine = Engine(PLAN, "n", first)
            pipeline = Pipeline(engine, {}, on_event=events.append)
        if r.received_unix - first > 2.5 * HOUR:
            break
        pipeline.take(r)
        pipeline.take(msgspec.structs.replace(r, received_unix=r.received_unix + 0.4))
    assert raised(events, first) == []
    assert marks(events)["seen-lid"] == 1


def test_a_kept_value_does_not_make_a_dead_probe_alive():
    from adapters.reading import Quality, Reason

    engine = Engine(PLAN, "n", 0.0)
    events = []
    for t in range(0, 3600, 5):
        for p in PLAN.probes:
            if p.name != "meat flat" or t < 600:
                events += engine.take(Reading(p.source, p.key, 110.0 + t % 7 / 10, float(t)), float(t))[1]
        if t > 600 and t % 60 == 0:
            kept = Reading(
                "night", "meat-flat", 110.0, float(t), None, quality=Quality.UNCERTAIN, reason=Reason.LAST_KNOWN
            )
            events += engine.take(kept, float(t))[1]
    assert "probe-silent/meat flat" in {key for key, _ in raised(events, 0.0)}


def test_a_collector_that_was_away_calls_no_probe_silent():
    engine = Engine(PLAN, "n", 0.0)

    def feed(start, stop):
        for t in range(start, stop, 5):
            for p in PLAN.probes:
                engine.take(Reading(p.source, p.key, 110.0 + t % 7 / 10, float(t)), float(t))

    feed(0, 3600)
    events = engine.act(Action(ActionKind.RESUME, seconds=1200.0, text="away"), 3600.0 + 1200)
    feed(4805, 5400)
    events += engine.advance(5400.0)
    assert raised(events, 0.0) == []
    assert [e.kind for e in events if isinstance(e, Mark)] == ["resume"]
    events = engine.advance(5400.0 + 300)
    assert {key for key, _ in raised(events, 0.0)} == {"source-silent/night"}, "and from then on silence counts"


def test_an_alarm_that_does_not_exist_changes_nothing():
    engine = Engine(PLAN, "n", 0.0)
    with pytest.raises(KeyError):
        engine.act(Action(ActionKind.ACKNOWLEDGE, "cold-spot/nowhere"), 900.0)
    assert engine.now_unix == 0.0
    assert engine.advance(900.0), "what happened until now is still to come"


def test_a_second_night_begins_anew():
    """The pit went cold in between; its next warm-up is no drift and no cold spot."""

    def level(t):
        night = t % (8 * HOUR)
        warm = min(night / 3000, 1.0)
        return 12 + (113 - 12) * (warm if night < 3 * HOUR else math.exp(-(night - 3 * HOUR) / 2400))

    engine, events = Engine(PLAN, "n", 0.0), []
    for t in range(0, int(10.5 * HOUR), 20):
        for p in PLAN.probes:
            base = level(t) - 8 * (p.x_m or 0) if p.duty == "chamber" else 12.0
            base += 3 * math.sin(t / 350) * (base > 80)
            events += engine.take(Reading(p.source, p.key, round(base, 1), float(t)), float(t))[1]
        if 7.9 * HOUR < t < 7.92 * HOUR:
            events += engine.act(Action(ActionKind.ACKNOWLEDGE), float(t))
    assert engine.snapshot().fire.phase is Phase.STEADY
    assert [key for key, t in raised(events, 0.0) if t > 8 * HOUR] == []
    assert [key for key, t in raised(events, 0.0) if t < 8 * HOUR] == [
        "drift/fading fire", "pit-low/grate",
    ], "the first fire's end had its alarms"  # fmt: skip
