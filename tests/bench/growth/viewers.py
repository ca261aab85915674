"""Cost against dashboards that look at one pit."""

import asyncio
import contextlib
import time
from pathlib import Path

from tests.bench.broker import broker
from tests.bench.burst import Daemon
from tests.bench.growth.curve import Curve
from tests.bench.measure import Effort, cpu_seconds, resident_mb
from tests.bench.pit import config_text, scratch
from tests.bench.publisher import publish
from tui.once import snapshots

__all__ = ["measure"]

COUNTS = (1, 5, 20, 47)
"""The collector lets 48 in."""
SECONDS = 4.0


def measure(effort: Effort) -> Curve:
    """Attach so many viewers and read what the collector takes above nobody attached."""
    counts = COUNTS if not effort.quick else COUNTS[:2]
    with broker() as b, scratch() as folder:
        daemon = Daemon(Path(folder), config_text(b.port))
        sender = publish(b.port, "pit", 100_000, 1, 16)
        try:
            daemon.recording()
            idle = asyncio.run(_share(daemon, 0))[0]
            found = [asyncio.run(_share(daemon, count)) for count in counts]
        finally:
            sender.kill()
            sender.wait(10)
            daemon.stop()
    return Curve(
        "One pit, more viewers: the collector above nobody attached, a snapshot a second each",
        "viewers",
        counts,
        (
            ("collector", "% of a core", tuple(100.0 * (share - idle) for share, _ in found)),
            ("collector", "MB resident", tuple(memory for _, memory in found)),
        ),
        f"{100.0 * idle:.2f} % of a core with nobody attached.",
    )


async def _share(daemon: Daemon, viewers: int) -> tuple[float, float]:
    """Give cores and megabytes of the collector with so many attached."""
    tasks = [asyncio.create_task(_look(daemon.socket)) for _ in range(viewers)]
    await asyncio.sleep(3.0)
    before, began = cpu_seconds(daemon.pid), time.monotonic()
    await asyncio.sleep(SECONDS)
    share = (cpu_seconds(daemon.pid) - before) / (time.monotonic() - began)
    memory = resident_mb(daemon.pid)
    gone = [task for task in tasks if task.done()]
    for task in tasks:
        task.cancel()
    for task in tasks:
        with contextlib.suppress(asyncio.CancelledError):
            await task
    assert not gone, "a viewer was turned away"
    return share, memory


async def _look(socket: Path) -> None:
    async for _ in snapshots(socket):
        pass
