"""Row 14: CPU time of the whole dashboard at a snapshot a second, above an app that shows one picture and rests.

Also what goes to a terminal elsewhere: what a run twice as long writes more, plain and pressed as `ssh -C` does it.
"""

import statistics
import zlib

from tests.bench.measure import Effort, Finding, turns
from tests.bench.terminal import Drawn, paint

__all__ = ["measure"]


def measure(effort: Effort) -> list[Finding]:
    """Compare percent of a core."""
    counts = effort.of((6, 6, 12), (6, 12))
    shown: list[Drawn] = []

    def dashboard() -> float:
        shown.append(paint("painter", "dashboard", 1.0, counts[len(shown)]))
        return 100 * shown[-1].cpu_seconds_a_frame

    whole, idle = turns(
        len(counts), (dashboard, lambda: 100 * paint("painter", "none", 1.0, counts[0]).cpu_seconds_a_frame)
    )
    above = [w - i for w, i in zip(whole, idle, strict=True)]
    more = counts[-1] - counts[0]
    plain, pressed = ((size(shown[-1]) - size(shown[0])) / more / 1e3 for size in (_bytes, _pressed))
    note = (
        f"{statistics.median(whole):.2f} less {statistics.median(idle):.2f} % of a core, 160 x 50, two hours of trend; "
        f"{plain:.0f} kB a second to the terminal, {pressed:.0f} kB as ssh -C sends it"
    )
    middle = statistics.median(above)
    return [Finding(14, "dashboard at 1 Hz, above idle", middle, " %", 3, 2, False, min(above), max(above), note)]


def _bytes(drawn: Drawn) -> int:
    return len(drawn.output)


def _pressed(drawn: Drawn) -> int:
    return len(zlib.compress(drawn.output, 6))
