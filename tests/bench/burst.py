"""Row 3: thirty thousand messages while the disk takes nothing: what was sent is stored or counted as given up.

The whole `coldside collect`; another connection holds the store's write lock until everything has been sent.
"""

import asyncio
import contextlib
import sqlite3
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from collector.snapshot import Snapshot
from tests.bench.broker import broker
from tests.bench.measure import Effort, Finding, resident_mb
from tests.bench.pit import config_text, scratch
from tests.bench.publisher import publish
from tui.once import NoCollectorError, snapshots

__all__ = ["Daemon", "measure"]

CAP_MB = 24.0
"""Room for 4,096 readings in the inbox and 8,192 waiting for the disk, and for the commit that brings them there."""


class Daemon:
    """`coldside collect` in a folder of its own."""

    def __init__(self, folder: Path, config: str) -> None:
        self.store = folder / "cooks.db"
        self.socket = folder / "c.sock"
        (folder / "coldside.toml").write_text(config, encoding="utf-8")
        words = [
            "collect",
            "-c",
            str(folder / "coldside.toml"),
            "--store",
            str(self.store),
            "--socket",
            str(self.socket),
        ]
        with (folder / "log").open("wb") as log:
            self.process = subprocess.Popen([sys.executable, "-m", "tui.cli", *words], stdout=log, stderr=log)

    @property
    def pid(self) -> int:
        """Its process."""
        return self.process.pid

    async def snapshot(self, ready: object = None, seconds: float = 40.0) -> Snapshot:
        """Wait for a snapshot of which `ready` is true."""
        stop = time.monotonic() + seconds
        while time.monotonic() < stop:
            with contextlib.suppress(NoCollectorError, TimeoutError):
                async with asyncio.timeout(stop - time.monotonic()):
                    async for snapshot in snapshots(self.socket):
                        if ready is None or ready(snapshot):  # type: ignore[operator]
                            return snapshot
            await asyncio.sleep(0.05)
        raise TimeoutError("the collector did not come to that")

    async def up(self) -> None:
        """Wait until its sources are up."""
        await self.snapshot(lambda s: all(source.state == "up" for source in s.sources))

    def recording(self, seconds: float = 20.0) -> None:
        """Wait until readings are on disk, without attaching: nobody watches at three in the morning."""
        stop = time.monotonic() + seconds
        while time.monotonic() < stop:
            with contextlib.suppress(sqlite3.Error), contextlib.closing(sqlite3.connect(self.store)) as db:
                if db.execute("SELECT count(*) FROM reading").fetchone()[0]:
                    return
            time.sleep(0.1)
        raise TimeoutError("nothing came to be on record")

    def stop(self) -> None:
        """End it as a service manager would."""
        self.process.terminate()
        self.process.wait(20)


@dataclass(frozen=True, slots=True)
class Account:
    """What became of the messages."""

    sent: int
    stored: int
    dropped: int
    newest_lost: int
    """Probes whose last message is not on record."""
    growth_mb: float

    @property
    def missing(self) -> int:
        """Messages neither stored nor counted as given up."""
        return abs(self.sent - self.stored - self.dropped)


async def burst(port: int, folder: Path, qos: int, count: int) -> Account:
    """Run one."""
    daemon = Daemon(folder, config_text(port, qos=qos, prefix=f"burst{qos}"))
    try:
        await daemon.up()
        before = resident_mb(daemon.pid)
        holder = sqlite3.connect(daemon.store, isolation_level=None)
        holder.execute("BEGIN EXCLUSIVE")
        sender = publish(port, f"burst{qos}", count, qos, values="numbered")
        await asyncio.to_thread(sender.wait, 60)
        if qos == 0:
            await daemon.snapshot(lambda s: s.sources[0].heard >= count)
        await asyncio.sleep(3.0)
        holder.execute("ROLLBACK")
        holder.close()
        end = await daemon.snapshot(lambda s: s.sources[0].heard >= count and not s.store.unsaved)
        growth = resident_mb(daemon.pid, "VmHWM") - before
    finally:
        daemon.stop()
    with contextlib.closing(sqlite3.connect(daemon.store)) as db:
        stored = [n for (n,) in db.execute("SELECT millicelsius FROM reading")]
    newest = set(range(count - 16, count)) - set(stored)
    assert len(stored) == len(set(stored)), "a message is on record twice"
    return Account(count, len(stored), end.sources[0].dropped, len(newest), growth)


def measure(effort: Effort) -> list[Finding]:
    """Account for a burst at QoS 0 and one at QoS 1."""
    count = effort.of(30_000, 16_000)
    findings = []
    for qos in (0, 1):
        with broker() as b, scratch() as folder:
            found = asyncio.run(burst(b.port, Path(folder), qos, count))
        wrong = found.missing + found.newest_lost
        note = (
            f"{found.sent} sent = {found.stored} stored + {found.dropped} given up and counted; "
            f"newest of a probe lost: {found.newest_lost}; grown by {found.growth_mb:.1f} MB (cap {CAP_MB:.0f})"
        )
        what = f"burst QoS {qos}, disk stalled: unaccounted"
        findings.append(Finding(3, what, wrong, "", 0, 0, False, wrong, wrong, note))
        grew = found.growth_mb
        what = f"burst QoS {qos}, disk stalled: memory"
        findings.append(Finding(3, what, grew, " MB", CAP_MB, CAP_MB / 2, False, grew, grew))
    return findings
