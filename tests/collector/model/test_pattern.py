"""What each probe usually says: planted offsets, shares and lags are learned, and changes of a probe show."""

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from collector.model.pattern import LAG_SECONDS, NEEDS_SECONDS, WANDER_FLOOR_KELVIN, Pattern

STEP, CALM_STEP = 5.0, 30.0
HOUR = 3600.0
PERIOD = 2400.0


class Pit:
    """A saw-toothed level and probes that follow it, each in its way; the truth is known."""

    def __init__(self, probes, seed, noise=0.15, swing=8.0):
        rng = np.random.default_rng(seed)
        self.rng, self.noise, self.swing = rng, noise, swing
        self.offset = rng.uniform(-10, 10, probes)
        self.share = rng.uniform(-0.15, 0.15, probes)
        self.lag = rng.uniform(-45, 45, probes)
        for planted in (self.offset, self.share, self.lag):
            planted -= planted.mean()  # the level is the probes' own mean
        self.pattern = Pattern(probes, STEP)
        self.now = 0.0

    def level(self, t):
        phase = (t % PERIOD) / PERIOD
        return 110.0 + self.swing * (phase * 2 if phase < 0.5 else 2 - phase * 2) - self.swing / 2

    def rate(self, t):
        return self.swing / (PERIOD / 2) * (1 if t % PERIOD < PERIOD / 2 else -1)

    def celsius(self, t):
        away = self.offset + self.share * (self.level(t) - 110.0) + self.lag * self.rate(t)
        return self.level(t) + away + self.rng.normal(0, self.noise, away.size)

    def run(self, hours, change=lambda _t, v: v, used=None):
        """Go on for some hours; `change` may do to the readings what it likes."""
        used = np.ones(self.offset.size, dtype=bool) if used is None else used
        for _ in range(round(hours * HOUR / STEP)):
            celsius = change(self.now, self.celsius(self.now))
            self.pattern.look(celsius, used)
            if self.now % CALM_STEP == 0:
                self.pattern.learn(self.now, celsius, used, CALM_STEP)
            self.now += STEP


CASES = settings(max_examples=4, deadline=None, derandomize=True, phases=[Phase.generate])
SEEDS = st.integers(0, 2**32 - 1)


@CASES
@given(st.integers(4, 10), SEEDS)
def test_planted_offsets_and_shares_are_recovered(probes, seed):
    pit = Pit(probes, seed)
    pit.run(8)
    assert pit.pattern.known.all()
    # said at the crest and at the trough, where the rate is of no account: the share of the swing shows between
    usual = []
    for at in (0.5 * PERIOD, PERIOD):
        while pit.now % PERIOD != at % PERIOD:
            pit.run(STEP / HOUR)
        usual.append(pit.pattern.usual)
    assert (usual[0] + usual[1]) / 2 == pytest.approx(pit.offset, abs=0.5)
    assert usual[0] - usual[1] == pytest.approx(pit.share * pit.swing, abs=0.6)
    # and what is left over is noise: no saw-tooth of the fire in it
    left = []
    for _ in range(60):
        pit.run(40 / HOUR)
        left.append(pit.pattern.change)
    assert np.abs(np.array(left)).max() < 0.8
    assert pit.pattern.wander_kelvin == pytest.approx(WANDER_FLOOR_KELVIN, abs=0.1)


@CASES
@given(st.integers(5, 10), st.floats(4.0, 15.0), st.sampled_from([-1, 1]), SEEDS)
def test_a_change_shows_within_minutes_and_does_not_explain_itself_away(probes, size, sign, seed):
    pit = Pit(probes, seed)
    pit.run(6)
    changed = seed % probes
    step = np.zeros(probes)
    step[changed] = sign * size
    for minutes in (5.0, 20.0, 60.0):
        pit.run(minutes / 60, lambda _t, v: v + step)
        told = pit.pattern.change - np.median(np.delete(pit.pattern.change, changed))
        assert told[changed] == pytest.approx(sign * size, abs=0.25 * size + 0.6)
        assert np.abs(np.delete(told, changed)).max() < 1.5


