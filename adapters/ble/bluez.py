"""What BlueZ says of itself, on a D-Bus connection of our own.

bleak tells neither when the Bluetooth service goes and comes back, nor when an adapter is switched off: a scan is then
silent for ever and a link looks alive. So whoever scans watches these here, and asks here why Bluetooth does not work.
"""

import asyncio
import contextlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
from dbus_fast import BusType, Message, MessageType
from dbus_fast.aio import MessageBus
from dbus_fast.auth import AuthExternal
from dbus_fast.errors import AuthError, DBusFastError

from adapters.errors import LinkError, LinkReason

__all__ = ["BluezWatch", "Known", "advert_fields"]

SERVICE = "org.bluez"
ADAPTER = "org.bluez.Adapter1"
DEVICE = "org.bluez.Device1"
PROPERTIES = "org.freedesktop.DBus.Properties"
OBJECTS = "org.freedesktop.DBus.ObjectManager"
CALL_SECONDS = 5.0
RFKILL = Path("/sys/class/rfkill")


class Known(msgspec.Struct, frozen=True):
    """A device as BlueZ knew it when it was asked."""

    address: str
    name: str | None
    path: str
    properties: dict[str, Any]

    @property
    def connected(self) -> bool:
        """Whether BlueZ holds a connection to it, so that it does not advertise."""
        return bool(self.properties.get("Connected"))

    @property
    def service_data(self) -> dict[str, bytes]:
        """What it last advertised, by full UUID."""
        return {uuid: bytes(data.value) for uuid, data in self.properties.get("ServiceData", {}).items()}

    @property
    def manufacturer_data(self) -> dict[int, bytes]:
        """What it last advertised, by company identifier."""
        return {company: bytes(data.value) for company, data in self.properties.get("ManufacturerData", {}).items()}


def advert_fields(platform_data: tuple[Any, ...]) -> tuple[bool, bool, object, object] | None:
    """Read what bleak passes on beside the advertisement: random address, connected, service and manufacturer data.

    bleak calls back on *any* change of a device, with all that was ever heard of it. The two data are given as bleak
    keeps them: the same object as in the call before was not sent again, so it is old. None where there is no BlueZ.
    """
    if len(platform_data) != 2 or not isinstance(platform_data[1], dict):
        return None
    get = platform_data[1].get
    return get("AddressType") == "random", bool(get("Connected")), get("ServiceData"), get("ManufacturerData")


