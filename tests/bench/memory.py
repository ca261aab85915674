"""Row 16: how much the daemon grows in a night of ten hours, played by the rehearsal in a minute or less.

Nobody is attached, as at three in the morning; how far the night is, its record tells. `grown` is what
`tests.bench.growth.soak` asks for longer.
"""

import contextlib
import sqlite3
import time
from collections.abc import Sequence
from pathlib import Path

from tests.bench.burst import Daemon
from tests.bench.measure import Effort, Finding, resident_mb
from tests.bench.pit import config_text, scratch

__all__ = ["SPEED", "grown", "measure"]

SPEED = 1200.0
LONGEST_SECONDS = 400.0


def measure(effort: Effort) -> list[Finding]:
    """Compare memory after the first hour and at the end."""
    hours = float(effort.of(10, 4))
    began = time.monotonic()
    (early, _), (late, _) = grown((1.0, hours), SPEED)
    took = time.monotonic() - began
    grew = late - early
    note = f"{early:.1f} MB after one hour, {late:.1f} MB after {hours:.0f} h of the cook, played in {took:.0f} s"
    return [Finding(16, f"memory, growth in {hours:.0f} h", grew, " MB", 5, 2.5, False, grew, grew, note)]


def grown(hours: Sequence[float], speed: float) -> list[tuple[float, float]]:
    """Play a cook; give megabytes resident, and on disk, when it is so many hours old each.

    Raises:
        TimeoutError: it does not come so far.
    """
    found = []
    with scratch() as folder:
        daemon = Daemon(Path(folder), config_text(speed=speed))
        try:
            for wanted in hours:
                _until(daemon.store, wanted)
                size = sum(file.stat().st_size for file in Path(folder).glob("cooks.db*"))
                found.append((resident_mb(daemon.pid), size / 1e6))
        finally:
            daemon.stop()
    return found


def _until(store: Path, hours: float) -> None:
    stop, address = time.monotonic() + LONGEST_SECONDS, f"file:{store}?mode=ro"
    while time.monotonic() < stop:
        with (
            contextlib.suppress(sqlite3.Error),
            contextlib.closing(sqlite3.connect(address, uri=True)) as db,
        ):
            began, newest = db.execute("SELECT min(started_ms), (SELECT max(time_ms) FROM trend) FROM cook").fetchone()
            if newest is not None and newest - began >= 3_600_000 * hours:
                return
        time.sleep(0.1)
    raise TimeoutError(f"the cook did not come to {hours:.0f} h")
