"""Ten thousand messages a second for as long as asked: the collector lives and every one is recorded or counted."""

import asyncio
import contextlib
import os
import sqlite3
import time
from pathlib import Path

import pytest

from tests.bench.publisher import publish

PER_SECOND = 10_000
SECONDS = int(os.environ.get("COLDSIDE_FLOOD_SECONDS", "2"))
"""60 for the whole minute; the suite has five in all."""


def memory_bytes(pid):
    status = Path(f"/proc/{pid}/status").read_text()
    return 1024 * int(status.split("VmRSS:")[1].split()[0])


@pytest.mark.broker
async def test_a_flood_is_recorded_or_counted_and_memory_stays_bounded(real_broker, collecting, pit_config):
    real_broker.config = "max_queued_messages 0\nmax_queued_bytes 0"
    real_broker.start()
    text = pit_config(real_broker.port, qos=0, probes=16).replace(
        'key = "level 2" }', 'key = "level 2", payload = "json", value = "/t" }'
    )
    running = collecting(text).start()
    await running.up()
    before = memory_bytes(running.process.pid)
    sent = PER_SECOND * SECONDS
    began = time.monotonic()
    flood = publish(real_broker.port, "pit", sent, 0, PER_SECOND, "numbered")
    greatest = 0
    while flood.poll() is None:
        greatest = max(greatest, memory_bytes(running.process.pid))
        await asyncio.sleep(0.2)
    assert flood.returncode == 0
    took = time.monotonic() - began
    after = await running.snapshot_when(lambda s: s.sources[0].heard >= sent and not s.store.unsaved)
    dropped = after.sources[0].dropped
    assert greatest - before < 60e6
    assert running.stop() == 0
    with contextlib.closing(sqlite3.connect(running.store)) as db:
        assert db.execute("SELECT count(*) FROM reading").fetchone()[0] + dropped == sent
        assert db.execute("SELECT max(millicelsius) FROM reading").fetchone()[0] == sent - 1, "the newest survives"
    print(f"{sent} sent in {took:.1f} s, {dropped} dropped; {before / 1e6:.0f} MB before, {greatest / 1e6:.0f} at most")
