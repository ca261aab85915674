"""A disk that turns read-only or slow in the night: said, survived, nothing lost. The kernel's answers are changed by
strace on the running collector, so that SQLite and all above it see what they would see."""

import asyncio
import contextlib
import shutil
import sqlite3
import subprocess
import time

import paho.mqtt.client as paho
import pytest

from tests.collector.test_durable import is_traced
from tests.waiting import WAIT_SECONDS

pytestmark = [
    pytest.mark.broker,
    pytest.mark.skipif(shutil.which("strace") is None, reason="needs strace (apt install strace)"),
]


@contextlib.contextmanager
def disk(running, calls, fault):
    """Change what the kernel answers to calls on the store's files."""
    words = ["strace", "-f", "-q", "-o", "/dev/null", "-p", str(running.process.pid)]
    for name in ("cooks.db", "cooks.db-wal"):
        words += ["-P", str(running.folder / name)]
    tracer = subprocess.Popen([*words, "-e", f"trace={calls}", "-e", f"inject={calls}:{fault}"])
    try:
        while not is_traced(running.process.pid):
            time.sleep(0.01)
        yield
    finally:
        tracer.terminate()
        tracer.wait(WAIT_SECONDS)


def send(port, first, last):
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.max_queued_messages_set(0)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for k in range(first, last):
        told = client.publish(f"pit/p{k % 8}", f"{k / 1000:.3f}", 1)
    told.wait_for_publish(WAIT_SECONDS)
    client.disconnect()
    client.loop_stop()


def stored(path):
    with contextlib.closing(sqlite3.connect(path)) as db:
        return sorted(v for (v,) in db.execute("SELECT millicelsius FROM reading"))


async def test_a_disk_that_turns_read_only_is_said_and_everything_waits_for_it(real_broker, collecting, pit_config):
    real_broker.config = "max_queued_messages 0"
    real_broker.start()
    running = collecting(pit_config(real_broker.port)).start()
    await running.up()
    await asyncio.to_thread(send, real_broker.port, 0, 100)
    await running.snapshot_when(lambda s: s.sources[0].heard == 100 and not s.store.unsaved)
    with disk(running, "pwrite64", "error=EROFS"):
        await asyncio.to_thread(send, real_broker.port, 100, 300)
        shown = await running.snapshot_when(lambda s: s.store.fault)
        assert shown.store.unsaved > 0
    await running.snapshot_when(lambda s: s.sources[0].heard >= 300 and not s.store.unsaved and not s.store.fault)
    assert running.stop() == 0
    assert stored(running.store) == list(range(300))


async def test_a_slow_disk_holds_up_nobody_but_the_record(real_broker, collecting, pit_config):
    """Each write takes a second, as with a worn card: a commit takes many, and the tick goes on beside it."""
    real_broker.config = "max_queued_messages 0"
    real_broker.start()
    running = collecting(pit_config(real_broker.port)).start()
    await running.up()
    with disk(running, "pwrite64", "delay_enter=1s"):
        await asyncio.to_thread(send, real_broker.port, 0, 400)
        first = await running.snapshot_when(lambda s: s.store.unsaved)
        ticks = set()

        def another_commit(snapshot):
            ticks.add(snapshot.now_unix)
            return len(ticks) == 5 or snapshot.store.last_commit_unix != first.store.last_commit_unix

        later = await running.snapshot_when(another_commit)
        assert len(ticks) == 5, "during one commit"
        assert later.store.fault == ""
    await running.snapshot_when(lambda s: s.sources[0].heard >= 400 and not s.store.unsaved)
    assert running.stop() == 0
    assert stored(running.store) == list(range(400))
