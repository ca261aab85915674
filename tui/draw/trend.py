"""The trend chart: curves in braille dots, the band, axes with times and degrees, each curve named at its end."""

import math

import msgspec
import numpy as np
from numpy.typing import NDArray

from tui.draw.curve import DASHES, GAP_SECONDS, curve_dots, shown
from tui.draw.line import fit
from tui.draw.picture import FAINT, STRONG, Canvas, Picture
from tui.draw.view import View
from tui.draw.words import clock

__all__ = ["MARKS", "Curve", "Guide", "Sign", "draw_trend"]

Array = NDArray[np.float64]

MARKS = "123456789abcdefghijklmnopqrstuvwxyz"
"""What names a curve in one character: at its end, and all along it in ASCII."""
BITS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]])
"""Dots of a braille cell, rows by columns (Unicode chapter 21, block 2800)."""
BRAILLE = np.array([chr(0x2800 + i) for i in range(256)])
AXIS = 5
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500)
"""Degrees between two numbers at the value axis."""
EXPECTED = "forecast, 8 of 10"
MARK_EVERY = 15
"""Columns from one mark in a curve to the next."""
NAMES = ((88, 22), (56, 15), (0, 7))
"""From which width on the names at the right get how many cells; the least holds mark and value only."""


class Curve(msgspec.Struct, frozen=True):
    """One series, in the unit on show."""

    name: str
    value: Array
    """Shape (n,), NaN where there is none."""


class Sign(msgspec.Struct, frozen=True):
    """A letter at a moment, in the top row."""

    time_unix: float
    letter: str


class Band(msgspec.Struct, frozen=True):
    """What is expected of a curve: eight of ten lie between low and high."""

    curve: int
    """Index of the curve that it goes on with."""
    time_unix: Array
    """Shape (n,), rising, from now on."""
    low: Array
    median: Array
    high: Array
    """In the unit on show, shape (n,)."""


class Guide(msgspec.Struct, frozen=True):
    """A level across the chart."""

    value: float
    strong: bool = False


def draw_trend(
    time_unix: Array,
    curves: tuple[Curve, ...],
    guides: tuple[Guide, ...],
    window: tuple[float, float],
    view: View,
    width: int,
    height: int,
    signs: tuple[Sign, ...] = (),
    *,
    numbered: bool = False,
    bands: tuple[Band, ...] = (),
    now_unix: float | None = None,
) -> Picture:
    """Draw curves over a window of time.

    The ink of a curve is its index in `curves`; axes and guides are faint. Needs at least 24 by 4 cells.

    Args:
        time_unix: times of all curves, shape (n,), rising.
        curves: the series, most important last: it covers the others.
        guides: levels to draw behind the curves.
        window: first and last time shown, Unix seconds.
        view: choices of display.
        width: cells across.
        height: cells down, time axis included.
        signs: letters to put at their time over the curves.
        numbered: put each curve's mark into it here and there, where colours do not tell curves apart.
        bands: what is expected of curves, drawn dotted and dim, each named by its curve's mark where it ends.
        now_unix: where a line parts what was from what is expected; None: nowhere.
    """
    canvas = Canvas(width, height)
    if width < 24 or height < 4:
        return canvas.picture()
    name = next(cells for room, cells in NAMES if width >= room)
    columns, rows = width - AXIS - 1 - name, height - 1
    low, high = _ends(time_unix, curves, guides, window, bands)
    _axes(canvas, low, high, window, columns, rows, view)
    rule = "." if view.ascii_only else "┄"
    for guide in guides:
        if low <= guide.value <= high:
            row = _row(guide.value, low, high, rows)
            canvas.write(row, AXIS + 1, rule * columns, STRONG if guide.strong else FAINT)
    area = (slice(0, rows), slice(AXIS + 1, AXIS + 1 + columns))
    if now_unix is not None and window[0] < now_unix < window[1]:
        at = AXIS + 1 + int((now_unix - window[0]) / (window[1] - window[0]) * columns)
        for row in range(rows):
            canvas.write(row, at, ":" if view.ascii_only else "┊", FAINT)
    if bands and columns >= len(EXPECTED):  # where rising curves have left room, and these are drawn over it
        canvas.write(rows - 1, AXIS + 1 + columns - len(EXPECTED), EXPECTED, FAINT)
    _foretell(canvas, area, bands, window, (low, high), view)
    drawn = _letters if view.ascii_only else _braille
    drawn(canvas, area, time_unix, curves, window, (low, high), view)
    if numbered and not view.ascii_only:
        _number(canvas, area, time_unix, curves, window, (low, high))
    for sign in signs:
        share = (sign.time_unix - window[0]) / (window[1] - window[0])
        if 0.0 <= share < 1.0:
            canvas.write(0, AXIS + 1 + int(share * columns), sign.letter, STRONG)
    _names(canvas, curves, (low, high), rows, AXIS + 1 + columns, name, view)
    return canvas.picture()


