"""The engine: which value of a probe stands."""

import math

import pytest

from adapters.reading import Quality, Reading, Reason
from collector.engine import Engine
from tui.nights import night_settings

START = 1_790_000_000.0


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