class BluezWatch:
    """One connection to the system bus, watching BlueZ for whatever ends a scan or a link without a word."""

    def __init__(self, bus: MessageBus, upset: Callable[[bool], None]) -> None:
        self.disturbed = asyncio.Event()
        """Set when BlueZ came or went, an adapter changed its power or is gone, or the bus died."""
        self.bus_died = False
        self._bus = bus
        self._upset = upset
        self._closing = False
        self._adapter = ""
        self._life = asyncio.create_task(self._until_dead(), name="watch the system bus")

    @classmethod
    async def open(cls, upset: Callable[[bool], None] = lambda _: None) -> "BluezWatch":
        """Connect to the system bus and begin to watch.

        Args:
            upset: called at once at whatever ends scans and links, with whether the bus itself died.

        Raises:
            LinkError: there is no bus, or it refuses us.
        """
        uid = os.environ.get("BLEAK_DBUS_AUTH_UID")
        auth = AuthExternal(uid=int(uid)) if uid and uid.isdigit() else AuthExternal()
        bus: MessageBus | None = None
        try:
            bus = MessageBus(bus_type=BusType.SYSTEM, auth=auth, auth_timeout=CALL_SECONDS)
            async with asyncio.timeout(CALL_SECONDS):
                await bus.connect()
        except (PermissionError, AuthError) as error:
            _drop(bus)
            raise LinkError(LinkReason.BUS_REFUSED, str(error)) from error
        except (OSError, EOFError, DBusFastError) as error:  # TimeoutError is an OSError
            _drop(bus)
            raise LinkError(LinkReason.NO_BUS, str(error) or type(error).__name__) from error
        watch = cls(bus, upset)
        try:
            await watch._subscribe()
        except LinkError:
            await watch.close()
            raise
        return watch

    async def _subscribe(self) -> None:
        self._bus.add_message_handler(self._hear)
        for rule in (
            f"type='signal',sender='org.freedesktop.DBus',member='NameOwnerChanged',arg0='{SERVICE}'",
            f"type='signal',sender='{SERVICE}',interface='{PROPERTIES}',arg0='{ADAPTER}'",
            f"type='signal',sender='{SERVICE}',interface='{OBJECTS}',member='InterfacesRemoved'",
        ):
            await self._call("org.freedesktop.DBus", "/org/freedesktop/DBus", "org.freedesktop.DBus", "AddMatch", rule)

    def _hear(self, message: Message) -> None:
        if message.message_type is not MessageType.SIGNAL:
            return
        if message.member == "NameOwnerChanged" and message.body[:1] == [SERVICE]:
            self._disturb()
        elif message.member == "PropertiesChanged" and message.body[:1] == [ADAPTER]:
            if message.path == self._adapter and "Powered" in message.body[1]:
                self._disturb()
        elif message.member == "InterfacesRemoved":
            path, interfaces = message.body
            if path == self._adapter and ADAPTER in interfaces:
                self._disturb()

    def _disturb(self) -> None:
        self.disturbed.set()
        self._upset(self.bus_died)

    async def _until_dead(self) -> None:
        # Whatever ended the connection, it is ended.
        with contextlib.suppress(Exception):
            await self._bus.wait_for_disconnect()  # type: ignore[no-untyped-call]
        self.bus_died = True
        if not self._closing:
            self._disturb()

    async def _call(self, to: str, path: str, interface: str, member: str, *texts: str) -> list[Any]:
        """Call a method whose arguments are texts; return what it gives.

        Raises:
            LinkError: it refuses, does not answer, or the bus is gone.
        """
        message = Message(
            destination=to, path=path, interface=interface, member=member, signature="s" * len(texts), body=list(texts)
        )
        try:
            async with asyncio.timeout(CALL_SECONDS):
                reply = await self._bus.call(message)
        except TimeoutError as error:
            raise LinkError(LinkReason.NO_BLUETOOTH, f"{member} was not answered in {CALL_SECONDS:g} s") from error
        except (OSError, EOFError, DBusFastError) as error:
            raise LinkError(LinkReason.NO_BUS, str(error) or type(error).__name__) from error
        if reply is None or reply.message_type is MessageType.ERROR:
            name = (reply.error_name if reply is not None else None) or "no reply"
            refused = name.endswith(("AccessDenied", "AuthFailed"))
            said = " ".join(str(word) for word in reply.body) if reply is not None else ""
            raise LinkError(LinkReason.BUS_REFUSED if refused else LinkReason.NO_BLUETOOTH, f"{name} {said}".strip())
        return list(reply.body)

    async def _objects(self) -> dict[str, dict[str, dict[str, Any]]]:
        (found,) = await self._call(SERVICE, "/", OBJECTS, "GetManagedObjects")
        return {
            path: {
                interface: {name: variant.value for name, variant in properties.items()}
                for interface, properties in interfaces.items()
                if interface in (ADAPTER, DEVICE)
            }
            for path, interfaces in found.items()
        }

    async def adapter(self, wanted: str = "") -> str:
        """Find the adapter to use, and watch it: the wanted one, else the first that is on.

        Returns:
            Its name, `hci0`.

        Raises:
            LinkError: why Bluetooth cannot be used.
        """
        self.disturbed.clear()
        bus = "org.freedesktop.DBus"
        (owned,) = await self._call(bus, "/org/freedesktop/DBus", bus, "NameHasOwner", SERVICE)
        if not owned:
            raise LinkError(LinkReason.NO_BLUETOOTH, f"nobody is {SERVICE} on the system bus")
        found = {
            path.rpartition("/")[2]: interfaces[ADAPTER]
            for path, interfaces in sorted((await self._objects()).items())
            if ADAPTER in interfaces
        }
        names = ", ".join(found) or "none"
        if wanted and wanted not in found:
            raise LinkError(LinkReason.NO_ADAPTER, f"no {wanted}; there is {names}")
        able = {
            n: a for n, a in found.items() if n == wanted or (not wanted and "central" in a.get("Roles", ["central"]))
        }
        if not able:
            raise LinkError(LinkReason.NO_ADAPTER, f"there is {names}" + (", which cannot scan" if found else ""))
        name = next((n for n, a in able.items() if a.get("Powered")), next(iter(able)))
        self._adapter = f"/org/bluez/{name}"
        if not able[name].get("Powered"):
            blocked = "blocked" in str(able[name].get("PowerState", "")) or await asyncio.to_thread(_is_blocked, RFKILL)
            raise LinkError(LinkReason.BLOCKED if blocked else LinkReason.POWERED_OFF, name)
        return name

    async def devices(self, adapter: str) -> list[Known]:
        """List the devices BlueZ knows at an adapter: those left connected, and those whose last data it still holds.

        Raises:
            LinkError: BlueZ does not answer.
        """
        under = f"/org/bluez/{adapter}/"
        return [
            Known(device["Address"], device.get("Name"), path, device)
            for path, interfaces in (await self._objects()).items()
            if path.startswith(under) and (device := interfaces.get(DEVICE)) and "Address" in device
        ]

    async def close(self) -> None:
        """Let go of the bus."""
        self._closing = True
        self._life.cancel()
        await asyncio.gather(self._life, return_exceptions=True)
        _drop(self._bus)


def _drop(bus: MessageBus | None) -> None:
    """Disconnect, whatever state the connection is in."""
    if bus is not None:
        with contextlib.suppress(Exception):
            bus.disconnect()


def _is_blocked(folder: Path) -> bool:
    """Tell whether the kernel blocks all Bluetooth radios, by a key or by command (rfkill)."""
    blocked = []
    for switch in folder.glob("rfkill*"):
        with contextlib.suppress(OSError):
            if (switch / "type").read_text().strip() == "bluetooth":
                blocked.append(any((switch / kind).read_text().strip() == "1" for kind in ("soft", "hard")))
    return bool(blocked) and all(blocked)
