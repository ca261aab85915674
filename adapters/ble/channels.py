"""Which characteristics of a connected device hold temperatures, and what each is called."""

from collections.abc import Callable, Iterable, Sequence

import msgspec
from bleak.backends.characteristic import BleakGATTCharacteristic

from adapters.ble.calls import Calls
from adapters.decode.described import Described
from adapters.decode.gatt import Format, full_uuid, is_temperature, label, parse_format, read_characteristic, uuid16
from adapters.decode.value import Packet
from adapters.errors import DecodeError, LinkError, LinkReason

__all__ = [
    "Channel", "Labels", "channel_keys", "described_channels", "formats", "free_key", "patience", "standard_channels",
]  # fmt: skip

POLL_SECONDS = 10.0
"""Between reads of a standard characteristic that does not notify."""
BATTERY_SECONDS = 600.0
Labels = dict[tuple[int, str], tuple[Format | None, str]]
"""Format and description of characteristics, by handle and UUID."""
BATTERY = uuid16(0x2A19)
MEASUREMENT, INTERMEDIATE = uuid16(0x2A1C), uuid16(0x2A1E)
USER_DESCRIPTION, PRESENTATION_FORMAT = uuid16(0x2901), uuid16(0x2904)


class Channel(msgspec.Struct, frozen=True):
    """One characteristic to be heard."""

    characteristic: BleakGATTCharacteristic
    decode: Callable[[bytes], Packet]
    """Raises DecodeError."""
    key: str = ""
    """What its temperature is called; empty where a layout names several."""
    every_seconds: float = POLL_SECONDS
    """Between reads where it does not notify."""
    battery: bool = False
    """Tells of the battery only: no proof that the probe lives."""
    notifies: bool = False
    readable: bool = False
    """Whether it is read: once before the subscription, or again and again."""


def patience(channels: Iterable[Channel], quiet: float) -> float:
    """Tell how long a device may say nothing, seconds: what is read by the clock must come at least twice."""
    polled = [channel.every_seconds for channel in channels if not channel.notifies and not channel.battery]
    return max([quiet, *(2.5 * every for every in polled)])


async def formats(calls: Calls, characteristic: BleakGATTCharacteristic) -> tuple[Format | None, str]:
    """Read what a characteristic says of itself: its Presentation Format (0x2904) and User Description (0x2901).

    Raises:
        LinkError: the link ended meanwhile.
    """
    found, text = None, ""
    for descriptor in characteristic.descriptors:
        if descriptor.uuid not in (PRESENTATION_FORMAT, USER_DESCRIPTION):
            continue
        try:
            payload = await calls.read_descriptor(descriptor)
            if descriptor.uuid == USER_DESCRIPTION:
                text = label(payload)
            else:
                found = parse_format(payload)
        except DecodeError:
            continue
        except LinkError as error:
            if not calls.client.is_connected:
                raise
            if error.reason is not LinkReason.DEVICE_REFUSED:
                break  # it hangs; the next would too, and a label is not worth the wait
    if not text and found is not None and found.ordinal:
        text = f"temperature {found.ordinal}"
    return found, text


