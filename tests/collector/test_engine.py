"""The engine as a whole: which value of a probe stands; what a cold patch does to the fire's level and to a rule."""

import math
import pickle

import numpy as np
import pytest
from msgspec.structs import replace

from adapters.reading import Quality, Reading, Reason
from collector.engine import Engine
from collector.model.alarm import Transition
from collector.snapshot import TrendPoint
from tui.nights import night_settings

START = 1_790_000_000.0
PLAN = night_settings().plan
AGAINST_TARGET = replace(
    PLAN, rules=tuple(replace(r, against="target") if r.name == "cold-spot" else r for r in PLAN.rules)
)
WARM_SECONDS, LEAK_SECONDS = 9000, 3600
COLD_KELVIN = 16.0


def go_on(engine, random, begin, end, cold):
    """Play an even saw-tooth of 6 K around 113 °C; the flat's probes get `cold` lower within ten minutes."""
    events = []
    for t in range(begin, end, 30):
        level = min(15 + t / 30, 113) + (6 * abs((t % 2400) / 1200 - 1) - 3) * (t > 3000)
        for i, probe in enumerate(PLAN.probes):
            value = {"chamber": level, "meat": 60.0, "ambient": 12.0}[probe.duty]
            if probe.duty == "chamber":
                value += 10 * (0.5 - probe.x_m / 1.2) + (40 if probe.level == "top" else 0)
                value -= cold * probe.name.startswith("grate flat") * min(max(t - WARM_SECONDS, 0) / 600, 1)
            at = START + t + 0.1 * i
            reading = Reading(probe.source, probe.key, round(value + random.normal(0, 0.1), 1), at)
            events += engine.take(reading, at)[1]
    return events


@pytest.fixture(scope="module")
def played():
    """Play the same hours twice: as the pit is, and with a patch."""
    engine, random = Engine(PLAN, "n", START), np.random.default_rng(4)
    go_on(engine, random, 0, WARM_SECONDS, 0.0)
    kept = pickle.dumps((engine, random), protocol=5)
    found = {}
    for name, cold in (("sound", 0.0), ("patched", COLD_KELVIN)):
        engine, random = pickle.loads(kept)
        found[name] = engine, go_on(engine, random, WARM_SECONDS, WARM_SECONDS + LEAK_SECONDS, cold)
    return found


def grate_celsius(events):
    """Average the grate over the last half hour."""
    since = START + WARM_SECONDS + LEAK_SECONDS - 1800.0
    return float(np.mean([e.grate_celsius for e in events if isinstance(e, TrendPoint) and e.time_unix >= since]))


def test_a_cold_patch_is_no_fading_fire(played):
    """The grate's mean falls, the fire is as it was."""
    (sound, before), (patched, after) = played["sound"], played["patched"]
    lost = grate_celsius(before) - grate_celsius(after)
    assert 2.0 < lost < 5.0
    assert patched._fire.level_celsius == pytest.approx(sound._fire.level_celsius, abs=0.25 * lost)
    assert not [e for e in after if isinstance(e, Transition) and e.key == "drift/fading fire"]


def test_against_the_target_a_zone_is_judged_by_how_far_it_lies_below_the_target(played):
    """And so by as much more than against the level as the grate, patch and all, lies below the target."""
    level, events = played["patched"]
    target = pickle.loads(pickle.dumps(level, protocol=5))
    target.plan = AGAINST_TARGET
    cold = [zone.name for zone in PLAN.zones].index("flat side")
    more = target._rule_look(target.now_unix).zone_deficit_kelvin[cold]
    more -= level._rule_look(level.now_unix).zone_deficit_kelvin[cold]
    assert more == pytest.approx(PLAN.target_celsius - grate_celsius(events), abs=1.0)


def engine_and_probe():
    plan = night_settings().plan
    return Engine(plan, "n", START), plan.probes[0]


def shown(engine, probe):
    return next(view for view in engine.snapshot().probes if view.name == probe.name)


@pytest.mark.parametrize(
    ("celsius", "quality", "reason"),
    [
        (900.0, Quality.GOOD, Reason.OPEN_OR_SHORT),
        (math.nan, Quality.GOOD, Reason.NOT_A_NUMBER),
        (math.nan, Quality.BAD, Reason.UNDECODABLE),
    ],
)
def test_a_bad_value_does_not_stand_in_place_of_a_good_one_until_that_is_old(celsius, quality, reason):
    engine, probe = engine_and_probe()
    given = 110.0
    engine.take(Reading(probe.source, probe.key, given, START + 1), START + 1)
    engine.advance(START + 10)
    good = shown(engine, probe).celsius
    assert good == pytest.approx(probe.gain * given + probe.added_kelvin)
    for second in range(11, 20):
        taken, _ = engine.take(
            Reading(probe.source, probe.key, celsius, START + second, quality=quality, reason=reason), START + second
        )
    assert (taken.quality, taken.reason) == (Quality.BAD, reason)
    assert shown(engine, probe).celsius == good, "the good value stands"
    assert shown(engine, probe).reason is reason, "and why it is not renewed"
    late = START + 1 + probe.stale_seconds
    engine.take(Reading(probe.source, probe.key, celsius, late, quality=quality, reason=reason), late)
    assert shown(engine, probe).celsius != good, "once it is as old as a silent probe's, it stands no more"