def _ends(
    time_unix: Array, curves: tuple[Curve, ...], guides: tuple[Guide, ...], window: tuple[float, float],
    bands: tuple[Band, ...],
) -> tuple[float, float]:  # fmt: skip
    """Choose the ends of the value axis: every point in the window and every guide, rounded outwards to fives."""
    seen = shown(time_unix, window)
    every = [c.value[seen] for c in curves if c.value.size == time_unix.size]
    every += [v[b.time_unix <= window[1]] for b in bands for v in (b.low, b.median, b.high)]
    every = [v[np.isfinite(v)] for v in (*every, np.array([g.value for g in guides]))]
    known = np.array([end for v in every if v.size for end in (v.min(), v.max())])
    if known.size == 0:
        return 0.0, 10.0
    low, high = math.floor(known.min() / 5.0) * 5.0, math.ceil(known.max() / 5.0) * 5.0
    return (low, high) if high - low >= 10.0 else (low, low + 10.0)


def _row(value: float, low: float, high: float, rows: int) -> int:
    return round((rows - 1) * (1.0 - (value - low) / (high - low)))


def _axes(
    canvas: Canvas, low: float, high: float, window: tuple[float, float], columns: int, rows: int, view: View
) -> None:
    rule = "|" if view.ascii_only else "│"
    for row in range(rows):
        canvas.write(row, AXIS, rule, FAINT)
    step = next((s for s in STEPS if (high - low) / s <= max(1, rows / 2)), STEPS[-1])
    for i in range(math.ceil(low / step), math.floor(high / step) + 1):
        canvas.write(_row(i * step, low, high, rows), 0, f"{i * step:{AXIS}d}", FAINT)
    times = max(2, columns // 14)
    for i in range(times):
        column = AXIS + 1 + round(i * (columns - 5) / (times - 1))
        unix = window[0] + (window[1] - window[0]) * (column - AXIS - 1 + 2.5) / columns
        canvas.write(rows, column, clock(unix, view), FAINT)


def _foretell(
    canvas: Canvas, area: tuple[slice, slice], bands: tuple[Band, ...], window: tuple[float, float],
    ends: tuple[float, float], view: View,
) -> None:  # fmt: skip
    """Draw each band's median close-dotted and its edges wide-dotted, dim; its curve's mark at the median's end."""
    rows, columns = canvas.ink[area].shape
    across, down = (1, 1) if view.ascii_only else (2, 4)
    wide, close = (3, 2) if view.ascii_only else (4, 2)
    for band in bands:
        last = min(float(band.time_unix[-1]), window[1])
        at = np.linspace(band.time_unix[0], last, max(2, math.ceil((last - band.time_unix[0]) / (GAP_SECONDS / 2))))
        bits = np.zeros((rows, columns), dtype=int)
        for value, every, sign in ((band.low, wide, "."), (band.high, wide, "."), (band.median, close, "-")):
            curve = curve_dots(at, np.interp(at, band.time_unix, value), window, ends, columns * across, rows * down)
            curve &= np.arange(columns * across) % every == 0
            own = np.einsum("ricj,ij->rc", curve.reshape(rows, down, columns, across).astype(int), BITS[:down, :across])
            bits |= own
            glyphs = sign if view.ascii_only else BRAILLE[bits]
            canvas.glyph[area] = np.where(own > 0, glyphs, canvas.glyph[area])
        canvas.ink[area] = np.where(bits > 0, FAINT, canvas.ink[area])
        row = _row(min(max(float(np.interp(last, band.time_unix, band.median)), ends[0]), ends[1]), *ends, rows)
        column = min(columns - 1, int((last - window[0]) / (window[1] - window[0]) * columns))
        ink = FAINT if view.old else band.curve
        canvas.write(area[0].start + row, area[1].start + column, MARKS[band.curve % len(MARKS)], ink)


def _dash(dots: NDArray[np.bool_], index: int) -> NDArray[np.bool_]:
    period, drawn = DASHES[index % len(DASHES)]
    return np.asarray(dots & (np.arange(dots.shape[1]) % period < drawn))


def _braille(
    canvas: Canvas,
    area: tuple[slice, slice],
    time_unix: Array,
    curves: tuple[Curve, ...],
    window: tuple[float, float],
    ends: tuple[float, float],
    view: View,
) -> None:
    rows, columns = canvas.ink[area].shape
    bits = np.zeros((rows, columns), dtype=int)
    for index, curve in enumerate(curves):
        if curve.value.size != time_unix.size:
            continue
        dots = _dash(curve_dots(time_unix, curve.value, window, ends, columns * 2, rows * 4), index)
        cells = dots.reshape(rows, 4, columns, 2)
        own = np.einsum("ricj,ij->rc", cells.astype(int), BITS)
        bits |= own
        canvas.ink[area] = np.where(own > 0, FAINT if view.old else index, canvas.ink[area])
    canvas.glyph[area] = np.where(bits > 0, BRAILLE[bits], canvas.glyph[area])


def _number(
    canvas: Canvas,
    area: tuple[slice, slice],
    time_unix: Array,
    curves: tuple[Curve, ...],
    window: tuple[float, float],
    ends: tuple[float, float],
) -> None:
    """Put the mark of each curve into it every `MARK_EVERY` columns, no two curves in one column."""
    rows, columns = canvas.ink[area].shape
    apart = max(1, MARK_EVERY // max(1, len(curves)))
    for index, curve in enumerate(curves):
        if curve.value.size != time_unix.size:
            continue
        dots = curve_dots(time_unix, curve.value, window, ends, columns, rows)
        for column in range(1 + index * apart % MARK_EVERY, columns, MARK_EVERY):
            crossed = np.flatnonzero(dots[:, column])
            if crossed.size:
                at = area[0].start + int(crossed[0]), area[1].start + column
                canvas.write(*at, MARKS[index % len(MARKS)], STRONG)


def _letters(
    canvas: Canvas,
    area: tuple[slice, slice],
    time_unix: Array,
    curves: tuple[Curve, ...],
    window: tuple[float, float],
    ends: tuple[float, float],
    view: View,
) -> None:
    rows, columns = canvas.ink[area].shape
    for index, curve in enumerate(curves):
        if curve.value.size != time_unix.size:
            continue
        dots = curve_dots(time_unix, curve.value, window, ends, columns, rows)
        canvas.glyph[area] = np.where(dots, MARKS[index % len(MARKS)], canvas.glyph[area])
        canvas.ink[area] = np.where(dots, FAINT if view.old else index, canvas.ink[area])


def _names(
    canvas: Canvas,
    curves: tuple[Curve, ...],
    ends: tuple[float, float],
    rows: int,
    column: int,
    cells: int,
    view: View,
) -> None:
    """Name each curve beside its last value, moved apart where two would share a row."""
    wanted = []
    for index, curve in enumerate(curves):
        known = curve.value[~np.isnan(curve.value)]
        if known.size:
            row = min(rows - 1, max(0, _row(float(known[-1]), *ends, rows)))
            wanted.append((row, index, float(curve.value[-1])))
    for i, (row, index, value) in enumerate(_apart(sorted(wanted), rows)):
        if i >= rows:
            break
        mark = MARKS[index % len(MARKS)]
        last = "--" if math.isnan(value) else f"{value:.0f}"
        whole = f" {mark} {last} {curves[index].name}" if cells > NAMES[-1][1] else f" {mark} {last}"
        text = fit(whole, cells, ascii_only=view.ascii_only)
        canvas.write(row, column, text, FAINT if view.old else index)


def _apart(wanted: list[tuple[int, int, float]], rows: int) -> list[tuple[int, int, float]]:
    """Give each a row of its own, near the one it wants, in the same order from the top."""
    placed: list[tuple[int, int, float]] = []
    free = 0
    for i, (row, index, value) in enumerate(wanted):
        own = max(free, min(row, rows - (len(wanted) - i)))
        placed.append((own, index, value))
        free = own + 1
    return placed
