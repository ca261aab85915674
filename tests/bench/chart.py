"""Row 13: CPU time to draw the trend chart anew from every point of 18 hours, against a library that is given few.

Eight curves on a terminal, above what the app costs when nothing changes. That both show the same is counted in dots
of the two screens that carry a curve.
"""

import statistics

from tests.bench.chart_painter import COLUMNS, ROWS, SECONDS, SERIES
from tests.bench.measure import Effort, Finding, ratio, turns
from tests.bench.terminal import last_screen, paint

__all__ = ["measure"]

OURS_SECONDS, LIBRARY_SECONDS = 0.1, 0.4
"""Between two frames, so that each has its time."""


def measure(effort: Effort) -> list[Finding]:
    """Compare CPU time a frame, and how much of the screen carries a curve."""
    count = effort.of(5, 5)
    screens: dict[str, int] = {}
    spent: dict[str, int] = {}

    def frame(which: str, period: float) -> float:
        drawn = paint("chart_painter", which, period, count)
        screens[which], spent[which] = _braille(drawn.output), len(drawn.output) // count
        return drawn.cpu_seconds_a_frame

    ours, library, none, slow_none = turns(
        effort.of(3, 1),
        (
            lambda: frame("ours", OURS_SECONDS),
            lambda: frame("library", LIBRARY_SECONDS),
            lambda: frame("none", OURS_SECONDS),
            lambda: frame("none", LIBRARY_SECONDS),
        ),
    )
    above = [o - n for o, n in zip(ours, none, strict=True)]
    library_above = [t - n for t, n in zip(library, slow_none, strict=True)]
    middle, low, high = ratio(library_above, above)
    note = (
        f"{1e3 * statistics.median(above):.1f} ms from {SERIES} x {SECONDS:,} points against "
        f"{1e3 * statistics.median(library_above):.0f} ms of textual-plot from {SERIES} x {4 * COLUMNS} or fewer, "
        f"{COLUMNS} x {ROWS} cells, idle taken off; cells with a curve {screens['ours']} and "
        f"{screens['library']}; {spent['ours'] / 1000:.0f} against {spent['library'] / 1000:.0f} kB to the terminal"
    )
    what = "chart anew, textual-plot on least and greatest / ours"
    return [Finding(13, what, middle, "x", 5, 7, True, low, high, note)]


def _braille(output: bytes) -> int:
    """Count the cells that carried dots of a curve before the program left the screen."""
    lines = last_screen(output).buffer.values()
    return sum("\u2800" < cell.data <= "\u28ff" for line in lines for cell in line.values())
