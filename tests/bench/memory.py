"""Row 16: how much the daemon grows in a night of ten hours, played by the rehearsal in a minute or less."""

import asyncio
import time
from pathlib import Path

from tests.bench.burst import Daemon
from tests.bench.measure import Effort, Finding, resident_mb
from tests.bench.pit import config_text, scratch

__all__ = ["measure"]

SPEED = 1200.0
LONGEST_SECONDS = 180.0


async def _hours(daemon: Daemon, hours: float) -> float:
    """Wait until the cook is that old; give the memory resident then, MB."""
    await daemon.snapshot(lambda s: s.now_unix - s.started_unix >= 3600 * hours, LONGEST_SECONDS)
    return resident_mb(daemon.pid)


async def _night(folder: Path, hours: float) -> tuple[float, float, float]:
    daemon = Daemon(folder, config_text(speed=SPEED))
    began = time.monotonic()
    try:
        return await _hours(daemon, 1.0), await _hours(daemon, hours), time.monotonic() - began
    finally:
        daemon.stop()


def measure(effort: Effort) -> list[Finding]:
    """Compare memory after the first hour and at the end."""
    hours = float(effort.of(10, 4))
    with scratch() as folder:
        early, late, took = asyncio.run(_night(Path(folder), hours))
    grew = late - early
    note = f"{early:.1f} MB after one hour, {late:.1f} MB after {hours:.0f} h of the cook, played in {took:.0f} s"
    return [Finding(16, f"memory, growth in {hours:.0f} h", grew, " MB", 5, 2.5, False, grew, grew, note)]
