"""A broker as a source: exactly the messages it sent, each once, acknowledged when they are on disk.

QoS 1 promises delivery at least once: what we have not acknowledged comes again after a broken link or a restart,
marked as a repeat and with the same packet id. So each message has a receipt, packet id and checksum, that is stored
with its readings; a repeat whose receipt is known is acknowledged and not taken again.

A broker may give the packet id of what we have acknowledged to a new message of the same words, and repeat that. Where
the words hold the sender's own time it is the same measurement. Else, where the acknowledgement is known to have
arrived, or the broker gives packet ids again soon, the message is taken, and counted as one that may be on record
twice: lost would be worse.
"""

import asyncio
import socket
import zlib
from collections import OrderedDict
from collections.abc import AsyncIterator, Callable, Sequence
from itertools import groupby
from time import time

from paho.mqtt.client import MQTTMessage
from paho.mqtt.matcher import MQTTMatcher

from adapters.decode.value import Value
from adapters.errors import DecodeError, LinkError, LinkReason
from adapters.inbox import Inbox
from adapters.mqtt.options import Availability, BrokerOptions, Subscription
from adapters.mqtt.session import OWN_CLIENT_ID, RECEIVE_MAXIMUM, Session
from adapters.reading import Quality, Reading, Reason, Unit
from adapters.source import Link, LinkState, SourceCounts

__all__ = ["MqttSource"]

MAX_TOPICS = 8192
"""Topics whose route is remembered, and keys whose silence can be told."""
MAX_RECEIPTS = 4096
SHORT_SECONDS, SHORT_LIVES = 40.0, 3
"""So many lives in a row, each shorter than this, that the broker ends without a word: MQTT 3.1.1 has none for a
client id that somebody else connects with, and not every broker of MQTT 5 says it. Longer than the wait of a collector
that was sent away."""
_UNREADABLE = (DecodeError, ArithmeticError, LookupError, RecursionError, TypeError, ValueError)
"""What a payload may do to a decoder. Should it get past this it would come again with every link, for ever."""


