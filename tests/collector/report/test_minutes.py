"""A cook by minutes: which of them are steady, whom they believe, and what their means are."""

import math

import numpy as np
import pytest
from msgspec.structs import replace

from collector.engine import Engine
from collector.report.minutes import is_steady, minutes_of
from collector.snapshot import Phase
from tui.nights import night_settings

BEGIN = 1_790_000_040.0
"""The start of a whole minute."""
PLAN = night_settings().plan
BLANK = Engine(PLAN, "n", BEGIN).snapshot()
NAN = math.nan


def moment(minute, phase=Phase.STEADY, level=110.0, **probes):
    """Make a moment of the cook; by probe, what else is true of it."""
    changed = tuple(
        replace(p, **{"used": p.duty == "chamber", "silent": False, **probes.get(p.name.replace(" ", "_"), {})})
        for p in BLANK.probes
    )
    fire = replace(BLANK.fire, phase=phase, level_celsius=level)
    return replace(BLANK, now_unix=BEGIN + 60.0 * minute, fire=fire, probes=changed, low_celsius=100.0)


def minutes(moments, count=12):
    """Reduce a trend of a row every half minute."""
    unix = BEGIN + 30.0 * np.arange(2 * count)
    rows = len(BLANK.probes)
    return minutes_of(unix, np.full(unix.size, 110.0), np.zeros((2, unix.size)), np.zeros((rows, unix.size)), moments)


@pytest.mark.parametrize(
    ("phase", "level", "steady"),
    [
        (Phase.STEADY, 110.0, True),
        (Phase.STEADY, 86.0, True),  # 14 K below the band
        (Phase.STEADY, 84.0, False),  # 16 K
        (Phase.STEADY, NAN, False),
        (Phase.WARMING, 110.0, False),
        (Phase.LID_OPEN, 110.0, False),
    ],
)
def test_a_moment_is_steady_with_the_lid_shut_and_a_fire_that_has_not_burnt_down(phase, level, steady):
    assert is_steady(moment(0, phase, level)) is steady


def test_a_minute_is_steady_where_the_moments_on_both_sides_of_it_are():
    """Moments every other minute, the lid open in one of them: the two minutes before it and the two from it on go."""
    moments = [moment(m, Phase.LID_OPEN if m == 6 else Phase.STEADY) for m in (0, 2, 4, 6, 8, 10)]
    steady = minutes(moments).steady.tolist()
    assert steady == [True] * 4 + [False] * 4 + [True] * 4


def test_a_moment_long_ago_says_nothing_of_a_minute():
    """Of a gap of 20 minutes the middles of five minutes lie within 300 s of the moment before it."""
    found = minutes([moment(0), moment(20)], 22)
    assert found.steady.tolist() == [True] * 5 + [False] * 15 + [True] * 2
    assert found.believed[0].tolist() == found.steady.tolist()
    early = minutes([moment(8)], 12)  # and of what came before the first moment, five
    assert early.steady.tolist() == [False] * 3 + [True] * 9


def test_a_probe_is_believed_as_the_moment_before_says():
    """The map's are believed while it uses them, the meat's while they are heard."""
    meat = next(i for i, p in enumerate(BLANK.probes) if p.duty == "meat")
    air = next(i for i, p in enumerate(BLANK.probes) if p.duty == "chamber")
    names = [p.name.replace(" ", "_") for p in BLANK.probes]
    lies = moment(4, **{names[air]: {"used": False}, names[meat]: {"silent": True}})
    found = minutes([moment(0), lies, moment(8)])
    for probe in (meat, air):
        assert found.believed[probe].tolist() == [True] * 4 + [False] * 4 + [True] * 4
    assert found.believed.sum() == found.believed.size - 8


def test_means_are_those_of_the_rows_of_each_minute_that_are_known():
    unix = BEGIN + np.array([0.0, 20.0, 59.9, 60.0, 119.0, 240.0])
    grate = np.array([100.0, 101.0, 105.0, 90.0, NAN, NAN])
    zones = np.array([[1.0, NAN, 2.0, NAN, NAN, 7.0]])
    found = minutes_of(unix, grate, zones, np.zeros((len(BLANK.probes), 6)), [moment(0)])
    assert (found.unix - BEGIN).tolist() == [30.0, 90.0, 270.0]
    assert found.grate == pytest.approx([102.0, 90.0, NAN], nan_ok=True)
    assert found.zones[0] == pytest.approx([1.5, NAN, 7.0], nan_ok=True)
