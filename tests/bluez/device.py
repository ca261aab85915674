"""A device in the air: what it advertises, by BlueZ's rules, and its link."""

import asyncio
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from dbus_fast import Message, Variant

from tests.bluez.gatt import Gatt
from tests.bluez.objects import FAILED, Answer, Node, Properties, RefusedError, full_uuid
from tests.bluez.payload import Payload

if TYPE_CHECKING:
    from tests.bluez.adapter import Adapter

__all__ = ["Device"]

COMPANY, SERVICE = "ManufacturerData", "ServiceData"


class Device(Node):
    """One device. It is in the air from the start and on the tree from its first advert, or always if `known`.

    Attributes:
        connected, muted: state of the link.
        resolves: whether services are ever resolved after a connect.
        resolve_seconds: how long that takes.
        rearms_notify: whether BlueZ listens again for connections that did before the link was lost.
    """

    def __init__(
        self,
        adapter: "Adapter",
        address: str,
        *,
        name: str | None = None,
        address_type: str = "public",
        services: Iterable[str] = (),
        known: bool = False,
    ) -> None:
        self.adapter, self.address, self.name = adapter, address.upper(), name
        self.address_type, self.known = address_type, known
        self.services = tuple(full_uuid(uuid) for uuid in services)
        self.connected = self.muted = self.rearms_notify = False
        self.resolves, self.resolve_seconds = True, 0.0
        self.connecting: Message | None = None
        self._timer: asyncio.Handle | None = None
        self._heard: dict[str, dict] = {COMPANY: {}, SERVICE: {}}
        self._parked: dict[str, set[str]] = {}
        path = f"{adapter.path}/dev_{self.address.replace(':', '_')}"
        super().__init__(adapter.fake, path, "org.bluez.Device1", {})
        self.properties.update(self._fresh())
        self.gatt = Gatt(self)
        self.methods = {"Connect": self._connect, "Disconnect": self._disconnect}

    # --- adverts

    def advertise(
        self,
        rssi: int = -60,
        service_data: Mapping[str, bytes] | None = None,
        manufacturer_data: Mapping[int, bytes] | None = None,
        uuids: Iterable[str] | None = None,
        *,
        name: str | None = None,
        tx_power: int | None = None,
    ) -> bool:
        """Send one advert; tell whether BlueZ made a signal of it.

        `uuids` and `name` are the device's own where not given.
        """
        if not self.adapter.listening:
            return False
        payload = Payload(
            rssi,
            {full_uuid(uuid): data for uuid, data in service_data.items()} if service_data else {},
            dict(manufacturer_data) if manufacturer_data else {},
            tuple(full_uuid(uuid) for uuid in uuids) if uuids is not None else self.services,
            name if name is not None else self.name,
            tx_power,
        )
        matched = self.adapter.monitors.matching(payload)
        if not matched and not self.adapter.admits(payload, self.address):
            return False
        changed = self._changes(payload, self.adapter.duplicate_data, self.adapter.rssi_step_db)
        if self.published:
            told = bool(changed) and self.change(changed)
        else:
            self.properties.update(changed)
            self.publish()
            told = True
        if matched:
            self.adapter.monitors.found(matched, self.path)
        return told

    def withdraw(self) -> bool:
        """Take RSSI and TxPower back, as BlueZ does for every device when the last discovery stops."""
        return self.change({}, ("RSSI", "TxPower"))

    def remove(self) -> None:
        """Drop the device as BlueZ does 30 s after the last advert, or on RemoveDevice; the next advert finds it anew.

        A link ends without a word. BlueZ does not remember the device any more, even if it was `known`.
        """
        self.known = False
        self.vanish()

    def vanish(self) -> None:
        """Leave the tree, with InterfacesRemoved, as when the adapter is pulled out."""
        self.gatt.unpublish()
        self.unpublish()
        self.forget()

    def forget(self) -> None:
        """Return to the state before the first advert, telling nobody."""
        self._end_link()
        self.gatt.unpublish(silent=True)
        self.unpublish(silent=True)
        self.properties.clear()
        self.properties.update(self._fresh())
        self._heard = {COMPANY: {}, SERVICE: {}}
        self._parked.clear()
        self.connecting = None

    def _changes(self, payload: Payload, duplicate: bool, step_db: int) -> Properties:
        changed: Properties = {}
        last = self.properties.get("RSSI")
        if last is None or abs(last.value - payload.rssi) >= step_db:
            changed["RSSI"] = Variant("n", payload.rssi, verify=False)
        if payload.tx_power is not None:
            changed["TxPower"] = Variant("n", payload.tx_power)
        if payload.name is not None and (
            "Name" not in self.properties or self.properties["Name"].value != payload.name
        ):
            changed["Name"] = changed["Alias"] = Variant("s", payload.name)
        if fresh := [uuid for uuid in payload.uuids if uuid not in self.properties["UUIDs"].value]:
            changed["UUIDs"] = Variant("as", self.properties["UUIDs"].value + fresh)
        for key, signature, heard in (
            (COMPANY, "a{qv}", payload.manufacturer_data),
            (SERVICE, "a{sv}", payload.service_data),
        ):
            kept = self._heard[key]
            if not heard or not (duplicate or any(kept.get(k) != v for k, v in heard.items())):
                continue
            kept = self._heard[key] = dict(heard) if duplicate else kept | heard
            wrapped = {k: Variant("ay", v, verify=False) for k, v in kept.items()}
            changed[key] = Variant(signature, wrapped, verify=False)
        return changed

    # --- the link

    def drop_link(self) -> None:
        """Lose the link: Connected and ServicesResolved turn false, notifications end."""
        if self._end_link():
            self.change({"Connected": Variant("b", False), "ServicesResolved": Variant("b", False)})

    def mute(self) -> None:
        """Keep the link but say nothing on it: no notifications, no answers to reads, writes, subscriptions."""
        self.muted = True

    def unmute(self) -> None:
        self.muted = False

    def link_up(self) -> None:
        """Make the link, as Connect does when nothing is in its way."""
        self.connected = True
        self.change({"Connected": Variant("b", True)})
        if self.resolves:
            loop = asyncio.get_running_loop()
            self._timer = loop.call_later(self.resolve_seconds, self._resolve)

    def _resolve(self) -> None:
        self._timer = None
        self.gatt.publish()
        for characteristic in self.gatt.characteristics():
            parked = self._parked.pop(characteristic.path, set())
            if self.rearms_notify and parked:
                characteristic.listeners |= parked
                characteristic.change({"Notifying": Variant("b", True)})
        self.change({"ServicesResolved": Variant("b", True)})

    def _end_link(self) -> bool:
        had, self.connected = self.connected, False
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        for characteristic in self.gatt.characteristics():
            if characteristic.listeners:
                self._parked[characteristic.path] = set(characteristic.listeners)
                characteristic.quiet()
        return had

    def _connect(self, message: Message) -> Answer:
        """Carry out Connect; `connecting` was set when the call came in."""
        self.connecting = None
        self.adapter.need_power()
        if self.connected:
            return None
        if self.adapter.max_links is not None and len(self.adapter.links()) >= self.adapter.max_links:
            raise RefusedError(FAILED, self.adapter.links_refusal)
        self.link_up()
        return None

    def _disconnect(self, message: Message) -> Answer:
        if self.connecting is not None:
            waiting, self.connecting = self.connecting, None
            self.fake.refuse(waiting, FAILED, "le-connection-abort-by-local")
        self.drop_link()
        return None

    def _fresh(self) -> Properties:
        return {
            "Address": Variant("s", self.address),
            "AddressType": Variant("s", self.address_type),
            "Alias": Variant("s", self.address.replace(":", "-")),
            "Adapter": Variant("o", self.adapter.path),
            "UUIDs": Variant("as", []),
            "AdvertisingFlags": Variant("ay", b"\x06"),
            **{name: Variant("b", False) for name in FLAGS},
        }


FLAGS = ("Paired", "Bonded", "Trusted", "Blocked", "LegacyPairing", "Connected", "ServicesResolved")
