"""An adapter: discovery sessions, power, the devices in its reach."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dbus_fast import Message, Variant

from tests.bluez.device import Device
from tests.bluez.monitors import MANAGER, Monitors
from tests.bluez.objects import BUSY, DOES_NOT_EXIST, FAILED, NOT_READY, Answer, Node, RefusedError, full_uuid
from tests.bluez.payload import Payload

if TYPE_CHECKING:
    from tests.bluez.fake import FakeBluez

__all__ = ["Adapter", "Filter"]

RSSI_STEP_DB = 8  # RSSI_THRESHOLD in BlueZ's src/device.c
BLOCKED = "off-blocked"


@dataclass(frozen=True, slots=True)
class Filter:
    """One client's discovery filter; the defaults are those of a client that set none."""

    duplicate_data: bool = False
    rssi: int | None = None
    uuids: frozenset[str] = frozenset()
    pattern: str = ""

    @classmethod
    def of(cls, given: dict[str, Any]) -> "Filter":
        values = {key: variant.value for key, variant in given.items()}
        return cls(
            bool(values.get("DuplicateData", False)),
            values.get("RSSI"),
            frozenset(full_uuid(uuid) for uuid in values.get("UUIDs", ())),
            values.get("Pattern", ""),
        )

    @property
    def of_services(self) -> bool:
        """Whether BlueZ runs a service discovery for it, in which every RSSI counts as new."""
        return self.rssi is not None or bool(self.uuids)

    def admits(self, payload: Payload, address: str) -> bool:
        if self.rssi is not None and payload.rssi < self.rssi:
            return False
        if self.uuids and self.uuids.isdisjoint(payload.uuids):
            return False
        return address.startswith(self.pattern) or (payload.name or "").startswith(self.pattern)


