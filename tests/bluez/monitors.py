"""Passive scanning: the monitors clients have registered at an adapter."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dbus_fast import Message, MessageFlag

from tests.bluez.objects import DOES_NOT_EXIST, Answer, RefusedError
from tests.bluez.payload import Payload

if TYPE_CHECKING:
    from tests.bluez.fake import FakeBluez

__all__ = ["MANAGER", "Monitor", "Monitors"]

MANAGER = "org.bluez.AdvertisementMonitorManager1"
MONITOR = "org.bluez.AdvertisementMonitor1"


@dataclass
class Monitor:
    """One monitor object of a client."""

    sender: str
    path: str
    patterns: list[tuple[int, int, bytes]]
    """Start position, AD type, content; one of them must fit."""
    found: set[str] = field(default_factory=set)
    """Paths of the devices it was told of."""

    def fits(self, structures: Iterable[tuple[int, bytes]]) -> bool:
        return any(
            kind == wanted and data[at : at + len(content)] == content
            for kind, data in structures
            for at, wanted, content in self.patterns
        )


class Monitors:
    """All of one adapter. A client registers a root path first and shows the monitor below or at it afterwards."""

    def __init__(self, fake: "FakeBluez") -> None:
        self._fake = fake
        self._roots: set[tuple[str, str]] = set()
        self.active: list[Monitor] = []

    def register(self, message: Message) -> Answer:
        root = message.body[0]
        self._roots.add((message.sender, root))
        # Before the reply goes out, so that the signal which follows it is not missed.
        rule = f"type='signal',sender='{message.sender}',member='InterfacesAdded',path_namespace='{root}'"
        self._fake.listen(rule)
        return None

    def unregister(self, message: Message) -> Answer:
        key = (message.sender, message.body[0])
        if key not in self._roots:
            raise RefusedError(DOES_NOT_EXIST, "Does Not Exist")
        self._roots.discard(key)
        self.active = [m for m in self.active if m.sender != key[0] or not _below(m.path, key[1])]
        return None

    def shown(self, sender: str, path: str, interfaces: dict) -> None:
        """Take a monitor a client has put on its tree, if it has registered the place."""
        if MONITOR in interfaces and any(s == sender and _below(path, root) for s, root in self._roots):
            patterns = [(at, kind, bytes(content)) for at, kind, content in interfaces[MONITOR]["Patterns"].value]
            self.active.append(Monitor(sender, path, patterns))
            self._tell(sender, path, "Activate")

    def matching(self, payload: Payload) -> list[Monitor]:
        if not self.active:
            return []
        structures = payload.structures()
        return [m for m in self.active if m.fits(structures)]

    def found(self, monitors: list[Monitor], device: str) -> None:
        """Call DeviceFound, once per monitor and device."""
        for monitor in monitors:
            if device not in monitor.found:
                monitor.found.add(device)
                self._tell(monitor.sender, monitor.path, "DeviceFound", "o", [device])

    def gone(self, sender: str) -> None:
        """Drop a client's monitors."""
        self._roots = {root for root in self._roots if root[0] != sender}
        self.active = [m for m in self.active if m.sender != sender]

    def clear(self) -> None:
        self._roots.clear()
        self.active.clear()

    def _tell(self, sender: str, path: str, member: str, signature: str = "", body: list | None = None) -> None:
        self._fake.send(
            Message(
                destination=sender,
                path=path,
                interface=MONITOR,
                member=member,
                signature=signature,
                body=body or [],
                flags=MessageFlag.NO_REPLY_EXPECTED,
            )
        )


def _below(path: str, root: str) -> bool:
    return path == root or path.startswith(root.rstrip("/") + "/")
