"""Cost against pits that bring their record to one PostgreSQL at once."""

import asyncio
import contextlib
import os
import shutil
import time
from pathlib import Path

from collector.kitchen.address import parse_address
from collector.kitchen.forwarder import Forwarder
from collector.store.archive import Archive
from tests.bench.growth.curve import Curve
from tests.bench.growth.nights import make_store
from tests.bench.measure import Effort, cpu_seconds
from tests.bench.pit import scratch
from tests.collector.kitchen.postgres import PASSWORD, Cluster, binaries

__all__ = ["measure"]

COUNTS = (1, 4, 12)
NIGHTS = 3
LONGEST_SECONDS = 120.0


def measure(effort: Effort) -> Curve | None:
    """Let so many stores be brought, and count readings a second; None without a PostgreSQL."""
    if binaries() is None:
        return None
    counts = COUNTS if not effort.quick else COUNTS[:2]
    os.environ["PGPASSWORD"] = PASSWORD
    cluster = Cluster().make()
    try:
        with scratch() as folder:
            found = [asyncio.run(_bring(cluster, Path(folder), count)) for count in counts]
    finally:
        cluster.end()
    return Curve(
        "One PostgreSQL, more pits that bring their record at once",
        "pits",
        counts,
        (
            ("all pits", "readings/s", tuple(rate for rate, _ in found)),
            ("collectors' side", "us of CPU a reading", tuple(cpu for _, cpu in found)),
        ),
        "A pit of sixteen probes gives 16 readings a second, a hundred pits 1,600. This server has fsync off.",
    )


async def _bring(cluster: Cluster, folder: Path, pits: int) -> tuple[float, float]:
    database = await cluster.database()
    paths = [folder / f"{pits}-{k}.db" for k in range(pits)]
    make_store(paths[0], NIGHTS)
    for path in paths[1:]:
        make_store(path, NIGHTS)
    with Archive(paths[0]) as archive:
        readings = sum(cook.readings for cook in archive.cooks())
        upto = archive.last_ordinal()
    address, _ = parse_address(database.url)
    forwarders = [Forwarder(path, path.stem, address) for path in paths]
    began, cpu = time.perf_counter(), cpu_seconds(os.getpid())
    tasks = [asyncio.create_task(forwarder.run()) for forwarder in forwarders]
    try:
        for forwarder in forwarders:
            forwarder.notice(upto, cooks=True)
        async with asyncio.timeout(LONGEST_SECONDS):
            while not all(f.rounds and not f.view().fault for f in forwarders):
                await asyncio.sleep(0.01)
        took, spent = time.perf_counter() - began, cpu_seconds(os.getpid()) - cpu
    finally:
        for task in tasks:
            task.cancel()
        for task in tasks:
            with contextlib.suppress(asyncio.CancelledError):
                await task
        for path in paths:
            shutil.rmtree(path, ignore_errors=True)
    return pits * readings / took, 1e6 * spent / (pits * readings)
