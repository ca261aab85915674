"""A lie, a swap or a change of the chamber: which explanation wins, over random layouts, sizes and places."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.model.lying import ODDS_LOG
from collector.model.patches import Patches
from collector.model.suspects import Suspects

WANDER = 0.5
ROWS = {6: 2, 8: 2, 9: 3, 10: 2, 12: 3}
PROBES = st.sampled_from(sorted(ROWS))
SEEDS = st.integers(0, 2**32 - 1)


class Level:
    """Random places, what they usually differ by, and a little noise on every change."""

    def __init__(self, probes, seed):
        self.rng = np.random.default_rng(seed)
        rows = ROWS[probes]
        columns = probes // rows
        x, y = np.meshgrid((np.arange(columns) + 0.5) / columns, (np.arange(rows) + 0.5) / rows)
        self.x = np.clip(x.ravel() + self.rng.uniform(-0.04, 0.04, probes), 0, 1)
        self.y = np.clip(y.ravel() + self.rng.uniform(-0.08, 0.08, probes), 0, 1)
        self.usual = 14 * (0.5 - self.x) + self.rng.normal(0, 1.5, probes)
        self.change = self.rng.normal(0, 0.3, probes)

    def weigh(self, change):
        return Suspects(Patches(self.x, self.y)).weigh(change, WANDER, self.usual)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(PROBES, st.floats(8.0, 25.0), st.sampled_from([-1, 1]), SEEDS)
def test_a_probe_off_alone_is_the_most_suspect(probes, off, sign, seed):
    level = Level(probes, seed)
    liar = int(level.rng.integers(probes))
    level.change[liar] += sign * off
    verdict = level.weigh(level.change)
    assert int(np.argmax(verdict.lie)) == liar
    assert verdict.swapped is None
    # up to eight probes lean that way, more of them are enough to call it
    assert verdict.lie[liar] > (ODDS_LOG if probes > 8 else 0.0)
    assert verdict.off_kelvin[liar] == pytest.approx(sign * off, abs=2.0)
    assert verdict.lie[np.arange(probes) != liar].max() < 0.0


@settings(max_examples=60, deadline=None, derandomize=True)
@given(PROBES, st.floats(8.0, 14.0), st.sampled_from([-1, 1]), SEEDS)
def test_a_bump_over_two_probes_is_no_lie(probes, size, sign, seed):
    level = Level(probes, seed)
    one = int(level.rng.integers(probes))
    apart = np.hypot((level.x - level.x[one]) / 0.18, (level.y - level.y[one]) / 0.6)
    apart[one] = np.inf
    other = int(np.argmin(apart))
    x, y = (level.x[one] + level.x[other]) / 2, (level.y[one] + level.y[other]) / 2
    bump = sign * size * np.exp(-0.5 * (((level.x - x) / 0.18) ** 2 + ((level.y - y) / 0.6) ** 2))
    assert level.weigh(level.change + bump).lie.max() < 0.0


@settings(max_examples=60, deadline=None, derandomize=True)
@given(PROBES, st.floats(-15.0, 15.0), SEEDS)
def test_noise_and_what_all_share_accuse_nobody(probes, shared, seed):
    level = Level(probes, seed)
    verdict = level.weigh(level.change + shared)
    assert verdict.lie.max() < -2.0
    assert verdict.swapped is None


def test_a_swap_is_named_nearly_always():
    """Two plugs exchanged, usually at least five kelvin apart: each pair once, over random levels."""
    named = 0
    cases = 0
    for seed in range(40):
        level = Level([8, 9, 10, 12][seed % 4], seed)
        pairs = np.argwhere(np.triu(np.abs(level.usual[:, None] - level.usual) > 5.0))
        if not len(pairs):
            continue
        one, other = pairs[level.rng.integers(len(pairs))]
        gap = level.usual[other] - level.usual[one]
        level.change[one] += gap
        level.change[other] -= gap
        verdict = level.weigh(level.change)
        cases += 1
        named += verdict.swapped == (one, other) and verdict.lie[[one, other]].min() > ODDS_LOG
    assert cases > 30
    assert named >= 0.95 * cases


def test_a_change_as_large_as_the_gap_of_one_probe_alone_is_no_swap():
    level = Level(9, 5)
    one, other = int(np.argmin(level.usual)), int(np.argmax(level.usual))
    level.change[one] += level.usual[other] - level.usual[one]
    verdict = level.weigh(level.change)
    assert verdict.swapped is None
    assert int(np.argmax(verdict.lie)) == one


def test_a_swap_is_named_while_its_change_still_settles():
    """The changes are smoothed: some minutes after the exchange they show but six tenths of it."""
    named = cases = 0
    for seed in range(40):
        level = Level([8, 9, 10, 12][seed % 4], seed)
        pairs = np.argwhere(np.triu(np.abs(level.usual[:, None] - level.usual) > 5.0))
        if not len(pairs):
            continue
        one, other = pairs[level.rng.integers(len(pairs))]
        shown = 0.6 * (level.usual[other] - level.usual[one])
        level.change[one] += shown
        level.change[other] -= shown
        cases += 1
        named += level.weigh(level.change).swapped == (one, other)
    assert cases > 30
    assert named >= 0.95 * cases


def test_a_swap_that_has_not_settled_is_a_little_less_likely_than_one_that_has():
    """By hand, for two probes usually 10 K apart: three tenths of that, 3 K, is one standard deviation.

    With the wander of 0.5 K and the 0.7 K by which two probes' swings differ it is sqrt(9 + 0.25 + 0.49) = 3.12 K.
    At six tenths each of the two lacks 4 K, so the log evidence is less by 2 x 0.5 x (4 / 3.12)² = 1.64.
    """
    level = Level(9, 3)
    usual = np.zeros(9)
    usual[6] = 10.0
    suspects, log = Suspects(Patches(level.x, level.y)), []
    for share in (0.6, 1.0):
        change = np.zeros(9)
        change[2], change[6] = 10.0 * share, -10.0 * share
        pair, evidence = suspects._swap(change, change, WANDER, usual)
        assert pair == (2, 6)
        log.append(evidence)
    assert log[1] - log[0] == pytest.approx(1.64, abs=0.02)
