"""A source under test and a publisher beside it."""

import asyncio
import contextlib

import paho.mqtt.client as paho
import pytest

from adapters.decode.mqtt_payload import PayloadReader
from adapters.errors import LinkError
from adapters.mqtt.options import Availability, BrokerOptions, Subscription
from adapters.mqtt.source import MqttSource
from adapters.reading import Unit
from tests.waiting import WAIT_SECONDS


class Publisher:
    """paho in a thread of its own, publishing."""

    def __init__(self, port: int, **will) -> None:
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        if will:
            self.client.will_set(**will)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def publish(self, topic, payload, qos=1, retain=False):
        info = self.client.publish(topic, payload, qos, retain)
        info.wait_for_publish(WAIT_SECONDS)
        return info

    def close(self):
        self.client.disconnect()
        self.client.loop_stop()

    def vanish(self):
        """Lose the link without a goodbye, so that the last will is published."""
        self.client.loop_stop()
        self.client.socket().close()


@pytest.fixture
def publisher(broker):
    p = Publisher(broker.port)
    yield p
    p.close()


def options(port, filters=("pit/+",), *, qos=1, reader=None, version_5=False, **more):
    reader = reader or PayloadReader("number", key="level 2", unit=Unit.FAHRENHEIT)
    return BrokerOptions(
        "b",
        "127.0.0.1",
        tuple(Subscription(f, qos, reader) for f in filters),
        port,
        version_5,
        client_id="test",
        **more,
    )


class Hearing:
    """Iterates a source in a task, again and again as a supervisor would, and keeps what it yields."""

    def __init__(self, source: MqttSource, *, commit=True) -> None:
        self.source = source
        self.readings = []
        self.commit = commit
        self.errors = []

    async def __aenter__(self):
        self._task = asyncio.create_task(self._run())
        return self

    async def _run(self):
        while True:
            try:
                async for reading in self.source:
                    self.readings.append(reading)
                    if self.commit and reading.receipt is not None:
                        self.source.committed(reading.receipt)
            except LinkError as error:
                self.errors.append(error)
                await asyncio.sleep(0.05)

    async def until(self, ready):
        async with asyncio.timeout(WAIT_SECONDS):
            while not ready():
                await asyncio.sleep(0.01)

    async def __aexit__(self, *_):
        self._task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self._task


__all__ = ["Availability", "Hearing", "Publisher", "options"]