async def standard_channels(calls: Calls, labels: Labels) -> list[Channel]:
    """Find every characteristic that the standards, or its own Presentation Format, say is a temperature.

    Args:
        calls: the connected device.
        labels: what its characteristics said of themselves on an earlier link; kept up to date, so that a probe does
            not change its key when a descriptor is refused once.

    Raises:
        LinkError: there is none, or the link ended meanwhile.
    """
    found: list[tuple[BleakGATTCharacteristic, Format | None, str]] = []
    battery: list[Channel] = []
    # bleak gives them in no order; by handle `temperature` and `temperature 2` are the same ones on every connection.
    for service in sorted(calls.client.services, key=lambda s: s.handle):
        for characteristic in sorted(service.characteristics, key=lambda c: c.handle):
            if characteristic.uuid == BATTERY:
                battery.append(_channel(characteristic, None, "", battery=True))
                continue
            form, text = await formats(calls, characteristic)
            before = labels.get((characteristic.handle, characteristic.uuid), (None, ""))
            form, text = form or before[0], text or before[1]
            labels[characteristic.handle, characteristic.uuid] = form, text
            if is_temperature(characteristic.uuid, form):
                found.append((characteristic, form, text))
    if not found:
        raise LinkError(LinkReason.NO_TEMPERATURE)
    keys = channel_keys([(characteristic, text) for characteristic, _, text in found])
    channels = [_channel(c, form, key) for (c, form, _), key in zip(found, keys, strict=True)]
    if not any(c.notifies or c.readable for c in channels):
        raise LinkError(LinkReason.NO_TEMPERATURE, "its characteristics can be neither read nor subscribed to")
    return channels + battery[:1]


def channel_keys(found: Sequence[tuple[BleakGATTCharacteristic, str]]) -> list[str]:
    """Name temperatures, each given with its own description, or by `temperature`, `temperature 2` and so on.

    They must come by their handles, so that the names are the same on every connection. An intermediate temperature is
    the measurement of the same service on its way, so it shares its key.
    """
    taken: set[str] = set()
    by_service: dict[int, str] = {}
    keys = []
    for characteristic, text in found:
        pair = characteristic.uuid in (MEASUREMENT, INTERMEDIATE)
        if pair and characteristic.service_handle in by_service:
            keys.append(by_service[characteristic.service_handle])
            continue
        key = free_key(text or "temperature", taken)
        if pair:
            by_service[characteristic.service_handle] = key
        keys.append(key)
    return keys


def free_key(name: str, taken: set[str]) -> str:
    """Give a name, with a number where it is taken, and take it; a device may call a channel what we would call it."""
    number, key = 1, name
    while key in taken:
        number += 1
        key = f"{name} {number}"
    taken.add(key)
    return key


def _channel(
    characteristic: BleakGATTCharacteristic, form: Format | None, key: str, *, battery: bool = False
) -> Channel:
    uuid = characteristic.uuid

    def decode(payload: bytes) -> Packet:
        return read_characteristic(uuid, payload, key, form)

    return Channel(
        characteristic,
        decode,
        key,
        BATTERY_SECONDS if battery else POLL_SECONDS,
        battery=battery,
        notifies=_notifies(characteristic),
        readable="read" in characteristic.properties,
    )


def _notifies(characteristic: BleakGATTCharacteristic) -> bool:
    return bool({"notify", "indicate"} & set(characteristic.properties))


def described_channels(calls: Calls, described: Described) -> list[Channel]:
    """Find the characteristic a layout names.

    Raises:
        LinkError: the device has none such, or it cannot be used as the layout says.
    """
    layout = described.layout
    service = full_uuid(layout.service) if layout.service else ""
    found = [
        c
        for s in calls.client.services
        if not service or s.uuid == service
        for c in s.characteristics
        if c.uuid == described.uuid
    ]
    where = described.uuid + (f" in service {service}" if service else "")
    if not found:
        raise LinkError(LinkReason.NO_TEMPERATURE, f"layout {described.name}: the device has no {where}")
    if len(found) > 1:
        raise LinkError(LinkReason.NO_TEMPERATURE, f"layout {described.name}: {where} occurs twice; add service =")
    characteristic, by_reading = found[0], layout.source == "read"
    able = "read" in characteristic.properties if by_reading else _notifies(characteristic)
    if not able:
        can = ", ".join(characteristic.properties) or "nothing"
        what = f'layout {described.name}: source = "{layout.source}", but {where} allows {can}'
        raise LinkError(LinkReason.NO_TEMPERATURE, what)
    return [
        Channel(
            characteristic, described.read, every_seconds=layout.every, notifies=not by_reading, readable=by_reading
        )
    ]
