"""Programs for a pseudo-terminal: the trend chart of eight curves of 18 hours a second apart, ours or a library's.

`python -m tests.bench.chart_painter ours|library|none PERIOD FRAMES` draws it anew so many times, one every PERIOD
seconds, a minute further on each time; `none` once. Ours is given every point and picks what is seen; the library is
given least and greatest of each column of dots, made beforehand, for it takes a hundred times as long with all. The
file that the environment names as FIGURES gets the CPU seconds a frame took.
"""

import sys

import numpy as np
from textual_plot import HiResMode, PlotWidget

from tests.bench.painter import THEN, PaintedApp
from tui.draw.chart import Chart
from tui.draw.colour_scale import CURVES
from tui.draw.trend import Curve
from tui.draw.view import View
from tui.widgets.trend_chart import TrendChart

__all__: list[str] = []

SERIES, SECONDS = 8, 64_800
STEP = 60
COLUMNS, ROWS = 132, 36
"""Cells of the plot itself, without axes and names."""
WIDTH, HEIGHT = 160, 37
"""Cells of our widget that leave so many."""
LEFT, BOTTOM = 10, 3
"""What the library takes for its axes, in cells."""


def series(frames: int) -> tuple[np.ndarray, np.ndarray]:
    """Give times, shape (n,), and curves, shape (8, n): enough that every frame has 18 hours."""
    n = SECONDS + STEP * frames
    t = np.arange(n)
    random = np.random.default_rng(4)
    swing = 4.0 * np.sin(t / 420.0 + np.arange(SERIES)[:, None]) + np.linspace(8.0, -8.0, SERIES)[:, None]
    return THEN + t, 113.0 + swing + random.normal(0.0, 0.3, (SERIES, n))


def decimated(time_unix: np.ndarray, value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Keep least and greatest of each column of dots, in the order in which they came."""
    starts = np.arange(0, time_unix.size, time_unix.size / (2 * COLUMNS)).astype(int)
    kept: list[int] = []
    for start, end in zip(starts, [*starts[1:], time_unix.size], strict=True):
        kept += sorted({int(start + value[start:end].argmin()), int(start + value[start:end].argmax())})
    return time_unix[kept], value[kept]


class ChartApp(PaintedApp):
    """The trend chart."""

    CSS = f"""
    TrendChart {{ width: {WIDTH}; height: {HEIGHT}; }}
    PlotWidget {{ width: {COLUMNS + LEFT + 2}; height: {ROWS + BOTTOM + 2}; }}
    """

    def __init__(self, which: str, period: float, count: int) -> None:
        self._chart = PlotWidget() if which == "library" else TrendChart()
        super().__init__(self._chart, period, count, moves=which != "none")
        times, values = series(count)
        spans = [slice(STEP * k, STEP * k + SECONDS) for k in range(count)]
        self._frames = [(times[span], values[:, span]) for span in spans]
        self._ends = float(values.min()), float(values.max())
        if which == "library":
            self._kept = [[decimated(at, curve) for curve in curves] for at, curves in self._frames]

    def show(self, k: int) -> None:
        """Show eighteen hours, k minutes further on."""
        at, curves = self._frames[k]
        window = (float(at[0]), float(at[-1]))
        if isinstance(self._chart, TrendChart):
            shown = tuple(Curve(f"zone {i}", curve) for i, curve in enumerate(curves))
            self._chart.show(Chart(at, shown, (), window, "zones"), View(fahrenheit=False))
            return
        self._chart.clear()
        for i, (kept_at, kept) in enumerate(self._kept[k]):
            self._chart.plot(kept_at, kept, line_style=CURVES[i % len(CURVES)], hires_mode=HiResMode.BRAILLE)
        self._chart.set_xlimits(*window)
        self._chart.set_ylimits(*self._ends)


if __name__ == "__main__":
    ChartApp(sys.argv[1], float(sys.argv[2]), int(sys.argv[3])).run()
