"""Services, characteristics and descriptors of a fake device."""

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from dbus_fast import Message, Variant

from tests.bluez.objects import FAILED, NOT_PERMITTED, NOT_SUPPORTED, Answer, Node, RefusedError, full_uuid

if TYPE_CHECKING:
    from tests.bluez.device import Device

__all__ = ["Characteristic", "Descriptor", "Gatt", "Service"]

Value = bytes | Callable[[], bytes]
NOT_CONNECTED = (FAILED, "Not connected")


class Gatt:
    """A device's table. BlueZ shows it once services are resolved and keeps it until the device is removed."""

    def __init__(self, device: "Device") -> None:
        self.device = device
        self.services: list[Service] = []
        self._handle = 9

    def add_service(self, uuid: str, primary: bool = True) -> "Service":
        service = Service(self, f"{self.device.path}/service{self.handle():04x}", uuid, primary)
        self.services.append(service)
        return service

    def handle(self) -> int:
        self._handle += 1
        return self._handle

    def nodes(self) -> list[Node]:
        """Parents before children, as BlueZ announces them."""
        found: list[Node] = []
        for service in self.services:
            found.append(service)
            for characteristic in service.characteristics:
                found += [characteristic, *characteristic.descriptors]
        return found

    def characteristics(self) -> list["Characteristic"]:
        return [c for service in self.services for c in service.characteristics]

    def publish(self) -> None:
        for node in self.nodes():
            node.publish()

    def unpublish(self, *, silent: bool = False) -> None:
        for node in reversed(self.nodes()):
            node.unpublish(silent=silent)

    def clear(self) -> None:
        """Forget the table, as after a firmware update; what is added next gets new handles."""
        self.unpublish()
        self.services.clear()


class Service(Node):
    """One service."""

    def __init__(self, gatt: Gatt, path: str, uuid: str, primary: bool) -> None:
        self.gatt, self.uuid = gatt, full_uuid(uuid)
        self.characteristics: list[Characteristic] = []
        properties = {
            "UUID": Variant("s", self.uuid),
            "Primary": Variant("b", primary),
            "Device": Variant("o", gatt.device.path),
            "Includes": Variant("ao", []),
        }
        super().__init__(gatt.device.fake, path, "org.bluez.GattService1", properties)

    def add_characteristic(
        self, uuid: str, *, flags: Iterable[str] = ("read", "notify"), value: Value = b""
    ) -> "Characteristic":
        made = Characteristic(self, f"{self.path}/char{self.gatt.handle():04x}", uuid, list(flags), value)
        self.characteristics.append(made)
        if self.published:
            made.publish()
        return made


class Attribute(Node):
    """What a characteristic and a descriptor share: a value that is read and written.

    `value` is what the device answers, bytes or a function giving them; `reads` counts, `writes` keeps.
    """

    def __init__(self, service: Service, path: str, interface: str, flags: list[str], value: Value) -> None:
        self.device, self.flags, self.value = service.gatt.device, flags, value
        self.reads = 0
        self.writes: list[bytes] = []
        super().__init__(
            self.device.fake, path, interface, {"Flags": Variant("as", flags), "Value": Variant("ay", b"")}
        )
        self.methods = {"ReadValue": self._read, "WriteValue": self._write}

    def _read(self, message: Message) -> Answer:
        self.need_link()
        if "read" not in self.flags:
            raise RefusedError(NOT_PERMITTED, "Read not permitted")
        self.reads += 1
        value = self.value() if callable(self.value) else self.value
        options = message.body[0] if message.body else {}
        self.change({"Value": Variant("ay", value)})  # BlueZ tells all clients of a read's result
        return "ay", [value[options["offset"].value :] if "offset" in options else value]

    def _write(self, message: Message) -> Answer:
        self.need_link()
        if not {"write", "write-without-response"} & set(self.flags):
            raise RefusedError(NOT_PERMITTED, "Write not permitted")
        self.writes.append(bytes(message.body[0]))
        return None

    def need_link(self) -> None:
        if not self.device.connected:
            raise RefusedError(*NOT_CONNECTED)


class Characteristic(Attribute):
    """One characteristic; `listeners` are the connections that asked for notifications."""

    def __init__(self, service: Service, path: str, uuid: str, flags: list[str], value: Value) -> None:
        super().__init__(service, path, "org.bluez.GattCharacteristic1", flags, value)
        self.uuid, self.service = full_uuid(uuid), service
        self.descriptors: list[Descriptor] = []
        self.listeners: set[str] = set()
        self.properties["UUID"] = Variant("s", self.uuid)
        self.properties["Service"] = Variant("o", service.path)
        self.properties["MTU"] = Variant("q", 247)
        if {"notify", "indicate"} & set(flags):
            self.properties["Notifying"] = Variant("b", False)
        self.methods |= {"StartNotify": self._start, "StopNotify": self._stop}

    def add_descriptor(self, uuid: str, value: Value) -> "Descriptor":
        made = Descriptor(self, f"{self.path}/desc{self.service.gatt.handle():04x}", uuid, value)
        self.descriptors.append(made)
        if self.published:
            made.publish()
        return made

    @property
    def notifying(self) -> bool:
        return bool(self.listeners) and self.device.connected

    def notify(self, value: bytes) -> bool:
        """Send a notification; False when nobody listens, the link is down or the device mute."""
        if not self.listeners or not self.device.connected or self.device.muted:
            return False
        variant = Variant("ay", value, verify=False)
        self.properties["Value"] = variant
        return self.fake.wire_changed(self, {"Value": variant}, [])

    def notify_twice(self, value: bytes) -> bool:
        """Send one notification twice, as BlueZ sometimes does after a reconnect."""
        return self.notify(value) and self.notify(value)

    def quiet(self, sender: str | None = None) -> None:
        """End one connection's notifications, or everybody's."""
        had = bool(self.listeners)
        self.listeners = self.listeners - {sender} if sender else set()
        if had and not self.listeners:
            self.change({"Notifying": Variant("b", False)})

    def _start(self, message: Message) -> Answer:
        self.need_link()
        if "Notifying" not in self.properties:
            raise RefusedError(NOT_SUPPORTED, "Operation is not supported")
        if not self.listeners:
            self.change({"Notifying": Variant("b", True)})
        self.listeners.add(message.sender)
        return None

    def _stop(self, message: Message) -> Answer:
        if message.sender not in self.listeners:
            raise RefusedError(FAILED, "No notify session started")
        self.quiet(message.sender)
        return None


class Descriptor(Attribute):
    """One descriptor; readable."""

    def __init__(self, characteristic: Characteristic, path: str, uuid: str, value: Value) -> None:
        super().__init__(characteristic.service, path, "org.bluez.GattDescriptor1", ["read"], value)
        self.uuid = full_uuid(uuid)
        self.properties["UUID"] = Variant("s", self.uuid)
        self.properties["Characteristic"] = Variant("o", characteristic.path)
