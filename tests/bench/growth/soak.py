"""Memory and disk against nights on end: one cook of a hundred hours, played by the rehearsal in five minutes."""

from tests.bench.growth.curve import Curve
from tests.bench.measure import Effort
from tests.bench.memory import SPEED, grown

__all__ = ["measure"]

NIGHTS = (1, 2, 4, 7, 10)
NIGHT_HOURS = 10.0


def measure(effort: Effort) -> Curve:
    """Let a collector run on, with nobody attached."""
    nights = NIGHTS if not effort.quick else NIGHTS[:2]
    found = grown([NIGHT_HOURS * night for night in nights], SPEED)
    return Curve(
        "One collector, nights on end without a restart, 1,200 times as fast as they were",
        "nights",
        nights,
        (
            ("the collector", "MB resident", tuple(memory for memory, _ in found)),
            ("its record, not sealed", "MB", tuple(size for _, size in found)),
        ),
        "At that speed batches are a thousand times as large as at night, and leave larger holes in memory.",
    )
