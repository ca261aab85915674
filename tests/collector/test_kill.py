"""`kill -9` at random moments: at QoS 1 every message that was published is on record, once."""

import asyncio
import contextlib
import os
import random
import sqlite3
import threading

import paho.mqtt.client as paho
import pytest

from collector.replay import differences
from collector.store.archive import Archive
from tests.waiting import WAIT_SECONDS, until

KILLS = int(os.environ.get("COLDSIDE_KILLS", "50"))
AT_ONCE = 2
"""Collectors that are killed side by side; the machine has two cores."""


class Sender(threading.Thread):
    """Publishes numbered values at QoS 1 until told to stop; each value is sent once."""

    def __init__(self, port, per_second=120):
        super().__init__(daemon=True)
        self.port, self.per_second = port, per_second
        self.enough = threading.Event()
        self.sent = 0

    def run(self):
        client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        client.max_inflight_messages_set(0)
        client.connect("127.0.0.1", self.port)
        client.loop_start()
        while not self.enough.wait(1 / self.per_second):
            last = client.publish(f"pit/p{self.sent % 8}", f"{self.sent / 1000:.3f}", 1)
            self.sent += 1
        last.wait_for_publish(WAIT_SECONDS)
        client.disconnect()
        client.loop_stop()


def stored(path):
    with contextlib.closing(sqlite3.connect(path)) as db:
        return [v for (v,) in db.execute("SELECT millicelsius FROM reading ORDER BY id")]


async def kill_again_and_again(running, choose, times):
    for _ in range(times):
        await asyncio.sleep(choose.uniform(0.05, 2.0))
        running.kill()
        running.start()


@pytest.mark.broker
async def test_every_message_is_on_record_once(real_broker, collecting, pit_config, tmp_path):
    real_broker.config = "max_queued_messages 0"
    real_broker.start()
    killed = []
    for k in range(AT_ONCE):
        text = pit_config(real_broker.port).replace("under-test", f"under-test-{k}")
        killed.append(collecting(text, folder=tmp_path / f"pit {k}").start())
    for running in killed:
        await running.up()
    sender = Sender(real_broker.port)
    sender.start()
    times = KILLS // AT_ONCE
    await asyncio.gather(*(kill_again_and_again(r, random.Random(20 + k), times) for k, r in enumerate(killed)))
    sender.enough.set()
    await asyncio.to_thread(sender.join)
    assert sender.sent > 1000
    for running in killed:
        await running.up()
        await until(lambda running=running: len(stored(running.store)) >= sender.sent, every_seconds=0.2)
        assert running.stop() == 0
        values = stored(running.store)
        missing = sorted(set(range(sender.sent)) - set(values))
        twice = len(values) - len(set(values))
        assert (missing, twice) == ([], 0)
        with Archive(running.store) as archive:
            cook = archive.cook("last")
            assert cook.readings == sender.sent, "and all in one cook"
            assert differences(archive, cook) == [], "its alarm log is the one a replay gives"
