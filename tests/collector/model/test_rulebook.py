"""The delays of the rules about probes, played through the engine."""

import math

import pytest

from adapters.reading import Reading
from collector.engine import Engine
from collector.model.alarm import Transition
from collector.snapshot import AlarmState
from tests.evening import PROBES, START, plan_of

PLAN = plan_of(PROBES)
ON_DELAY = PLAN.rule("probe-lying").on_delay_seconds


def doubted_at(*spells):
    """Play an even pit whose first probe has no value in these spells, s; give when it was called a liar."""
    engine, found = Engine(PLAN, "night", START), []
    for t in range(0, 3600, 10):
        for k, probe in enumerate(PROBES):
            without = k == 0 and any(start <= t < end for start, end in spells)
            reading = Reading(
                probe.source, probe.key, math.nan if without else 113.0 + 0.1 * math.sin(t + k), START + t
            )
            found += [
                t
                for step in engine.take(reading, START + t)[1]
                if isinstance(step, Transition) and step.key == f"probe-lying/{PROBES[0].name}"
                if step.after is AlarmState.UNACKNOWLEDGED
            ]
    return found


def test_two_moments_of_doubt_that_lie_apart_are_not_one_long_doubt():
    """A probe passes 85 °C, a value that some senders write in place of none, at each of two door openings."""
    assert doubted_at((1200, 1210), (1200 + 2 * ON_DELAY, 1210 + 2 * ON_DELAY)) == []


def test_a_doubt_that_lasts_is_an_alarm_when_its_delay_is_over():
    assert doubted_at((1200, 2400)) == [pytest.approx(1200 + ON_DELAY, abs=20)]
