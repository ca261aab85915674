"""Exactly once, against a broker of the test's own that sends and hears the very bytes of MQTT 3.1.1."""

import asyncio
import importlib.util
from pathlib import Path

import pytest

from adapters.decode.mqtt_payload import PayloadReader
from adapters.mqtt.source import MqttSource
from adapters.source import LinkState

_spec = importlib.util.spec_from_file_location("mqtt_conftest", Path(__file__).with_name("conftest.py"))
_c = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_c)
Hearing, options = _c.Hearing, _c.options

CONNECT, PUBLISH, PUBACK, SUBSCRIBE, UNSUBSCRIBE = 1, 3, 4, 8, 10
"""Types of packets (2.2.1)."""
DATED = PayloadReader("json", value="/v", time_pointer="/t", key="level 2")
RELATIVE = PayloadReader("senml")


class OneBroker:
    """Greets, answers what it is asked, and sends what it is told to; keeps what it heard, in order."""

    def __init__(self):
        self.heard = []
        self.links = 0
        self.greeting = asyncio.Event()
        self.greeting.set()
        self.known = True
        self.answers = True

    async def __aenter__(self):
        self._server = await asyncio.start_server(self._link, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_):
        self.cut()
        self._server.close()

    async def _link(self, reader, writer):
        self.links += 1
        self._writer = writer
        try:
            while True:
                first, length = await reader.readexactly(2)
                body = await reader.readexactly(
                    length if length < 128 else length & 127 | (await reader.readexactly(1))[0] << 7
                )
                kind = first >> 4
                self.heard.append((kind, body))
                if kind == CONNECT:
                    greets = asyncio.create_task(self._greet(writer))  # and listens meanwhile
                elif kind == SUBSCRIBE:
                    writer.write(b"\x90\x03" + body[:2] + b"\x01")
                elif kind == UNSUBSCRIBE and self.answers:
                    writer.write(b"\xb0\x02" + body[:2])
        except (asyncio.IncompleteReadError, ConnectionError):
            greets.cancel()
            writer.close()

    async def _greet(self, writer):
        await self.greeting.wait()
        writer.write(bytes([0x20, 2, self.known, 0]))

    def publish(self, packet_id, payload, *, again=False, topic=b"pit/flat"):
        body = len(topic).to_bytes(2) + topic + packet_id.to_bytes(2) + payload
        self._writer.write(bytes([0x32 | again << 3, len(body)]) + body)

    def cut(self):
        self._writer.close()

    def acknowledged(self):
        return [int.from_bytes(body) for kind, body in self.heard if kind == PUBACK]

    def asked(self):
        return [kind for kind, _ in self.heard].count(UNSUBSCRIBE)


async def taken_once(broker, source, hearing, payload=b"225"):
    """Let a message be taken, committed and acknowledged."""
    await hearing.until(lambda: source.link.state is LinkState.UP)
    broker.publish(1, payload)
    await hearing.until(lambda: broker.acknowledged() == [1])


async def linked_anew(broker, source, hearing):
    links = broker.links
    broker.cut()
    await hearing.until(lambda: broker.links > links and source.link.state is LinkState.UP)


async def test_a_repeat_of_what_was_never_known_to_arrive_is_taken_once():
    async with OneBroker() as broker:
        broker.answers = False
        source = MqttSource(options(broker.port))
        async with Hearing(source) as hearing:
            await taken_once(broker, source, hearing)
            await linked_anew(broker, source, hearing)
            broker.publish(1, b"225", again=True)
            await hearing.until(lambda: broker.acknowledged() == [1, 1])
    assert (len(hearing.readings), source.counts.repeated, source.counts.perhaps_twice) == (1, 1, 0)


