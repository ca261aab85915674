"""The bench of arrivals in small: pieces cook as briskets do, and the forecast beats a line on each family."""

import numpy as np
import pytest

from tests.bench.quality.meat.judge import STAGES, WAYS, MeatScore, judge_family
from tests.bench.quality.meat.learn import fit, widths, written
from tests.bench.quality.meat.pieces import DONE_CELSIUS, FAMILIES, LEARNED_FROM, cooked
from tests.bench.quality.meat.show import meat_part


@pytest.mark.parametrize("family", FAMILIES)
def test_pieces_of_every_family_arrive_and_stall(family):
    pieces = cooked(family, 3, 40)
    assert len(pieces) >= 5
    for piece in range(len(pieces)):
        tip, done = pieces.true_celsius[piece], int(pieces.done_minute[piece])
        assert np.isfinite(tip).all()
        assert tip[done] >= DONE_CELSIUS > tip[:done].max()
        assert 5.5 <= done / 60.0 <= 24.0
        track = pieces.track(piece, done // 2)
        assert track.seconds[-1] == 60.0 * (done // 2)
        assert np.isnan(track.wrapped_seconds) or track.wrapped_seconds <= track.seconds[-1]
    again = cooked(family, 3, 40)
    assert np.array_equal(again.celsius, pieces.celsius, equal_nan=True)


def test_the_forecast_beats_a_line_on_pieces_it_was_not_learned_from():
    assert "nodes" not in LEARNED_FROM
    scores = judge_family("nodes", 30, tuning=False)
    part = meat_part(scores)
    assert [score.stage for score in scores] == list(STAGES)
    for score in scores:
        lines = [np.median(score.errors[way]) for way in WAYS]
        assert np.median(score.errors["coldside"]) < min(lines)
        assert 0.6 <= np.mean(score.covered) <= 1.0
    assert len(part.goals) == 3 * len(STAGES)
    assert all(goal.met for goal in part.goals if "straight" in goal.what)


def test_a_family_that_is_not_there_is_refused():
    with pytest.raises(ValueError, match="no family of meat stone; there are shells"):
        judge_family("stone", 1, tuning=False)


def test_a_goal_that_is_missed_is_shown():
    late = MeatScore(
        "nodes", "half", {"coldside": (90.0,) * 4, **dict.fromkeys(WAYS, (80.0,) * 4)}, (True,) * 4, (9.0,) * 4
    )
    rest = [
        MeatScore("nodes", stage, {"coldside": (1.0,), **dict.fromkeys(WAYS, (2.0,))}, (True,), (9.0,))
        for stage in ("three quarters", "nine tenths")
    ]
    missed = [goal.what for goal in meat_part([late, *rest]).goals if not goal.met]
    assert missed[:3] == [
        "half: median error, min", "half: further off than a straight line, min", "half: 80 % interval covers, %",
    ]  # fmt: skip


def test_a_fit_finds_the_quantiles_of_what_it_was_shown():
    from collector.model.meat.hours_left import quantiles_of

    random = np.random.default_rng(1)
    columns = random.uniform(-1.0, 1.0, (6000, 3))
    hours = np.exp(0.8 * columns[:, 0] + random.normal(0.0, 0.3, 6000))
    layers = fit(columns, hours, 0, 80)
    told = quantiles_of(layers, columns)
    shares = (np.log(hours + 0.05)[:, None] <= told).mean(axis=0)
    assert shares == pytest.approx([0.1, 0.5, 0.9], abs=0.04)
    assert np.corrcoef(told[:, 1], columns[:, 0])[0, 1] > 0.97
    early, late = widths([(told, np.log(hours + 0.05))] * 3)
    assert (early, late) == pytest.approx((1.0, 1.0), abs=0.15)
    module: dict[str, object] = {}
    exec(written([layers], (1.0, 1.1), (1.2, 1.3)), module)
    kept = np.array(str(module["NUMBERS"]).split(), dtype=float) / 1000.0
    assert kept.size == sum(part.size for layer in layers for part in layer)
    assert kept[: layers[0][0].size] == pytest.approx(layers[0][0].ravel(), abs=5.1e-4)
