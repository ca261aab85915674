"""The curve as dots, against the same told point by point."""

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tui.draw.curve import GAP_SECONDS, curve_dots


def plain(time_unix, value, window, ends, columns, rows):
    """Go from point to point: a dot each, those of a column filled up, a straight line to the column before."""
    dots = np.zeros((rows, columns), dtype=bool)
    before, spans = None, []
    for t, v in zip(time_unix.tolist(), value.tolist(), strict=True):
        if not window[0] <= t <= window[1] or math.isnan(v):
            before = None if math.isnan(v) else before
            continue
        column = min(columns - 1, int((t - window[0]) / (window[1] - window[0]) * columns))
        height = np.rint((v - ends[0]) / (ends[1] - ends[0]) * (rows - 1))
        row = rows - 1 - int(min(max(height, 0), rows - 1))
        tied = before is not None and t - before <= GAP_SECONDS
        if tied and spans[-1][0] == column:
            spans[-1][1].append(row)
        else:
            spans.append((column, [row], tied))
        before = t
    last = None
    for column, seen, tied in spans:
        dots[min(seen) : max(seen) + 1, column] = True
        if tied:
            steps = max(abs(column - last[0]), abs(seen[0] - last[1]))
            along = np.rint(np.linspace(last[0], column, steps + 1)).astype(int)
            dots[np.rint(np.linspace(last[1], seen[0], steps + 1)).astype(int), along] = True
        last = (column, seen[-1])
    return dots


@given(st.integers(0, 2**32 - 1))
def test_it_is_what_going_from_point_to_point_gives(seed):
    random = np.random.default_rng(seed)
    n = int(random.integers(0, 200))
    time_unix = np.cumsum(random.choice([1.0, 5.0, 10.0, 60.0], n)) + random.integers(0, 50)
    value = 100.0 + np.cumsum(random.normal(0.0, random.choice([0.1, 2.0, 20.0]), n))
    value[random.random(n) < random.choice([0.0, 0.1, 0.9])] = np.nan
    window = float(random.integers(0, 200)), float(random.integers(200, 2000))
    ends = 50.0, float(random.integers(60, 200))
    columns, rows = int(random.integers(4, 120)), int(random.integers(4, 120))
    given_to = time_unix, value, window, ends, columns, rows
    assert (curve_dots(*given_to) == plain(*given_to)).all()
