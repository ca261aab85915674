"""A curve through raw points as dots of a raster: gaps stay gaps, every peak and trough is kept."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["DASHES", "GAP_SECONDS", "curve_dots", "shown"]

Array = NDArray[np.float64]
Dots = NDArray[np.bool_]

GAP_SECONDS = 45.0
"""Rows of the trend come every ten seconds of the cook; a longer hole is drawn as a hole."""

DASHES: tuple[tuple[int, int], ...] = ((1, 1), (6, 4), (2, 1), (4, 2), (12, 9), (4, 1), (8, 7), (3, 2))
"""Period in dots, and how many of them are drawn, for each curve in turn."""


def curve_dots(
    time_unix: Array, value: Array, window: tuple[float, float], ends: tuple[float, float], columns: int, rows: int
) -> Dots:
    """Draw a curve into a raster of dots, row 0 at the top.

    Each column holds the whole span from least to greatest of its points (min-max decimation), joined to the
    column before unless more than `GAP_SECONDS` or a NaN lies between.

    Args:
        time_unix: times, shape (n,), rising.
        value: values, shape (n,), NaN where there is none.
        window: first and last time shown.
        ends: values of the lowest and the highest row.
        columns: dots across.
        rows: dots down.

    Returns:
        Which dots are set, shape (rows, columns).
    """
    dots = np.zeros((rows, columns), dtype=np.bool_)
    seen = shown(time_unix, window)
    time_unix, value = time_unix[seen], value[seen]
    good = np.flatnonzero(~np.isnan(value))
    if not good.size:
        return dots
    time_unix, value = time_unix[good], value[good]
    parted = (np.diff(time_unix) > GAP_SECONDS) | (np.diff(good) > 1)
    at = ((time_unix - window[0]) / max(window[1] - window[0], 1e-9) * columns).astype(int)
    at = np.minimum(at, columns - 1)
    starts = np.concatenate([[0], np.flatnonzero((np.diff(at) > 0) | parted) + 1])
    final = np.concatenate([starts[1:], [len(at)]]) - 1
    cuts = [True, *parted[starts[1:] - 1].tolist()]

    def down(values: Array) -> list[int]:
        height = np.rint((values - ends[0]) / max(ends[1] - ends[0], 1e-9) * (rows - 1))
        found: list[int] = (rows - 1 - np.clip(height, 0, rows - 1)).astype(int).tolist()
        return found

    tops, bottoms = down(np.maximum.reduceat(value, starts)), down(np.minimum.reduceat(value, starts))
    previous: tuple[int, int] | None = None
    for column, top, bottom, first, last, cut in zip(
        at[starts].tolist(), tops, bottoms, down(value[starts]), down(value[final]), cuts, strict=True
    ):
        dots[top : bottom + 1, column] = True
        if previous is not None and not cut:
            _join(dots, previous, (column, first))
        previous = (column, last)
    return dots


def shown(time_unix: Array, window: tuple[float, float]) -> slice:
    """Give which of times, shape (n,), rising, lie within a window, its ends included."""
    first, last = np.searchsorted(time_unix, window[0]), np.searchsorted(time_unix, window[1], side="right")
    return slice(int(first), int(last))


def _join(dots: Dots, start: tuple[int, int], end: tuple[int, int]) -> None:
    """Draw a straight line between two dots."""
    (c0, r0), (c1, r1) = start, end
    steps = max(abs(c1 - c0), abs(r1 - r0))
    if steps <= 1:
        return
    if c1 - c0 > 1:
        columns = np.rint(np.linspace(c0, c1, steps + 1)).astype(int)
        dots[np.rint(np.linspace(r0, r1, steps + 1)).astype(int), columns] = True
        return
    # a step to the next column, as nearly all are: half of it in this one, half in that
    way = 1 if r1 > r0 else -1
    middle = r0 + way * ((steps - 1 + (c0 % 2 == 0)) // 2)
    dots[min(r0, middle) : max(r0, middle) + 1, c0] = True
    dots[min(middle + way, r1) : max(middle + way, r1) + 1, c1] = True
