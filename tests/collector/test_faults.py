"""What a broker, a disk or a stranger may do to a running collector: it lives, loses nothing uncounted, and says so."""

import asyncio
import contextlib
import resource
import sqlite3
import subprocess
import sys
import time

import paho.mqtt.client as paho
import pytest

from tests.waiting import WAIT_SECONDS, until

pytestmark = pytest.mark.broker


def publisher(port):
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.max_queued_messages_set(0)
    client.connect("127.0.0.1", port)
    client.loop_start()
    return client


@contextlib.contextmanager
def reading_table(path):
    with contextlib.closing(sqlite3.connect(path, timeout=10)) as db:
        yield db


async def test_a_burst_at_a_stalled_store_is_stored_or_counted(real_broker, collecting, pit_config):
    real_broker.config = "max_queued_messages 0\nmax_queued_bytes 0"
    real_broker.start()
    running = collecting(pit_config(real_broker.port, qos=0)).start()
    await running.up()
    client = publisher(real_broker.port)
    sent = 30_000
    with reading_table(running.store) as db:
        db.execute("BEGIN IMMEDIATE")  # the disk is busy with somebody else
        for k in range(sent):
            info = client.publish(f"pit/p{k % 8}", f"{k / 1000:.3f}", 0)
        info.wait_for_publish(WAIT_SECONDS)
        stalled = await running.snapshot_when(lambda s: s.sources[0].heard >= sent and s.store.fault)
        assert stalled.store.fault, "the screen says that nothing is saved"
        assert stalled.store.unsaved <= 8192 + 64
        db.rollback()
    after = await running.snapshot_when(lambda s: not s.store.unsaved and not s.store.fault)
    dropped = after.sources[0].dropped
    assert running.stop() == 0
    with reading_table(running.store) as db:
        stored = db.execute("SELECT count(*) FROM reading").fetchone()[0]
        newest = db.execute(
            "SELECT key, max(millicelsius) FROM reading JOIN series ON series.id = series GROUP BY key"
        ).fetchall()
    assert sent == stored + dropped
    assert dropped > 0
    assert dict(newest) == {f"p{k % 8}": k for k in range(sent - 8, sent)}, "the newest of each probe survives"
    client.loop_stop()


