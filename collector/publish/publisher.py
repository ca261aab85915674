"""Keeps a broker told of the cook: connects for ever, publishes what changed, leaves no ghosts of what is gone."""

import asyncio
import logging
from collections.abc import Callable
from random import Random

import aiomqtt
import msgspec

from adapters.backoff import delay_seconds
from adapters.errors import LinkError
from adapters.text import clean_text
from collector.brokers import client_of
from collector.faults import FaultBook
from collector.publish.documents import SCHEMA, documents
from collector.publish.options import PublishOptions
from collector.snapshot import Snapshot

__all__ = ["Publisher"]

log = logging.getLogger(__name__)

LOOK_SECONDS = 1.0
GHOST_SECONDS = 2.0
"""So long a broker is given to send what it has kept under our base."""
TIMEOUT_SECONDS = 10.0
MAX_GHOSTS = 2000
AT_ONCE = ("alarm/", "trouble/")
"""Published when they change; the rest at every interval."""
AVAILABILITY = "availability"
ACKNOWLEDGE = "acknowledge"
MAX_KEY_BYTES = 200


class Publisher:
    """Publishes one cook after the other.

    Args:
        options: broker and topics.
        snapshot: shows the cook now.
        random: jitters the waits.
        acknowledge: acknowledges an alarm or a trouble by its key; says why not. Used where the options say so.
        faults: contains a document that cannot be written.
        unwell: says why the pit is not really watched now; empty where it is. `availability` follows it.
    """

    def __init__(
        self,
        options: PublishOptions,
        snapshot: Callable[[], Snapshot],
        random: Random | None = None,
        acknowledge: Callable[[str], str] = lambda _: "",
        *,
        faults: FaultBook | None = None,
        unwell: Callable[[], str] = str,
    ) -> None:
        self._faults = faults or FaultBook()
        self._unwell = unwell
        self._acknowledge = acknowledge
        self._options = options
        self._snapshot = snapshot
        self._random = random or Random()
        self.up = False
        self.published = 0
        """Messages that the broker has taken."""
        self.fault = ""
        """Why the broker is not told now; empty while it is."""

    async def run(self) -> None:
        """Publish until cancelled."""
        attempt = 0
        while True:
            began = asyncio.get_running_loop().time()
            try:
                await self._one_link()
            except (aiomqtt.MqttError, LinkError, OSError) as error:
                self._lost(str(error) or type(error).__name__)
            attempt = 0 if asyncio.get_running_loop().time() - began > 60.0 else attempt
            await asyncio.sleep(delay_seconds(attempt, self._random))
            attempt += 1

    def _lost(self, why: str) -> None:
        if why != self.fault:
            log.warning("publishing to %s:%d: %s", self._options.broker.host, self._options.broker.port, why)
        self.fault, self.up = why, False

    async def _one_link(self) -> None:
        told = self._options
        client = client_of(
            told.broker, "coldside.publish", TIMEOUT_SECONDS, max_queued_incoming_messages=MAX_GHOSTS,
            will=aiomqtt.Will(self._topic(AVAILABILITY), b"offline", 1, retain=True),
        )  # fmt: skip
        async with client:
            await client.publish(self._topic(AVAILABILITY), self._availability(), 1, retain=True)
            try:
                if told.acknowledge:
                    await client.subscribe(self._topic(ACKNOWLEDGE), qos=1)
                await self._lay_ghosts(client)
                self.up, self.fault = True, ""
                log.info("publishing to %s:%d under %s", told.broker.host, told.broker.port, told.base)
                listening = asyncio.create_task(self._listen(client), name="acknowledge over MQTT")
                try:
                    await self._keep_told(client)
                finally:
                    listening.cancel()
                    await asyncio.gather(listening, return_exceptions=True)
            except aiomqtt.MqttError:
                raise  # the link is gone: the broker publishes the last will
            except BaseException:  # an orderly end sends no last will, be it ours or that of a fault
                await client.publish(self._topic(AVAILABILITY), b"offline", 1, retain=True, timeout=1.0)
                raise
            finally:
                self.up = False

    def _availability(self) -> bytes:
        """Say `online` only while the pit is really watched."""
        return b"offline" if self._unwell() else b"online"

    def _topic(self, below: str) -> str:
        return f"{self._options.base}/{below}"

    async def _lay_ghosts(self, client: aiomqtt.Client) -> None:
        """Take away what the broker has kept of probes, zones and alarms that are no more."""
        await client.subscribe(self._topic("#"), qos=0)
        present = {self._topic(below) for below in documents(self._snapshot(), self._faults)} | {
            self._topic(AVAILABILITY)
        }
        ghosts: list[str] = []
        try:
            async with asyncio.timeout(GHOST_SECONDS):
                async for message in client.messages:
                    topic = message.topic.value
                    ghosts += [topic] if message.retain and topic not in present else []
                    self._hear(message)
        except TimeoutError:
            pass
        await client.unsubscribe(self._topic("#"))
        for topic in ghosts:
            await client.publish(topic, b"", 1, retain=True)

    async def _listen(self, client: aiomqtt.Client) -> None:
        async for message in client.messages:
            self._hear(message)

    def _hear(self, message: aiomqtt.Message) -> None:
        """Acknowledge what the broker passes on; what it has kept was meant for another moment."""
        payload = message.payload
        wanted = self._options.acknowledge and message.topic.value == self._topic(ACKNOWLEDGE)
        if not wanted or message.retain or not isinstance(payload, bytes):
            return
        key = payload[:MAX_KEY_BYTES].decode("utf-8", "replace").strip()
        if not key:
            log.warning("an acknowledgement over MQTT names no alarm and no trouble: it is not taken")
            return
        try:
            why = self._acknowledge(key)
        except Exception as error:
            log.exception("an acknowledgement over MQTT: a fault of ours, the next is taken")
            why = type(error).__name__
        said = clean_text(key, MAX_KEY_BYTES)
        log.info("acknowledge %s, over MQTT: %s", said, f"not done: {why}" if why else "done")

    async def _keep_told(self, client: aiomqtt.Client) -> None:
        """Publish what changed, each second alarms and troubles, at every interval the rest."""
        loop = asyncio.get_running_loop()
        last: dict[str, bytes] = {}
        due = 0.0
        available = b""
        while True:
            if (stands := self._availability()) != available:
                available = stands
                await client.publish(self._topic(AVAILABILITY), stands, 1, retain=True)
            snapshot = self._snapshot()
            now = documents(snapshot, self._faults)
            whole = loop.time() >= due
            if whole:
                due = loop.time() + self._options.every_seconds
            for below, payload in now.items():
                at_once = below.startswith(AT_ONCE)
                if (whole and not at_once) or (at_once and _timeless(payload) != _timeless(last.get(below, b"{}"))):
                    await self._publish(client, below, payload, qos=int(at_once))
                    last[below] = payload
            for below in [topic for topic in last if topic not in now]:
                await self._publish(client, below, _over(below, last.pop(below), snapshot.now_unix), qos=1)
            await asyncio.sleep(LOOK_SECONDS)

    async def _publish(self, client: aiomqtt.Client, below: str, payload: bytes, *, qos: int) -> None:
        await client.publish(self._topic(below), payload, qos, retain=True)
        self.published += 1


def _timeless(payload: bytes) -> dict[str, object]:
    """Take a document without the time it was written, which alone is no news."""
    fields: dict[str, object] = msgspec.json.decode(payload)
    fields.pop("time", None)
    return fields


def _over(below: str, last: bytes, now_unix: float) -> bytes:
    """Write that an alarm is over; a trouble that is over, a probe or zone that is gone, leaves nothing."""
    if not below.startswith("alarm/"):
        return b""
    key = msgspec.json.decode(last)["key"]
    return msgspec.json.encode({"schema": SCHEMA, "key": key, "state": "normal", "active": False, "time": now_unix})
