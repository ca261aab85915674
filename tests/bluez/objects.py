"""What everything on BlueZ's object tree shares: a path, interfaces of properties, methods by name."""

import functools
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from dbus_fast import Message, Variant

if TYPE_CHECKING:
    from tests.bluez.fake import FakeBluez

__all__ = ["FAILED", "IN_PROGRESS", "NOT_READY", "Node", "RefusedError", "full_uuid"]

BASE_UUID = "0000{}-0000-1000-8000-00805f9b34fb"
FAILED = "org.bluez.Error.Failed"
IN_PROGRESS = "org.bluez.Error.InProgress"
NOT_READY = "org.bluez.Error.NotReady"
DOES_NOT_EXIST = "org.bluez.Error.DoesNotExist"
NOT_PERMITTED = "org.bluez.Error.NotPermitted"
NOT_SUPPORTED = "org.bluez.Error.NotSupported"
BUSY = (IN_PROGRESS, "Operation already in progress")

Properties = dict[str, Variant]
Answer = tuple[str, list[Any]] | None
"""Signature and body of a method's reply; None where it has none."""


class RefusedError(Exception):
    """The D-Bus error a method ends with."""

    def __init__(self, name: str, text: str) -> None:
        super().__init__(f"{name}: {text}")
        self.name, self.text = name, text


@functools.cache
def full_uuid(uuid: str) -> str:
    """Expand a 16-bit UUID such as `fff0`; a full one is only lowered."""
    return BASE_UUID.format(uuid.lower()) if len(uuid) == 4 else uuid.lower()


class Node:
    """One object. It is on the tree, so seen by clients, between `publish` and `unpublish`."""

    def __init__(self, fake: "FakeBluez", path: str, interface: str, properties: Properties) -> None:
        self.fake, self.path, self.interface = fake, path, interface
        self.properties = properties
        self.interfaces: dict[str, Properties] = {interface: properties}
        self.methods: dict[str, Callable[[Message], Answer]] = {}

    @property
    def published(self) -> bool:
        return self.fake.nodes.get(self.path) is self

    def publish(self) -> None:
        if not self.published:
            self.fake.nodes[self.path] = self
            self.fake.tree[self.path] = self.interfaces
            self.fake.wire_added(self.path, self.interfaces)

    def unpublish(self, *, silent: bool = False) -> None:
        """Take it off the tree; `silent` as when bluetoothd dies: without InterfacesRemoved."""
        if self.published:
            del self.fake.nodes[self.path], self.fake.tree[self.path]
            if not silent:
                self.fake.wire_removed(self.path, list(self.interfaces))

    def change(self, changed: Properties, gone: tuple[str, ...] = ()) -> bool:
        """Alter properties of the main interface; tell whether a signal went out."""
        self.properties.update(changed)
        lost = [name for name in gone if self.properties.pop(name, None) is not None]
        return bool(changed or lost) and self.published and self.fake.wire_changed(self, changed, lost)

    def touch(self, name: str = "Trusted") -> bool:
        """Announce a property with the value it has: clients run their callbacks with what they remember."""
        return self.change({name: self.properties[name]})
