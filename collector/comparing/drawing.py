"""The pictures of a comparison: intervals, the map of the change, the budget of errors."""

import math
from functools import partial

import matplotlib as mpl
import numpy as np
from matplotlib.colors import TwoSlopeNorm
from matplotlib.figure import FigureBase
from matplotlib.patches import Rectangle

from collector.comparing.compared import Comparison
from collector.comparing.saying import SHORT, SOURCES, number, signed, unit, value
from collector.report.style import ACCENT, CURVES, INK, NARROW, SOFT, WIDE, Chart, Shape, Sketch, plain
from collector.report.wording import Words

__all__ = ["budget_chart", "interval_chart", "map_chart"]

LINE_INCHES = 0.34
NUMBERS_ACROSS, NUMBERS_DOWN = 8, 3
_HATCH = "#8c8c8c"
"""Seen on the dark ends of the scale and on its white middle."""
_NAMES = {
    "far-end-deficit": "far end", "spread": "spread", "gradient": "gradient", "top-to-grate": "top",
    "flat-less-point": "flat, point",
}  # fmt: skip
LEAST_SCALE_KELVIN = 2.0


def interval_chart(told: Comparison, words: Words) -> Chart:
    """Draw the change of every quantity in degrees with its interval, about no change."""
    shown = [q for q in told.quantities if q.unit == "K"]
    says = "; ".join(
        f"{q.what} {signed(q.change, q, words)} {unit(q, words)}, from {signed(q.low, q, words)} to "
        f"{signed(q.high, q, words)}{', shown' if q.shown else ''}"
        for q in shown
    )
    sketches = tuple(
        (
            shape.name,
            Sketch(shape.inches, 0.7 + LINE_INCHES * len(shown), shape.font, partial(_intervals, told, words, shape)),
        )
        for shape in (WIDE, NARROW)
    )
    return Chart("intervals", f"The change, {words.degree}, with its 95 % interval", says, sketches)


def _intervals(told: Comparison, words: Words, shape: Shape, figure: FigureBase) -> None:
    shown = [q for q in told.quantities if q.unit == "K"]
    height = 0.7 + LINE_INCHES * len(shown)
    words_wide = 2.6 if shape is WIDE else 0.95
    left = words_wide / shape.inches
    axes = figure.add_axes((left, 0.45 / height, 1 - left - 0.15 / shape.inches, 1 - 0.5 / height))
    for k, q in enumerate(shown):
        y, colour = len(shown) - 1 - k, ACCENT if q.shown else SOFT
        axes.plot([value(q.low, q, words), value(q.high, q, words)], [y, y], color=colour, linewidth=2.2)
        axes.plot([value(q.change, q, words)], [y], marker="D" if q.shown else "o", color=colour, markersize=5)
    axes.axvline(0.0, color=INK, linewidth=0.8)
    axes.set_ylim(-0.6, len(shown) - 0.4)
    names = [plain(q.what, 40) if shape is WIDE else _NAMES[q.key] for q in reversed(shown)]
    axes.set_yticks(range(len(shown)), names)
    axes.tick_params(left=False)
    axes.grid(visible=True, axis="x")
    axes.set_xlabel("after less before; diamond: shown" if shape is WIDE else "diamond: shown")


def map_chart(told: Comparison, words: Words) -> Chart:
    """Draw the change place by place, hatched where it is not shown."""
    drawn = told.map
    kelvin = np.array(drawn.kelvin).reshape(drawn.rows, drawn.columns)
    share = sum(drawn.shown) / len(drawn.shown)
    says = (
        f"From {words.difference(float(kelvin[:, 0].mean()), digits=1)} at the fire end to "
        f"{words.difference(float(kelvin[:, -1].mean()), digits=1)} {words.degree} at the far end, against the grate's "
        f"mean; shown on {words.percent(share)} of the grate."
    )
    title = f"The change on the grate, {words.degree}, fire end on the left"
    sketches = []
    for shape in (WIDE, NARROW):
        height = shape.inches * drawn.width_m / drawn.length_m + 0.7
        sketches.append(
            (shape.name, Sketch(shape.inches, height, shape.font, partial(_difference, told, words, shape)))
        )
    return Chart("difference", title, says, tuple(sketches))


