"""The fake's connection to the bus, which never outruns the daemon."""

import asyncio
import contextlib
import select
from collections import deque

from dbus_fast import Message, MessageType
from dbus_fast.aio import MessageBus
from dbus_fast.signature import get_signature_tree

__all__ = ["Wire"]

OBJECTS = "org.freedesktop.DBus.ObjectManager"
PROPERTIES = "org.freedesktop.DBus.Properties"
CHANGED = get_signature_tree("sa{sv}as")
PAUSE_SECONDS = 0.001
PING_SECONDS = 10.0


class Wire:
    """Send messages in order while the socket has room, and keep the rest until it has.

    dbus-fast 5.2 closes its connection when a send would block, so nothing is handed to it before `poll` says there
    is room; Linux says so while three quarters of the buffer are free.
    """

    def __init__(self, address: str) -> None:
        self.bus = MessageBus(bus_address=address)
        self._waiting: deque[Message] = deque()
        self._poll = select.poll()
        self._timer: asyncio.TimerHandle | None = None
        self._end: asyncio.Task[None] | None = None

    async def connect(self) -> None:
        await self.bus.connect()
        self._poll.register(self.bus._fd, select.POLLOUT)
        self._end = asyncio.create_task(self._ended(), name="fake bluez wire")

    async def _ended(self) -> None:
        """Take the exception with which a dying daemon ends the connection: nobody else waits for it."""
        with contextlib.suppress(OSError, EOFError):
            await self.bus.wait_for_disconnect()

    @property
    def open(self) -> bool:
        return self.bus.connected

    async def close(self) -> None:
        self._waiting.clear()
        if self._timer is not None:
            self._timer.cancel()
        if self.bus.connected:
            self.bus.disconnect()
        if self._end is not None:
            await self._end

    def send(self, message: Message) -> bool:
        """Send or keep it; False when the connection is closed."""
        if not self.bus.connected:
            return False
        if self._waiting or not self._poll.poll(0):
            self._waiting.append(message)
            self._arm()
        else:
            self._write(message)
        return True

    def changed(self, path: str, interface: str, changed: dict, gone: list[str]) -> bool:
        """Send PropertiesChanged."""
        return self.send(
            Message(
                path=path,
                interface=PROPERTIES,
                member="PropertiesChanged",
                message_type=MessageType.SIGNAL,
                signature=CHANGED,
                body=[interface, changed, gone],
                validate=False,
            )
        )

    def added(self, path: str, interfaces: dict) -> bool:
        return self.send(Message.new_signal("/", OBJECTS, "InterfacesAdded", "oa{sa{sv}}", [path, interfaces]))

    def removed(self, path: str, interfaces: list[str]) -> bool:
        return self.send(Message.new_signal("/", OBJECTS, "InterfacesRemoved", "oas", [path, interfaces]))

    async def room(self) -> None:
        """Wait until nothing is kept back any more, and give others a turn."""
        await asyncio.sleep(0)
        while self._waiting and self.open:
            await asyncio.sleep(PAUSE_SECONDS)

    async def drained(self) -> None:
        """Wait until every client on the bus has worked through what was sent so far.

        Each is asked for a sign of life, which it gets after all that; one that gives none is not waited for long.
        """
        await self.room()
        if not self.open:
            return
        with contextlib.suppress(OSError, EOFError, TimeoutError):
            async with asyncio.timeout(PING_SECONDS):
                names = (await self.bus.call(self.to_daemon("ListNames"))).body[0]
                others = [name for name in names if name.startswith(":") and name != self.bus.unique_name]
                await asyncio.gather(*(self.bus.call(_ping(name)) for name in others), return_exceptions=True)

    @staticmethod
    def to_daemon(member: str, signature: str = "", body: list | None = None) -> Message:
        return Message(
            destination="org.freedesktop.DBus",
            path="/org/freedesktop/DBus",
            interface="org.freedesktop.DBus",
            member=member,
            signature=signature,
            body=body or [],
        )

    def _write(self, message: Message) -> None:
        with contextlib.suppress(OSError):  # its socket is closed already, though nobody was told yet
            sent = self.bus.send(message)
            if sent.done():
                sent.exception()  # a connection that just died; retrieved so that asyncio does not complain of it

    def _arm(self) -> None:
        if self._timer is None:
            self._timer = asyncio.get_running_loop().call_later(PAUSE_SECONDS, self._flush)

    def _flush(self) -> None:
        self._timer = None
        while self._waiting and self.bus.connected and self._poll.poll(0):
            self._write(self._waiting.popleft())
        if not self.bus.connected:
            self._waiting.clear()
        elif self._waiting:
            self._arm()


def _ping(name: str) -> Message:
    return Message(destination=name, path="/", interface="org.freedesktop.DBus.Peer", member="Ping")
