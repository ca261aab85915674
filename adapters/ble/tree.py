"""What a connected device offers: services, characteristics, what they hold and say of themselves, and what they send.

Read by whoever wants to know a device he has no layout for. A characteristic that refuses is kept with its refusal.
"""

import asyncio
import contextlib
from collections.abc import Callable
from typing import Literal

import msgspec
from bleak.backends.characteristic import BleakGATTCharacteristic

from adapters.ble.calls import Calls
from adapters.ble.channels import channel_keys, formats
from adapters.ble.survey import Group, History, Place
from adapters.decode.gatt import (
    BATTERY_LEVEL,
    Format,
    is_temperature,
    label,
    read_characteristic,
    uuid16,
)
from adapters.decode.value import Packet
from adapters.errors import DecodeError, LinkError, LinkReason

__all__ = ["Characteristic", "Service", "Tree", "TreeReader", "Way"]

Way = Literal["notify", "read"]
"""How a value came."""
MAX_CHARACTERISTICS = 256
READ_AGAIN_SECONDS = 2.0
"""Between reads of what does not notify, while the others are listened to."""
TWICE_SECONDS = 0.05
"""The same bytes again within this time are one notification heard twice."""
MAX_TEXT_BYTES = 256
_TEXTS = frozenset(uuid16(n) for n in (0x2A00, 0x2A24, 0x2A25, 0x2A26, 0x2A27, 0x2A28, 0x2A29))
"""Characteristics that hold text: the name, and what the Device Information service says (Assigned Numbers)."""


class Characteristic(msgspec.Struct, frozen=True):
    """One characteristic."""

    uuid: str
    properties: tuple[str, ...]
    key: str
    """What a source would call its temperature; empty for what is none."""
    description: str
    """Its User Description, 0x2901, cleaned. Empty when it has none."""
    format: Format | None
    """Its Presentation Format, 0x2904."""
    value: bytes | None
    """The first value read. None when it cannot be read, or refused."""
    text: str
    """The value as text, cleaned, where the characteristic holds text."""
    packet: Packet | None
    """The last value, decoded by the standards. None for what is no standard temperature or battery."""
    trouble: str
    """Why it was refused, or could not be decoded. Empty when all went well."""
    group: Group | None
    """What it held and sent while it was listened to. None when nothing came."""


class Service(msgspec.Struct, frozen=True):
    """One service."""

    uuid: str
    characteristics: tuple[Characteristic, ...]


class Tree(msgspec.Struct, frozen=True):
    """A whole device."""

    services: tuple[Service, ...]
    left_out: int = 0
    """Characteristics beyond the 256 looked at."""
    lost: str = ""
    """Why the connection ended before all was read."""

    def characteristics(self) -> list[tuple[str, Characteristic]]:
        """List all with the UUID of their service."""
        return [(service.uuid, c) for service in self.services for c in service.characteristics]


class _Node(msgspec.Struct):
    """One characteristic as it is looked at."""

    service: str
    characteristic: BleakGATTCharacteristic
    key: str = ""
    description: str = ""
    format: Format | None = None
    value: bytes | None = None
    trouble: str = ""
    last: bytes | None = None
    last_at: float = float("-inf")
    history: History | None = None

    @property
    def notifies(self) -> bool:
        return bool({"notify", "indicate"} & set(self.characteristic.properties))


