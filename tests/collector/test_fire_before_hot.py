"""Whom a fire wakes that goes out, is relit, or only seems so, before the pit was hot: the engine over made curves."""

import numpy as np
import pytest

from adapters.reading import Reading
from collector.engine import Engine
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.words import fire_words
from tui.nights import night_settings

BEGIN = 1_790_000_000.0
EVERY_SECONDS = 15
PLAN = night_settings().plan


def play(curve, minutes, *, away=(0.0, 0.0), seen_at=None):
    """Play the mean of the grate by the minute, a pit with a hotter end.

    Args:
        curve: degrees Celsius at a minute.
        minutes: how long.
        away: from when to when the collector did not run.
        seen_at: at this minute the cook acknowledges the drift.

    Returns:
        The steps of the drift alarm with their minutes, and what the fire was called each minute.
    """
    engine, random = Engine(PLAN, "n", BEGIN), np.random.default_rng(1)
    steps, words = [], {}

    def keep(events):
        steps.extend(
            ((e.time_unix - BEGIN) / 60.0, str(e.after)) for e in events
            if isinstance(e, Transition) and e.key == "drift/fading fire"
        )  # fmt: skip

    for second in range(0, 60 * minutes, EVERY_SECONDS):
        minute, now = second / 60.0, BEGIN + second
        if away[0] <= minute < away[1]:
            continue
        if minute == away[1] and away[1]:
            keep(engine.act(Action(ActionKind.RESUME, seconds=60.0 * (away[1] - away[0])), now))
        if minute == seen_at:
            keep(engine.act(Action(ActionKind.ACKNOWLEDGE, "drift/fading fire"), now))
        for i, probe in enumerate(PLAN.probes):
            value = curve(minute) + 4.0 - 0.8 * i if probe.duty == "chamber" else 5.0 + 0.2 * minute
            at = now + 0.01 * i
            keep(engine.take(Reading(probe.source, probe.key, value + random.normal(0.0, 0.1), at), at)[1])
        words[minute] = fire_words(engine.snapshot())[0] if second % 60 == 0 else ""
    return steps, words


def along(*points):
    """Draw a curve through points of minute and degrees."""
    minutes, celsius = zip(*points, strict=True)
    return lambda minute: float(np.interp(minute, minutes, celsius))


def opened(base, *openings):
    """Open the lid from one minute to another: 45 K go within minutes, and come back in a quarter of an hour."""
    step, lost, at = 1 / 6, [0.0], np.arange(0.0, 240.0, 1 / 6)
    for minute in at[:-1]:
        is_open = any(since <= minute < until for since, until in openings)
        lost.append(lost[-1] + ((45.0 - lost[-1]) * step / 2.0 if is_open else -lost[-1] * step / 15.0))
    return lambda minute: base(minute) - float(np.interp(minute, at, lost))


def raised(steps):
    return [round(minute) for minute, after in steps if after == "unacknowledged"]


def test_a_fire_that_flares_up_once_more_and_dies_is_told_again():
    steps, words = play(along((0, 15), (40, 90), (85, 50), (92, 57.5), (180, 15)), 170, seen_at=72.0)
    first, second = raised(steps)
    assert 66 <= first <= 72
    assert 92 < second <= 106, "the cook had seen the first, and relit it"
    assert words[75.0] == "going out"
    assert words[110.0] == "going out"


def test_a_fire_that_is_relit_is_told_no_more_as_soon_as_it_rises():
    steps, words = play(along((0, 15), (40, 85), (70, 48), (102, 113)), 160)
    (first,) = raised(steps)
    assert 55 <= first <= 65
    over = next(minute for minute, after in steps if after.startswith("returned"))
    assert over <= 83
    assert words[90.0] == "warming up"
    assert words[150.0] == "steady"


WARM = along((0, 15), (40, 85), (100, 113))


@pytest.mark.parametrize(
    ("curve", "away"),
    [
        (opened(WARM, (42, 52)), (0.0, 0.0)),
        (opened(WARM, (42, 45), (62, 72)), (0.0, 0.0)),
        (along((0, 15), (40, 95), (41, 95), (51, 60), (95, 113)), (41.0, 52.0)),
        (along((0, 15), (20, 95), (24, 95), (29, 75), (37, 78), (47, 97), (90, 113)), (0.0, 0.0)),
    ],
    ids=["meat put on", "meat put on, and spritzed for long", "the collector was away meanwhile", "kindling flared up"],
)
def test_what_only_looks_so_wakes_nobody(curve, away):
    steps, words = play(curve, 145, away=away)
    assert raised(steps) == []
    assert words[144.0] == "steady"