def _difference(told: Comparison, words: Words, shape: Shape, figure: FigureBase) -> None:
    drawn = told.map
    height = shape.inches * drawn.width_m / drawn.length_m + 0.7
    kelvin = np.array(drawn.kelvin).reshape(drawn.rows, drawn.columns)
    shown = np.array(drawn.shown).reshape(kelvin.shape)
    most = max(float(np.abs(kelvin).max()), LEAST_SCALE_KELVIN)
    axes = figure.add_axes((0.01, 0.55 / height, 0.98, 1 - 0.6 / height))
    # purple to orange of ColorBrewer, which colour-blind eyes tell apart; white is no change
    scale = TwoSlopeNorm(0.0, -most, most)
    axes.pcolormesh(kelvin, cmap=mpl.colormaps["PuOr_r"], norm=scale, edgecolors="face", linewidth=0.3)
    for row, column in np.argwhere(~shown).tolist():
        axes.add_patch(Rectangle((column, row), 1, 1, fill=False, hatch="////", edgecolor=_HATCH, linewidth=0.0))
    for row in np.linspace(0.5, drawn.rows - 0.5, NUMBERS_DOWN):
        for column in np.linspace(1.0, drawn.columns - 1.0, NUMBERS_ACROSS):
            at = kelvin[min(int(row), drawn.rows - 1), min(int(column), drawn.columns - 1)]
            axes.text(
                column, row, words.difference(float(at)), ha="center", va="center", color="#000001",
                bbox={"facecolor": "#fffffe", "edgecolor": "none", "pad": 1.2},
            )  # fmt: skip
    axes.set_xlim(0, drawn.columns)
    axes.set_ylim(drawn.rows, 0)  # the back is first
    axes.set_xticks([])
    axes.set_yticks([])
    reach = f"{words.difference(most, signed=False)} {words.degree}"
    axes.set_xlabel(f"back above, door below\norange hotter, purple colder, up to {reach}")


def budget_chart(told: Comparison, words: Words) -> Chart:
    """Draw what the first quantity may be off by, source by source."""
    q = told.quantities[0]
    total = sum(b.variance for b in q.budget) or 1.0
    says = "; ".join(f"{SOURCES[b.source]} {words.percent(b.variance / total)}" for b in q.budget)
    height = 0.6 + LINE_INCHES * len(q.budget)
    sketches = tuple(
        (shape.name, Sketch(shape.inches, height, shape.font, partial(_budget, told, words, shape)))
        for shape in (WIDE, NARROW)
    )
    return Chart("budget", f"Standard deviation by source, {unit(q, words)}", says, sketches)


def _budget(told: Comparison, words: Words, shape: Shape, figure: FigureBase) -> None:
    q = told.quantities[0]
    height, wide = 0.6 + LINE_INCHES * len(q.budget), 2.6 if shape is WIDE else 1.15
    axes = figure.add_axes((wide / shape.inches, 0.3 / height, 1 - (wide + 0.4) / shape.inches, 1 - 0.4 / height))
    sds = [value(math.sqrt(b.variance), q, words) for b in reversed(q.budget)]
    axes.barh(range(len(sds)), sds, color=CURVES[0], height=0.6)
    for y, (sd, b) in enumerate(zip(sds, reversed(q.budget), strict=True)):
        axes.text(sd, y, f" {number(math.sqrt(b.variance), q, words)}", va="center", color=INK)
    labels = [b.source if shape is WIDE else SHORT[b.source] for b in reversed(q.budget)]
    axes.set_yticks(range(len(sds)), labels)
    axes.tick_params(left=False, bottom=False, labelbottom=False)
    axes.set_xlim(0.0, 1.15 * max(*sds, 0.01))
