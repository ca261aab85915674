"""The bench of pairs in small: intervals hold the truth where simpler ones do not, and a miss is shown."""

import numpy as np
import pytest

from tests.bench.quality.pairs import fields
from tests.bench.quality.pairs.judge import PairScore, judge_pair
from tests.bench.quality.pairs.pair import SIZES, far_end
from tests.bench.quality.pairs.peers import PEERS
from tests.bench.quality.pairs.show import pairs_part


def test_a_change_of_the_grate_is_of_the_size_asked_for():
    pair = fields.draw(3, 5.6, 1)
    again = fields.draw(3, 5.6, 1)
    assert np.array_equal(pair.before[0].celsius, again.before[0].celsius)
    assert pair.kelvin == pytest.approx(5.6, rel=0.11)
    x = np.linspace(0.0, 1.0, 11)
    assert far_end(np.tile(-x, (3, 1)), x, 0.7) == pytest.approx(0.85 - 0.5)


def test_intervals_hold_the_truth_where_simpler_ones_do_not():
    scores = [
        s for seed in range(24) for size in (0.0, 5.6) for s in judge_pair("fields", fields.draw(seed, size, 1), size)
    ]
    covered = {way: np.mean([s.covered for s in scores if s.way == way]) for way in ("coldside", *PEERS)}
    assert covered["coldside"] >= 0.85
    assert covered["t-test over minutes"] <= 0.3
    assert covered["block bootstrap"] <= 0.6
    ours = [s for s in scores if s.way == "coldside"]
    assert np.mean([s.claimed for s in ours if s.size == 5.6]) >= 0.9
    assert np.mean([s.width for s in ours]) < 6.0


def test_a_goal_that_is_missed_is_shown():
    good = [PairScore("fields", "coldside", size, cooks, 0.1, 3.0, k < 19, size > 0.0 or k < 1)
            for size in SIZES for cooks in (1, 3) for k in range(20)]  # fmt: skip
    assert all(goal.met for goal in pairs_part(good).goals)
    wide = [PairScore(s.family, s.way, s.size, s.cooks, s.error, 7.0, s.covered, s.claimed) for s in good]
    assert [goal.what for goal in pairs_part(wide).goals if not goal.met] == [
        "1 a side: mean width, K", "3 a side: mean width, K",
    ]  # fmt: skip
