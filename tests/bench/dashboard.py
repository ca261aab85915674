"""Row 14: CPU time of the whole dashboard at a snapshot a second, above an app that shows one picture and rests."""

import statistics

from tests.bench.measure import Effort, Finding, turns
from tests.bench.terminal import paint

__all__ = ["measure"]


def measure(effort: Effort) -> list[Finding]:
    """Compare percent of a core."""
    count = effort.of(7, 6)
    whole, idle = turns(
        effort.of(3, 1),
        (
            lambda: 100 * paint("painter", "dashboard", 1.0, count).cpu_seconds_a_frame,
            lambda: 100 * paint("painter", "none", 1.0, count).cpu_seconds_a_frame,
        ),
    )
    above = [w - i for w, i in zip(whole, idle, strict=True)]
    note = (
        f"{statistics.median(whole):.2f} less {statistics.median(idle):.2f} % of a core, 160 x 50, two hours of trend"
    )
    middle = statistics.median(above)
    return [Finding(14, "dashboard at 1 Hz, above idle", middle, " %", 3, 2, False, min(above), max(above), note)]
