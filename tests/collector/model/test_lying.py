"""Which probes lie, and which only stand in a cold spot."""

import pickle

import msgspec
import numpy as np
import pytest

from adapters.reading import Quality, Reading, Reason
from collector.engine import Engine
from collector.model.action import Action, ActionKind
from collector.snapshot import AlarmState
from tui.nights import night_settings

PLAN = night_settings().plan
START = 1_790_000_000.0
HOT = 3600 * 2
WARM = {}


def play(seconds, change, plan=PLAN):
    """Run a simple, steady, saw-toothed pit; once it is hot `change(name, t, celsius)` may do what it likes.

    The warm-up is played once for each plan. Returns the engine.
    """
    if seconds <= HOT:
        return go_on(Engine(plan, "n", START), np.random.default_rng(1), 0, seconds, change, plan)
    if plan not in WARM:
        rng = np.random.default_rng(1)
        WARM[plan] = pickle.dumps(
            (go_on(Engine(plan, "n", START), rng, 0, HOT, lambda _n, _t, v: v, plan), rng), protocol=5
        )
    engine, rng = pickle.loads(WARM[plan])
    return go_on(engine, rng, HOT, seconds, change, plan)


def go_on(engine, rng, begin, end, change, plan, step=10):
    for t in range(begin, end, step):
        level = min(15 + t / 30, 113) + (6 * abs((t % 2400) / 1200 - 1) - 3) * (t > 3000)
        for i, p in enumerate(plan.probes):
            base = {"chamber": level, "meat": 60.0, "ambient": 12.0}[p.duty]
            if p.duty == "chamber":
                base += 10 * (0.5 - p.x_m / 1.2) + (40 if p.level == "top" else 0)
            value = change(p.name, t, base + rng.normal(0, 0.2))
            if value is not None:
                engine.take(Reading(p.source, p.key, round(value, 1), START + t + i * 0.1), START + t + i * 0.1)
    return engine


def accused(engine):
    return {p.name: p.reason for p in engine.snapshot().probes if p.quality is not Quality.GOOD}


def test_all_well_nobody_is_accused():
    assert accused(play(HOT + 7200, lambda _n, _t, v: v)) == {}


def test_a_stuck_probe_is_told_and_left_out():
    engine = play(HOT + 4000, lambda n, t, v: 111.1 if n == "grate mid back" and t > HOT else v)
    assert accused(engine) == {"grate mid back": Reason.STUCK}
    probe = next(p for p in engine.snapshot().probes if p.name == "grate mid back")
    assert not probe.used


@pytest.mark.parametrize("kelvin", [-12, 12])
def test_a_probe_that_walks_away_alone_is_told(kelvin):
    engine = play(HOT + 7200, lambda n, t, v: v + kelvin * (n == "grate point") * min(max(t - HOT, 0) / 3600, 1))
    assert accused(engine) == {"grate point": Reason.DRIFTS}


def test_it_is_believed_again_when_it_comes_back():
    def change(name, t, value):
        return value + 12 * (name == "grate point" and HOT < t < HOT + 3600)

    assert accused(play(HOT + 3500, change)) == {"grate point": Reason.DISAGREES}
    assert accused(play(HOT + 6000, change)) == {}


def test_a_cold_spot_of_two_probes_is_no_lie():
    def change(name, t, value):
        return value - 14 * name.startswith("grate flat") * min(max(t - HOT, 0) / 2400, 1)

    engine = play(HOT + 7200, change)
    assert accused(engine) == {}
    assert [a.key for a in engine.snapshot().alarms if a.rule == "cold-spot"] == ["cold-spot/flat side"]


def test_a_silent_probe_leaves_the_map_and_an_offline_one_at_once():
    engine = play(HOT + 900, lambda n, t, v: None if n == "grate stack" and t > HOT else v)
    by_name = {p.name: p for p in engine.snapshot().probes}
    assert by_name["grate stack"].silent
    assert not by_name["grate stack"].used
    silent = next(rule for rule in engine.rules() if rule.key == "probe-silent/grate stack")
    assert silent.state is AlarmState.SUPPRESSED
    assert silent.suppressed == ("its neighbors say enough of its place",)
    at = engine.now_unix + 1
    gone = Reading("night", "grate-point", float("nan"), at, quality=Quality.BAD, reason=Reason.OFFLINE)
    engine.take(gone, at)
    events = engine.advance(at + 5)
    assert "probe-silent/grate point" in {getattr(e, "key", "") for e in events}