@CASES
@given(st.integers(5, 10), st.floats(8.0, 30.0), st.sampled_from([-1, 1]), SEEDS)
def test_a_probe_that_is_not_believed_is_learned_slowly(probes, size, sign, seed):
    """An hour and a half of a lie moves its usual by a small share; and back in truth it has no change to show."""
    pit = Pit(probes, seed)
    pit.run(6)
    liar = seed % probes
    before = pit.pattern.standing
    used = np.ones(probes, dtype=bool)
    used[liar] = False
    lie = np.where(used, 0.0, sign * size)
    pit.run(1.5, lambda _t, v: v + lie, used)
    moved = np.abs(pit.pattern.standing - before)
    assert moved[liar] < 0.06 * size
    assert np.delete(moved, liar).max() < 0.3
    pit.run(0.25)
    assert abs(pit.pattern.change[liar]) < 0.06 * size + 0.8


def test_a_leak_of_hours_does_not_become_the_usual_nor_move_the_level():
    """Two of eight probes 20 K down for three hours; when it ends, nothing has changed against the evening before."""
    pit = Pit(8, 3)
    pit.run(5)
    leak = np.where(np.arange(8) < 2, -20.0, 0.0)
    pit.run(3, lambda _t, v: v + leak)
    assert pit.pattern.level_celsius == pytest.approx(pit.level(pit.now - STEP), abs=2.5)  # the plain mean: 5 K
    assert pit.pattern.change[:2].max() < -16.0
    pit.run(0.25)
    assert np.abs(pit.pattern.change).max() < 2.5


@CASES
@given(st.integers(4, 10), SEEDS)
def test_the_level_does_not_move_when_a_probe_comes_or_goes(probes, seed):
    pit = Pit(probes, seed)
    pit.run(6)
    for gone in range(probes):
        used = np.arange(probes) != gone
        pit.run(STEP / HOUR, used=used)
        without = pit.pattern.level_celsius - pit.level(pit.now - STEP)
        pit.run(STEP / HOUR)
        with_it = pit.pattern.level_celsius - pit.level(pit.now - STEP)
        assert without == pytest.approx(with_it, abs=0.6)
        # a plain mean would: by the offset of the one that left, shared among the rest
        plain = abs(pit.offset[gone]) / (probes - 1)
        assert plain < 1.2 or abs(without - with_it) < plain


def test_nothing_is_usual_before_it_was_heard_for_long():
    pit = Pit(5, 1)
    pit.run((NEEDS_SECONDS - 60) / HOUR)
    assert not pit.pattern.known.any()
    assert np.isnan(pit.pattern.usual).all()
    assert np.isnan(pit.pattern.standing).all()
    assert np.isnan(pit.pattern.change).all()
    pit.run(120 / HOUR)
    assert pit.pattern.known.all()


def test_the_last_minutes_have_no_say_yet():
    """A change too small to be distrusted: kept apart for so long, then learned, the sooner the less is known."""
    pit = Pit(5, 2)
    pit.run(2)
    before = pit.pattern.standing
    step = np.array([-2.4, 0, 0, 0, 0])
    pit.run(LAG_SECONDS / HOUR - 0.01, lambda _t, v: v + step)
    assert pit.pattern.standing == pytest.approx(before, abs=0.1)
    pit.run(1.0, lambda _t, v: v + step)
    assert pit.pattern.standing[0] < before[0] - 0.3


def test_a_probe_that_was_moved_is_learned_anew():
    pit = Pit(5, 3)
    pit.run(4)
    before = pit.pattern.standing
    pit.offset[2] += 12.0
    pit.pattern.forget(2)
    assert pit.pattern.known.tolist() == [True, True, False, True, True]
    pit.run(2)
    assert pit.pattern.known.all()
    # the level is what the others make it, so the moved one alone has a new usual
    assert pit.pattern.standing[2] - before[2] == pytest.approx(12.0, abs=1.0)
    assert np.delete(pit.pattern.standing - before, 2) == pytest.approx(np.zeros(4), abs=0.5)


def test_when_nobody_tells_nothing_is_known_and_nothing_forgotten():
    pit = Pit(4, 4)
    pit.run(2)
    standing = pit.pattern.standing
    nothing = np.full(4, np.nan)
    pit.pattern.look(nothing, np.ones(4, dtype=bool))
    pit.pattern.learn(pit.now, nothing, np.ones(4, dtype=bool), CALM_STEP)
    assert np.isnan(pit.pattern.level_celsius)
    assert np.isnan(pit.pattern.change).all()
    assert pit.pattern.standing.tolist() == standing.tolist()
    pit.run(0.1)
    assert np.abs(pit.pattern.change).max() < 1.5
