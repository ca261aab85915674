"""Row 12: CPU time a frame of the chamber map on a terminal, against the same picture as rich text in a Static.

120 by 40 cells of map, 120 by 80 pixels, the same 64 colours; above what the app costs when nothing changes. The last
screens of both, read back by a terminal emulator, must be equal.
"""

import statistics

from tests.bench.measure import Effort, Finding, ratio, turns
from tests.bench.painter import HEIGHT, WIDTH
from tests.bench.terminal import last_screen, paint

__all__ = ["measure"]


def _cells(output: bytes) -> list[tuple[str, str, str]]:
    """Read back the map's cells as they stood before the program left the screen."""
    screen = last_screen(output)
    return [
        (cell.data, "default" if cell.data == " " else cell.fg, cell.bg)
        for y in range(HEIGHT)
        for cell in (screen.buffer[y][x] for x in range(WIDTH))
    ]


def measure(effort: Effort) -> list[Finding]:
    """Compare CPU time a frame and the screens."""
    screens: dict[str, list[tuple[str, str, str]]] = {}
    spent: dict[str, int] = {}
    count = effort.of(7, 7)

    def frame(which: str, period: float) -> float:
        drawn = paint("painter", which, period, count)
        if which not in screens:
            screens[which], spent[which] = _cells(drawn.output), len(drawn.output) // count
        return drawn.cpu_seconds_a_frame

    ours, text, none = turns(
        effort.of(3, 1), (lambda: frame("map", 0.2), lambda: frame("text", 0.4), lambda: frame("none", 0.2))
    )
    above = [o - n for o, n in zip(ours, none, strict=True)]
    text_above = [t - 2 * n for t, n in zip(text, none, strict=True)]
    middle, low, high = ratio(text_above, above)
    other = sum(a != b for a, b in zip(screens["map"], screens["text"], strict=True))
    note = (
        f"{1e3 * statistics.median(above):.1f} against {1e3 * statistics.median(text_above):.0f} ms a frame, "
        f"idle taken off, {spent['map'] / 1000:.0f} against {spent['text'] / 1000:.0f} kB to the terminal"
    )
    return [
        Finding(12, "chamber map, Static + rich Text / ours", middle, "x", 10, 15, True, low, high, note),
        Finding(12, "the same, cells that differ", other, "", 1, 0, False, other, other, f"of {WIDTH * HEIGHT}"),
    ]