def test_an_offset_is_applied_for_the_map_and_never_to_the_record():
    probes = tuple(msgspec.structs.replace(p, offset_kelvin=5.0) if p.name == "ambient" else p for p in PLAN.probes)
    engine = play(60, lambda _n, _t, v: v, plan=msgspec.structs.replace(PLAN, probes=probes))
    ambient = next(p for p in engine.snapshot().probes if p.name == "ambient")
    assert ambient.celsius == pytest.approx(17, abs=1.0)


def test_a_probe_the_cook_says_he_moved_is_believed_and_learned_anew():
    def change(name, t, value):
        return value + 12 * (name == "grate point" and t > HOT)

    engine = play(HOT + 3500, change)
    assert "grate point" in accused(engine)
    engine.act(Action(ActionKind.MARK, "moved"), engine.now_unix)
    moved = next(p for p in PLAN.probes if p.name == "grate point")
    engine.take(Reading(moved.source, moved.key, 125.0, engine.now_unix + 1), engine.now_unix + 1)
    engine.advance(engine.now_unix + 10)
    assert next(p for p in engine.snapshot().probes if p.name == "grate point").used


def alarms(engine):
    return [a.key for a in engine.snapshot().alarms]


def test_two_that_took_each_others_place_are_told_even_where_one_place_has_gone_cold():
    place = {p.name: p.x_m for p in PLAN.probes}
    one, other = "grate fire front", next(name for name in place if name.startswith("grate flat"))
    gap = 10 * (place[other] - place[one]) / 1.2  # of the fire end above the other, by the slope of `play`

    def change(name, t, value):
        cold = -14 * min(max(t - HOT, 0) / 2400, 1)
        swapped = t > HOT + 4000
        if name == one:
            return value + swapped * (cold - gap)
        if name == other and swapped:
            return value + gap
        return value + cold * name.startswith(("grate flat", "grate stack"))

    engine = play(HOT + 4000 + 330, change)
    assert accused(engine) == {one: Reason.SWAPPED, other: Reason.SWAPPED}
    assert "cold-spot/fire side" not in alarms(engine)


def test_a_tip_that_gets_wet_is_told_before_it_passes_for_a_cold_spot():
    def change(name, t, value):
        return max(72.0, value - (t - HOT) / 2) if name == "grate fire front" and t > HOT else value

    engine = play(HOT + 330, change)
    assert accused(engine) == {"grate fire front": Reason.WET}
    assert not any(key.startswith("cold-spot") for key in alarms(play(HOT + 1500, change)))


def test_a_leak_is_no_fading_fire():
    def change(name, t, value):
        return value - 30 * name.startswith("grate flat") * min(max(t - HOT, 0) / 2400, 1)

    engine = play(HOT + 7200, change)
    assert "cold-spot/flat side" in alarms(engine)
    assert "drift/fading fire" not in alarms(engine)


def test_against_the_target_a_leak_counts_as_it_stands_on_the_map():
    def leaky(against):
        rules = tuple(msgspec.structs.replace(r, against=against) if r.name == "cold-spot" else r for r in PLAN.rules)

        def change(name, t, value):
            return value - 20 * name.startswith("grate flat") * min(max(t - HOT, 0) / 2400, 1)

        snapshot = play(HOT + 3000, change, plan=msgspec.structs.replace(PLAN, rules=rules)).snapshot()
        told = next(a.value for a in snapshot.alarms if a.key == "cold-spot/flat side")
        return told, snapshot.fire.level_celsius

    (level, grate), (target, _) = leaky("level"), leaky("target")
    assert grate < PLAN.target_celsius - 3.0
    assert target - level == pytest.approx(
        PLAN.target_celsius - grate, abs=2.0
    )  # half an hour's grate, not this look's