class MqttSource:
    """Readings from one broker.

    Args:
        options: the broker and what to hear there.
        expected_keys: probe keys of the config, told silent by the availability topic even before they spoke.
        inbox_capacity: readings without a receipt that may wait.
        clock: tells Unix seconds UTC.
    """

    def __init__(
        self,
        options: BrokerOptions,
        expected_keys: Sequence[str] = (),
        *,
        inbox_capacity: int = 4096,
        clock: Callable[[], float] = time,
    ) -> None:
        self.name = options.name
        self.counts = SourceCounts()
        self._options = options
        self._clock = clock
        group = f"-{options.share}" if options.share else ""  # a session of its own: subscriptions outlive the config
        self._client_id = options.client_id or f"coldside-{socket.gethostname()}-{options.name}{group}"
        self._inbox = Inbox(inbox_capacity)
        self._wake = asyncio.Event()
        self._link = Link(LinkState.DOWN, LinkReason.NOT_STARTED)
        self._session: Session | None = None
        self._short_lives = 0
        self._matcher = MQTTMatcher()
        for subscription in reversed(options.subscriptions):
            self._matcher[subscription.filter] = subscription
        self._availability = {a.topic: a for a in options.availability}
        self._routes: dict[str, Subscription | None] = {}
        self._keys = dict.fromkeys(expected_keys)
        self._pending: OrderedDict[int, None] = OrderedDict()
        """Receipts taken but not yet committed, oldest first."""
        self._safe: OrderedDict[int, int] = OrderedDict()
        """Checksum by packet id of the messages last committed."""
        self._owed: dict[int, int] = {}
        """Receipt by packet id of the newest message that waits for its commit: only then that id is acknowledged."""
        self._arrived: set[int] = set()
        """Packet ids of `_safe` whose acknowledgement the broker has read."""
        self._reuses = False
        """The broker gave a new message a packet id that we still know."""

    @property
    def vitals(self) -> None:
        """Say nothing: there is no radio here."""

    @property
    def link(self) -> Link:
        """The link as it stands now."""
        return self._link

    def restore(self, receipts: list[int]) -> None:
        """Take note of the receipts an earlier run committed, oldest first."""
        for receipt, _ in groupby(receipts):  # readings of one message share it
            self._reuses |= receipt >> 32 in self._safe
            self._remember(receipt)

    def committed(self, receipt: int) -> None:
        """Acknowledge the message with this receipt and all taken before it."""
        if receipt not in self._pending:
            return
        while self._pending:
            oldest, _ = self._pending.popitem(last=False)
            self._remember(oldest)
            if self._owed.get(oldest >> 32) == oldest:
                del self._owed[oldest >> 32]
                if self._session is not None:
                    self._session.acknowledge(oldest >> 32)
            if oldest == receipt:
                break
        if self._session is not None:
            self._session.resume()

    def _remember(self, receipt: int) -> None:
        packet_id = receipt >> 32
        self._safe.pop(packet_id, None)
        self._safe[packet_id] = receipt & 0xFFFFFFFF
        self._arrived.discard(packet_id)
        if len(self._safe) > MAX_RECEIPTS:
            self._arrived.discard(self._safe.popitem(last=False)[0])

    def _note_arrived(self, packet_ids: list[int]) -> None:
        self._arrived.update(packet_id for packet_id in packet_ids if packet_id in self._safe)

    async def __aiter__(self) -> AsyncIterator[Reading]:
        """Connect and yield readings until the link closes.

        Raises:
            LinkError: no link, or it closed.
        """
        self._link = Link(LinkState.CONNECTING)
        session = self._session = Session(
            self._options, self._client_id, self._hear, self._may_read, self._begin, self._wake.set, self._note_arrived
        )
        # A broker that kept our session sends what waits before it answers our subscription, and stops when we do
        # not acknowledge: so readings are handed on while the link is still opening.
        opening = asyncio.create_task(session.open(), name=f"open the link to {self.name}")
        opening.add_done_callback(lambda _: self._wake.set())
        try:
            while True:
                reading = self._inbox.get()
                if reading is not None:
                    self.counts.yielded += 1
                    yield reading
                elif session.closed is not None:
                    await opening  # it knows why better than the closing socket
                    raise self._ended(session, session.closed)
                else:
                    if opening.done() and self._link.state is LinkState.CONNECTING:
                        opening.result()
                        self._link = Link(LinkState.UP)
                    await self._wake.wait()
                    self._wake.clear()
        except LinkError as error:
            self._link = Link(LinkState.DOWN, error.reason, error.detail)
            raise
        finally:
            self._session = None
            session.close()
            opening.cancel()
            await asyncio.gather(opening, return_exceptions=True)
            if self._link.state is not LinkState.DOWN:
                self._link = Link(LinkState.DOWN, LinkReason.LOST, "closed by us")

    def _ended(self, session: Session, error: LinkError) -> LinkError:
        """Ask about our client id where the broker ends every link soon after its greeting."""
        short = error.reason is LinkReason.LOST and not error.detail and session.stood_seconds < SHORT_SECONDS
        self._short_lives = self._short_lives + 1 if short else 0
        if self._short_lives < SHORT_LIVES:
            return error
        times = f"soon after it opened, {self._short_lives} times in a row"
        return LinkError(
            LinkReason.LOST, f"{times}: if another client uses the client id {self._client_id!r}, {OWN_CLIENT_ID}"
        )

    def _begin(self, session_present: bool) -> None:
        """Take note whether the broker remembers us.

        When it does not (it was restarted without its memory, or we are new to it), packet ids begin anew: what we
        know of them would make a new message look like a repeat, or acknowledge one that is not on disk yet.
        """
        if not session_present:
            self._pending.clear()
            self._owed.clear()
            self._safe.clear()
            self._arrived.clear()
            self._reuses = False

    def _may_read(self) -> bool:
        return len(self._pending) < RECEIVE_MAXIMUM

    def _hear(self, message: MQTTMessage) -> None:
        """Take one message from the broker."""
        receipt = None
        if message.qos:
            receipt = message.mid << 32 | zlib.crc32(message.payload, zlib.crc32(message.topic.encode()))
            if message.dup and self._is_repeat(receipt, message):
                return
            known = self._safe.get(message.mid)
            self._reuses |= known is not None and not (message.dup and known == receipt & 0xFFFFFFFF)
            self._pending[receipt] = None
            self._owed[message.mid] = receipt
        availability = self._availability.get(message.topic)
        if availability is not None:
            readings = self._gone(availability, bytes(message.payload), receipt)
        else:
            readings = self._read(message, receipt)
        for reading in readings:
            self._inbox.put(reading)
        self.counts.heard += len(readings)
        self.counts.dropped = self._inbox.dropped
        if readings:
            self._wake.set()
        elif receipt is not None:
            del self._pending[receipt]
            self._owed.pop(message.mid, None)
            if self._session is not None:
                self._session.acknowledge(message.mid)

    def _is_repeat(self, receipt: int, message: MQTTMessage) -> bool:
        """Tell whether a message marked as sent again is one we have, and acknowledge it when it is safe."""
        if receipt in self._pending:
            self.counts.repeated += 1
            return True
        packet_id = receipt >> 32
        if self._safe.get(packet_id) != receipt & 0xFFFFFFFF:
            return False
        if (packet_id in self._arrived or self._reuses) and not self._dated(message):
            self.counts.perhaps_twice += 1
            return False
        self.counts.repeated += 1
        if self._session is not None:
            self._session.acknowledge(packet_id)
        return True

    def _dated(self, message: MQTTMessage) -> bool:
        """Tell whether a message says itself when all that it tells was measured."""
        route = self._route(message.topic)
        if route is None or message.topic in self._availability:
            return False
        payload = bytes(message.payload)
        try:  # a time relative to now is another one later
            early, late = (route.reader.read(message.topic, payload, now) for now in (0.0, 1.0))
        except _UNREADABLE:
            return False
        times = [value.source_unix for value in early]
        return None not in times and times == [value.source_unix for value in late]

    def _route(self, topic: str) -> Subscription | None:
        """Find the first subscription of the config that covers a topic; remembered, so it is looked for once."""
        try:
            return self._routes[topic]
        except KeyError:
            found = list(self._matcher.iter_match(topic))
            order = self._options.subscriptions
            route = min(found, key=order.index) if found else None
            if len(self._routes) < MAX_TOPICS:
                self._routes[topic] = route
            return route

    def _read(self, message: MQTTMessage, receipt: int | None) -> list[Reading]:
        """Turn a message into readings; one that cannot be read is a bad reading where its topic names the probe."""
        topic, now = message.topic, self._clock()
        route = self._route(topic)
        if route is None or (not message.payload and not message.retain):
            return []  # an empty payload is a retained message being cleared
        try:
            values: Sequence[Value] = route.reader.read(topic, bytes(message.payload), now)
        except _UNREADABLE as error:
            self.counts.last_error = f"{topic!r}: {error}"
            self.counts.undecodable += 1
            key = route.reader.key_in_topic(topic)
            if key is None:
                self.counts.heard += 1
                return []
            values = [Value(key, float("nan"), Unit.CELSIUS, None, Quality.BAD, Reason.UNDECODABLE)]
        if len(self._keys) < MAX_TOPICS:
            for value in values:
                self._keys.setdefault(value.key)
        return [self._reading(value, now, receipt, retained=message.retain) for value in values]

    def _reading(self, value: Value, now: float, receipt: int | None, *, retained: bool) -> Reading:
        quality, reason = value.quality, value.reason
        if retained and quality is Quality.GOOD:
            quality, reason = Quality.UNCERTAIN, Reason.LAST_KNOWN
        return Reading(
            self.name, value.key, value.celsius, now, value.source_unix, value.unit, quality, reason, receipt
        )

    def _gone(self, availability: Availability, payload: bytes, receipt: int | None) -> list[Reading]:
        """Turn a bridge's last will into a word on each of its probes."""
        if payload != availability.offline:
            return []
        now, nan = self._clock(), float("nan")
        keys = availability.keys or tuple(self._keys)
        return [
            Reading(self.name, key, nan, now, None, Unit.CELSIUS, Quality.BAD, Reason.OFFLINE, receipt) for key in keys
        ]