async def test_a_full_disk_is_said_and_nothing_is_lost_when_it_has_room_again(real_broker, collecting, pit_config):
    real_broker.config = "max_queued_messages 0\nmax_queued_bytes 0"
    real_broker.start()
    running = collecting(pit_config(real_broker.port)).start()
    await running.up()
    size = 40_000 + max(p.stat().st_size for p in running.folder.glob("cooks.db*"))
    resource.prlimit(running.process.pid, resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))
    client = publisher(real_broker.port)
    sent = 0
    deadline = time.monotonic() + WAIT_SECONDS
    full = None
    while full is None and time.monotonic() < deadline:
        for _ in range(200):
            last = client.publish(f"pit/p{sent % 8}", f"{sent / 1000:.3f}", 1)
            sent += 1
        await asyncio.sleep(0.2)
        snapshot = await running.snapshot_when(lambda _: True)
        full = snapshot if snapshot.store.fault else None
    assert full is not None, "the disk filled up"
    assert full.store.unsaved > 0
    resource.prlimit(running.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    await asyncio.to_thread(last.wait_for_publish, 40)
    await running.snapshot_when(lambda s: s.sources[0].heard >= sent and not s.store.unsaved and not s.store.fault)
    assert running.stop() == 0
    with reading_table(running.store) as db:
        values = [v for (v,) in db.execute("SELECT millicelsius FROM reading")]
    assert sorted(values) == list(range(sent))
    client.loop_stop()


async def test_hostile_payloads_and_topics(real_broker, collecting, pit_config):
    real_broker.start()
    running = collecting(pit_config(real_broker.port)).start()
    await running.up()
    client = publisher(real_broker.port)
    hostile = [b"x" * 1_000_000, b"\xff\xfe\x00", b"[" * 100_000, b"1e999", b"-inf", b"9" * 5000, b"", b"0x10", b"1_0"]
    for payload in hostile:
        client.publish("pit/p0", payload, 1)
    for k in range(2000):
        client.publish(f"pit/stranger-{k}", b"1", 0)
    client.publish("pit/p1", b"110.5", 1).wait_for_publish(WAIT_SECONDS)
    after = await running.snapshot_when(lambda s: any(p.name == "p1" and p.celsius == 110.5 for p in s.probes))
    assert after.sources[0].unplaced, "keys that no probe claims are shown"
    assert running.process.poll() is None
    assert running.stop() == 0
    with reading_table(running.store) as db:
        assert db.execute("SELECT count(*) FROM series").fetchone()[0] <= 512 + 8
        assert db.execute("SELECT count(*) FROM reading WHERE millicelsius IS NULL").fetchone()[0] >= 6
    client.loop_stop()


async def test_a_second_collector_on_the_same_store_is_refused(real_broker, collecting, pit_config):
    real_broker.start()
    running = collecting(pit_config(real_broker.port)).start()
    await running.up()
    words = [sys.executable, "-m", "tui.cli", "collect", "-c", str(running.config), "--store", str(running.store)]
    second = subprocess.run([*words, "--socket", str(running.folder / "other.sock")], capture_output=True, text=True)
    assert second.returncode == 74
    assert "another collector" in second.stderr
    assert "Traceback" not in second.stderr
    assert (await running.snapshot_when(lambda _: True)).sources, "the first goes on"


async def test_the_broker_goes_away_and_comes_back(real_broker, collecting, pit_config):
    real_broker.start()
    running = collecting(pit_config(real_broker.port)).start()
    await running.up()
    real_broker.stop()
    down = await running.snapshot_when(lambda s: s.sources[0].state == "down")
    assert down.sources[0].why
    real_broker.start()
    await running.up()
    client = publisher(real_broker.port)
    client.publish("pit/p3", b"111", 1).wait_for_publish(WAIT_SECONDS)
    await running.snapshot_when(lambda s: s.probes[3].celsius == 111)
    client.loop_stop()


async def test_a_restart_goes_on_with_the_cook_and_its_marks(real_broker, collecting, pit_config):
    from collector.wire import AddMark, Confirm, Delete
    from tui.once import ask

    real_broker.start()
    running = collecting(pit_config(real_broker.port)).start()
    before = await running.up()
    client = publisher(real_broker.port)
    client.publish("pit/p3", b"111", 1).wait_for_publish(WAIT_SECONDS)
    await running.snapshot_when(lambda s: s.probes[3].celsius == 111 and not s.store.unsaved)
    reply = await ask(running.socket, AddMark(5, "spritz", "apple juice"))
    assert reply.done
    for command in (Confirm(6, "refuel/none"), Delete(7, "")):
        reply = await ask(running.socket, command)
        assert (reply.done, reply.why.split(";")[0]) == (False, "there is no such event among the newest marks")
    await running.snapshot_when(lambda s: s.marks)

    def stored():
        with contextlib.closing(sqlite3.connect(running.store)) as db:
            return db.execute("SELECT 1 FROM action WHERE text = 'apple juice'").fetchone()

    await until(stored)  # a mark is committed at once
    running.kill()
    running.start()
    after = await running.up()
    assert after.cook == before.cook
    assert after.started_unix == before.started_unix
    assert [(m.kind, m.text) for m in after.marks if m.kind == "spritz"] == [("spritz", "apple juice")]
    assert after.probes[3].celsius == 111
    client.loop_stop()


async def test_a_filter_that_is_too_wide_does_not_stop_the_source(real_broker, collecting, pit_config):
    """More strangers than are recorded, at QoS 1: each is acknowledged all the same, and the pit's probes are heard."""
    real_broker.start()
    running = collecting(pit_config(real_broker.port).replace('"pit/+"', '"#"')).start()
    await running.up()
    client = publisher(real_broker.port)
    for k in range(900):
        last = client.publish(f"house/{k}", b"20", 1)
    last.wait_for_publish(WAIT_SECONDS)
    client.publish("pit/p1", b"110.5", 1).wait_for_publish(WAIT_SECONDS)
    after = await running.snapshot_when(lambda s: any(p.name == "p1" and p.celsius == 110.5 for p in s.probes))
    assert after.sources[0].dropped == 900 - 512
    client.loop_stop()


async def test_a_store_that_is_taken_away_is_said(real_broker, collecting, pit_config):
    real_broker.start()
    running = collecting(pit_config(real_broker.port)).start()
    await running.up()
    running.store.unlink()
    client = publisher(real_broker.port)
    client.publish("pit/p3", b"111", 1).wait_for_publish(WAIT_SECONDS)
    after = await running.snapshot_when(lambda s: s.store.fault)
    assert "taken away" in after.store.fault
    client.loop_stop()
