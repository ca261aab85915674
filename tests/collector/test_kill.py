"""`kill -9` at random moments: at QoS 1 every message that was published is on record, once."""

import asyncio
import contextlib
import random
import sqlite3
import threading

import paho.mqtt.client as paho
import pytest

from collector.replay import differences
from collector.store.archive import Archive

KILLS = 20


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
        last.wait_for_publish(20)
        client.disconnect()
        client.loop_stop()


def stored(path):
    with contextlib.closing(sqlite3.connect(path)) as db:
        return [v for (v,) in db.execute("SELECT millicelsius FROM reading ORDER BY id")]


@pytest.mark.broker
async def test_every_message_is_on_record_once(real_broker, collecting, pit_config):
    real_broker.config = "max_queued_messages 0"
    real_broker.start()
    running = collecting(pit_config(real_broker.port)).start()
    await running.up()
    sender = Sender(real_broker.port)
    sender.start()
    choose = random.Random(20)
    for _ in range(KILLS):
        await asyncio.sleep(choose.uniform(0.2, 2.0))
        running.kill()
        running.start()
    sender.enough.set()
    await asyncio.to_thread(sender.join)
    await running.up()
    for _ in range(100):
        if len(stored(running.store)) >= sender.sent:
            break
        await asyncio.sleep(0.2)
    assert running.stop() == 0
    values = stored(running.store)
    assert sender.sent > 1000
    missing = sorted(set(range(sender.sent)) - set(values))
    twice = len(values) - len(set(values))
    assert (missing, twice) == ([], 0)
    with Archive(running.store) as archive:
        cook = archive.cook("last")
        assert cook.readings == sender.sent, "and all in one cook"
        assert differences(archive, cook) == [], "its alarm log is the one a replay gives"
