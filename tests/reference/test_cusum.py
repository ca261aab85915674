"""The tabular CUSUM against published average run lengths and Montgomery's worked example (values in data/cusum.json).

Run lengths are averages of 4,000 simulated runs with a fixed seed: told to 1.6 %, one standard deviation, and 5 % is
held.
"""

import numpy as np
import pytest

from collector.model.cusum import Cusum

RUNS = 4000


def average_run(shift, k, h, seed):
    """Give the average number of samples until a signal, a sample from the start shifted by so many deviations."""
    rng = np.random.default_rng(seed)
    samples = 0
    waiting = iter(())
    for _ in range(RUNS):
        chart = Cusum(k, h)
        while not chart.signal:
            z = next(waiting, None)
            if z is None:
                waiting = iter(rng.normal(shift, 1.0, 50_000).tolist())
                z = next(waiting)
            chart.add(z)
            samples += 1
    return samples / RUNS


@pytest.mark.parametrize(("column", "h"), [(1, 4.0), (2, 5.0)])
def test_average_run_lengths(reference, column, h):
    rows = reference("cusum.json")["arl"]["rows"]
    assert len(rows) == 10
    for seed, row in enumerate(rows):
        found = average_run(row[0], 0.5, h, seed)
        print(f"shift {row[0]}, h {h}: {found:.2f}, published {row[column]}")
        assert found == pytest.approx(row[column], rel=0.05), row


def test_the_decision_interval_for_a_false_signal_in_370(reference):
    for seed, (k, h) in enumerate(reference("cusum.json")["h_for_370"]):
        found = average_run(0.0, k, h, seed)
        print(f"k {k}, h {h}: {found:.1f}, published 370")
        assert found == pytest.approx(370, rel=0.05), k


def test_the_worked_example(reference):
    example = reference("cusum.json")["example"]
    chart, signals = Cusum(example["k"], example["h"]), []
    assert len(example["x"]) == len(example["high"]) == len(example["low"]) == 30
    for at, (x, high, low) in enumerate(zip(example["x"], example["high"], example["low"], strict=True), 1):
        chart.add((x - example["mean"]) / example["sd"])
        assert chart.high == pytest.approx(high, abs=1e-9), at
        assert chart.low == pytest.approx(low, abs=1e-9), at
        if chart.signal:
            signals.append(at)
    assert signals == [29, 30]
    assert chart.signal == 1


def test_a_fall_is_told_as_a_rise_is(reference):
    example = reference("cusum.json")["example"]
    chart = Cusum(example["k"], example["h"])
    for x in example["x"]:
        chart.add(example["mean"] - x)
    assert chart.signal == -1