class TreeReader:
    """Reads a connected device, then listens to it as often as wanted.

    Args:
        calls: the connection.
        clock: tells Unix seconds UTC.
        heard: called with each value: time, `notify` or `read`, service, characteristic, payload, format, description.
    """

    def __init__(
        self,
        calls: Calls,
        clock: Callable[[], float],
        heard: Callable[[float, Way, str, str, bytes, Format | None, str], None] = lambda *_: None,
    ) -> None:
        self._calls = calls
        self._clock = clock
        self._heard = heard
        self._subscribed = False
        self._lost = ""
        # In the order of the device's own table: the order bleak gives differs from run to run.
        services = sorted(calls.client.services, key=lambda service: service.handle)
        every = [_Node(s.uuid, c) for s in services for c in sorted(s.characteristics, key=lambda one: one.handle)]
        self._nodes, self._left_out = every[:MAX_CHARACTERISTICS], len(every[MAX_CHARACTERISTICS:])

    async def read(self) -> None:
        """Read what every characteristic says of itself, and its first value.

        A connection that ends meanwhile is told by `tree`, with what was read until then.
        """
        try:
            for node in self._nodes:
                await self._read_node(node)
        except LinkError as error:
            self._lost = str(error)
        self._name_keys()

    async def listen(self, seconds: float, stop: asyncio.Event, gone: asyncio.Event) -> None:
        """Collect what is notified, and read again what is not, for some time or until `stop` or `gone` is set.

        What was collected before is forgotten, so that two baths are kept apart.
        """
        for node in self._nodes:
            node.history = None
        if self._lost or stop.is_set():
            return
        asking = asyncio.create_task(self._subscribe_and_read(), name="subscribe, then read again")
        ends = [asyncio.create_task(event.wait(), name="end of listening") for event in (stop, gone)]
        try:
            await asyncio.wait([asking, *ends], timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (asking, *ends):
                task.cancel()
            await asyncio.gather(asking, *ends, return_exceptions=True)
        if not asking.cancelled() and (error := asking.exception()) is not None:
            if not isinstance(error, LinkError):
                raise error
            self._lost = str(error)
        if gone.is_set():
            self._lost = self._lost or "the device ended the connection"

    def tree(self) -> Tree:
        """Give all that is known by now."""
        services: dict[int, list[_Node]] = {}
        for node in self._nodes:
            services.setdefault(node.characteristic.service_handle, []).append(node)
        found = tuple(Service(nodes[0].service, tuple(map(_characteristic, nodes))) for nodes in services.values())
        return Tree(found, self._left_out, self._lost)

    async def _read_node(self, node: _Node) -> None:
        node.format, node.description = await formats(self._calls, node.characteristic)
        if "read" not in node.characteristic.properties:
            return
        try:
            node.value = await self._calls.read(node.characteristic)
        except LinkError as error:
            if error.reason is LinkReason.LOST and not self._calls.client.is_connected:
                raise
            node.trouble = str(error)
        else:
            self._heard(
                self._clock(), "read", node.service, node.characteristic.uuid, node.value, node.format, node.description
            )

    def _name_keys(self) -> None:
        """Name the temperatures as a source names its channels."""
        found = [node for node in self._nodes if is_temperature(node.characteristic.uuid, node.format)]
        keys = channel_keys([(node.characteristic, node.description) for node in found])
        for node, key in zip(found, keys, strict=True):
            node.key = key

    async def _subscribe_and_read(self) -> None:
        """Subscribe to all that notifies, once; then read the rest again and again until cancelled."""
        if not self._subscribed:
            self._subscribed = True
            for node in self._nodes:
                if node.notifies:
                    await self._subscribe(node)
        asked = [n for n in self._nodes if n.value is not None and not n.notifies and not _known(n)]
        while True:
            for node in asked:
                with contextlib.suppress(LinkError):
                    self._take(node, "read", await self._calls.read(node.characteristic))
            await asyncio.sleep(READ_AGAIN_SECONDS)

    async def _subscribe(self, node: _Node) -> None:
        def notified(_: BleakGATTCharacteristic, data: bytearray) -> None:
            payload, now = bytes(data), self._clock()
            if payload != node.last or now - node.last_at >= TWICE_SECONDS:
                node.last, node.last_at = payload, now
                self._take(node, "notify", payload)

        try:
            await self._calls.subscribe(node.characteristic, notified)
        except LinkError as error:
            if not self._calls.client.is_connected:
                raise
            node.trouble = node.trouble or str(error)

    def _take(self, node: _Node, source: Way, payload: bytes) -> None:
        if node.history is None:
            node.history = History(Place(source, node.characteristic.uuid, service=node.service))
        now = self._clock()
        node.history.take(now, payload)
        self._heard(now, source, node.service, node.characteristic.uuid, payload, node.format, node.description)


def _known(node: _Node) -> bool:
    """Tell whether a value is of a kind that holds no temperature to look for."""
    return node.characteristic.uuid in _TEXTS or node.characteristic.uuid == BATTERY_LEVEL


def _characteristic(node: _Node) -> Characteristic:
    uuid = node.characteristic.uuid
    group = node.history.group() if node.history is not None else None
    last = group.last if group is not None else node.value
    packet, trouble = None, node.trouble
    if last is not None and (node.key or uuid == BATTERY_LEVEL):
        try:
            packet = read_characteristic(uuid, last, node.key, node.format)
        except DecodeError as error:
            trouble = trouble or str(error)
    text = label(node.value[:MAX_TEXT_BYTES]) if node.value is not None and uuid in _TEXTS else ""
    return Characteristic(
        uuid, tuple(node.characteristic.properties), node.key, node.description, node.format, node.value, text, packet,
        trouble, group,
    )  # fmt: skip