class Adapter(Node):
    """One adapter.

    Attributes:
        sessions: the running discoveries, each connection's filter.
        max_links: how many devices it connects to at once; None: any number.
        links_refusal: what a Connect beyond that fails with.
    """

    def __init__(
        self,
        fake: "FakeBluez",
        name: str,
        *,
        address: str = "00:1A:7D:DA:71:13",
        powered: bool | None = None,
        power_state: str = "on",
        roles: Iterable[str] = ("central", "peripheral"),
        advertisement_monitor: bool = True,
    ) -> None:
        self.name = name
        self.max_links: int | None = None
        self.links_refusal = "Too many links"
        self.sessions: dict[str, Filter] = {}
        self.filters: dict[str, Filter] = {}
        self.devices: dict[str, Device] = {}
        self.monitors = Monitors(fake)
        self.duplicate_data, self.rssi_step_db = False, RSSI_STEP_DB
        if powered is not None:
            power_state = "on" if powered else "off"
        properties = {
            "Address": Variant("s", address),
            "AddressType": Variant("s", "public"),
            "Name": Variant("s", "fake"),
            "Alias": Variant("s", "fake"),
            "Class": Variant("u", 0),
            "Powered": Variant("b", power_state == "on"),
            "PowerState": Variant("s", power_state),
            "Discoverable": Variant("b", False),
            "Pairable": Variant("b", False),
            "Discovering": Variant("b", False),
            "UUIDs": Variant("as", []),
            "Roles": Variant("as", list(roles)),
        }
        super().__init__(fake, f"/org/bluez/{name}", "org.bluez.Adapter1", properties)
        self.methods = {
            "SetDiscoveryFilter": self._set_filter,
            "StartDiscovery": self._start,
            "StopDiscovery": self._stop,
            "RemoveDevice": self._remove_device,
        }
        if advertisement_monitor:
            self.interfaces[MANAGER] = {
                "SupportedMonitorTypes": Variant("as", ["or_patterns"]),
                "SupportedFeatures": Variant("as", []),
            }
            self.methods |= {"RegisterMonitor": self.monitors.register, "UnregisterMonitor": self.monitors.unregister}

    # --- what a test does to it

    def add_device(self, address: str, **what: Any) -> Device:
        """Put a device in reach; see `Device` for the arguments: name, address_type, services, known."""
        device = self.devices[address.upper()] = Device(self, address, **what)
        if device.known and self.published:
            device.publish()
        return device

    def power(self, on: bool, state: str | None = None) -> None:
        """Switch it on or off. Off ends discoveries and links; on brings none of them back."""
        if not on:
            for device in self.devices.values():
                device.drop_link()
            self._end_sessions()
        state = state or ("on" if on else "off")
        self.change({"Powered": Variant("b", on), "PowerState": Variant("s", state)})

    def remove(self) -> None:
        """Pull it out: the adapter and every device below it vanish."""
        for device in self.devices.values():
            device.vanish()
        self._reset()
        self.unpublish()

    def insert(self) -> None:
        """Plug it in again."""
        self.publish()
        for device in self.devices.values():
            if device.known:
                device.publish()

    def forget(self) -> None:
        """Lose all state without a word, as when bluetoothd dies."""
        for device in self.devices.values():
            device.forget()
        self._reset()
        self.unpublish(silent=True)

    def links(self) -> list[Device]:
        return [device for device in self.devices.values() if device.connected]

    @property
    def powered(self) -> bool:
        return bool(self.properties["Powered"].value)

    @property
    def discovering(self) -> bool:
        return bool(self.sessions)

    # --- what its devices ask

    @property
    def listening(self) -> bool:
        """Whether adverts are received at all."""
        return bool(self.sessions or self.monitors.active) and self.powered and self.published

    def admits(self, payload: Payload, address: str) -> bool:
        """Whether any client's discovery wants this advert."""
        return any(f.admits(payload, address) for f in self.sessions.values())

    def need_power(self) -> None:
        if not self.powered:
            raise RefusedError(NOT_READY, "Resource Not Ready")

    def client_gone(self, sender: str) -> None:
        """End what a connection had started, except links: BlueZ keeps those."""
        self.monitors.gone(sender)
        self.filters.pop(sender, None)
        if sender in self.sessions:
            self._end_session(sender)
        for device in self.devices.values():
            for characteristic in device.gatt.characteristics():
                if sender in characteristic.listeners:
                    characteristic.quiet(sender)

    # --- methods

    def _set_filter(self, message: Message) -> Answer:
        self.need_power()
        given = message.body[0]
        if given:
            self.filters[message.sender] = Filter.of(given)
        else:
            self.filters.pop(message.sender, None)
        if message.sender in self.sessions:
            self.sessions[message.sender] = self.filters.get(message.sender, Filter())
            self._merge()
        return None

    def _start(self, message: Message) -> Answer:
        self.need_power()
        if message.sender in self.sessions:
            raise RefusedError(*BUSY)
        self.sessions[message.sender] = self.filters.get(message.sender, Filter())
        self._merge()
        if len(self.sessions) == 1:
            self.change({"Discovering": Variant("b", True)})
        return None

    def _stop(self, message: Message) -> Answer:
        self.need_power()
        if message.sender not in self.sessions:
            raise RefusedError(FAILED, "No discovery started")
        self._end_session(message.sender)
        return None

    def _remove_device(self, message: Message) -> Answer:
        device = self.fake.nodes.get(message.body[0])
        if not isinstance(device, Device) or device.adapter is not self:
            raise RefusedError(DOES_NOT_EXIST, "Does Not Exist")
        device.drop_link()
        device.remove()
        return None

    def set_property(self, name: str, value: Variant) -> None:
        """Carry out Properties.Set."""
        if name != "Powered":
            self.change({name: value})
        elif value.value and self.properties["PowerState"].value == BLOCKED:
            raise RefusedError(FAILED, "Blocked through rfkill")
        else:
            self.power(bool(value.value))

    def _end_session(self, sender: str) -> None:
        del self.sessions[sender]
        self._merge()
        if not self.sessions:
            self._ended()

    def _end_sessions(self) -> None:
        self.filters.clear()
        if self.sessions:
            self.sessions.clear()
            self._merge()
            self._ended()

    def _ended(self) -> None:
        for device in self.devices.values():
            device.withdraw()
        self.change({"Discovering": Variant("b", False)})

    def _merge(self) -> None:
        filters = self.sessions.values()
        self.duplicate_data = any(f.duplicate_data for f in filters)
        self.rssi_step_db = 0 if filters and all(f.of_services for f in filters) else RSSI_STEP_DB

    def _reset(self) -> None:
        self.sessions.clear()
        self.filters.clear()
        self.monitors.clear()
        self._merge()
        self.properties["Discovering"] = Variant("b", False)