@pytest.mark.parametrize(
    ("reader", "payload", "taken"),
    [
        (None, b"225", 2),
        (DATED, b'{"v": 107, "t": "2026-11-01T04:00:00Z"}', 1),
        (DATED, b'{"v": 107, "t": 1}', 1),
        (RELATIVE, b'[{"n":"flat","u":"Cel","v":107}]', 2),
        (RELATIVE, b'[{"n":"flat","u":"Cel","v":107,"t":1793505600}]', 1),
    ],
)
async def test_once_the_acknowledgement_arrived_only_the_senders_time_tells_a_repeat(reader, payload, taken):
    """The broker answered what was asked after the acknowledgement; it may give the id to a new message, or have been
    put back from an older copy and send the old one."""
    async with OneBroker() as broker:
        source = MqttSource(options(broker.port, reader=reader))
        async with Hearing(source) as hearing:
            await taken_once(broker, source, hearing, payload)
            await hearing.until(lambda: broker.asked() == 1 and source._arrived)
            await linked_anew(broker, source, hearing)
            broker.publish(1, payload, again=True)
            await hearing.until(lambda: broker.acknowledged() == [1, 1])
    assert len(hearing.readings) == taken
    assert (source.counts.repeated, source.counts.perhaps_twice) == ((0, 1) if taken == 2 else (1, 0))


async def test_a_broker_that_gives_packet_ids_again_soon_is_believed_no_more():
    async with OneBroker() as broker:
        broker.answers = False
        source = MqttSource(options(broker.port))
        async with Hearing(source) as hearing:
            await taken_once(broker, source, hearing)
            broker.publish(1, b"225")
            await hearing.until(lambda: broker.acknowledged() == [1, 1])
            await linked_anew(broker, source, hearing)
            broker.publish(1, b"225", again=True)  # that one again, or a third
            await hearing.until(lambda: broker.acknowledged() == [1, 1, 1])
    assert (len(hearing.readings), source.counts.perhaps_twice) == (3, 1)


async def test_receipts_of_an_earlier_run_tell_whether_packet_ids_come_again():
    for stored, known in (([1 << 32 | 7, 1 << 32 | 7, 2 << 32 | 9], False), ([1 << 32 | 7, 1 << 32 | 8], True)):
        source = MqttSource(options(1))
        source.restore(stored)
        assert source._reuses is known


async def test_nothing_is_sent_before_the_greeting():
    """MQTT 3.1.1, 3.1.4: what a client sends before it is greeted, it sends to a broker that may refuse it."""
    async with OneBroker() as broker:
        source = MqttSource(options(broker.port))
        async with Hearing(source, commit=False) as hearing:
            await hearing.until(lambda: source.link.state is LinkState.UP)
            broker.publish(1, b"225")
            await hearing.until(lambda: hearing.readings)
            broker.greeting.clear()
            broker.heard.clear()
            broker.cut()
            await hearing.until(lambda: [kind for kind, _ in broker.heard] == [CONNECT])
            source.committed(hearing.readings[0].receipt)
            await asyncio.sleep(0.2)
            assert [kind for kind, _ in broker.heard] == [CONNECT]
            broker.greeting.set()
            await hearing.until(lambda: source.link.state is LinkState.UP)
            broker.publish(1, b"225", again=True)
            await hearing.until(lambda: broker.acknowledged() == [1])
    assert len(hearing.readings) == 1


async def test_an_id_is_acknowledged_for_its_newest_message_alone():
    """A broker put back from an older copy may give an id again while the old message waits for the disk."""
    async with OneBroker() as broker:
        source = MqttSource(options(broker.port))
        async with Hearing(source, commit=False) as hearing:
            await hearing.until(lambda: source.link.state is LinkState.UP)
            broker.publish(1, b"225")
            broker.publish(1, b"226")
            await hearing.until(lambda: len(hearing.readings) == 2)
            source.committed(hearing.readings[0].receipt)
            await asyncio.sleep(0.1)
            assert broker.acknowledged() == [], "226 is not on disk"
            source.committed(hearing.readings[1].receipt)
            await hearing.until(lambda: broker.acknowledged() == [1])
