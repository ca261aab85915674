"""BTHome v2: open service data under UUID 0xFCD2 that tells what it measures.

Source: the format and encryption pages of bthome.io. Byte 0 tells the version (bits 5-7), whether it is encrypted
(bit 0) and sent on a trigger only (bit 2); then objects follow, each an id and a little-endian value, ids ascending. A
receiver stops at the first id it does not know, since it cannot know its length.
"""

import math

from adapters.decode.bthome_cipher import decrypt
from adapters.decode.gatt import ABSOLUTE_ZERO, uuid16
from adapters.decode.value import Packet, Value
from adapters.errors import DecodeError
from adapters.reading import Quality, Reason, Unit

__all__ = ["UUID", "read"]

UUID = uuid16(0xFCD2)
"""Of the service data."""

_VERSION = 2
_ENCRYPTED = 0b0000_0001
_MAC_INCLUDED = 0b0000_0010
_PACKET_ID = 0x00
_BATTERY = 0x01
_COMMAND = 0x3B
"""Not on the format page as we know it; its form is that of package bthome-ble 3.25.0."""
_COUNTED = frozenset({0x53, 0x54})
"""Text and raw bytes: a byte of length goes before them."""
_TEMPERATURES = {0x02: (1, 100), 0x45: (1, 10), 0x57: (1, 1), 0x58: (35, 100)}
"""Signed; °C is the number times the first over the second."""

_SIZES: dict[int, int] = {
    **dict.fromkeys(range(0x0F, 0x12), 1),  # binary: generic, power, opening
    **dict.fromkeys(range(0x15, 0x2E), 1),  # binary: battery low to window
    **dict.fromkeys([0x00, 0x01, 0x09, 0x2E, 0x2F, 0x3A, 0x46, 0x57, 0x58, 0x59, 0x60, 0x64, 0x65], 1),
    **dict.fromkeys([0x02, 0x03, 0x06, 0x07, 0x08, 0x0C, 0x0D, 0x0E, 0x12, 0x13, 0x14, 0x3C, 0x3D, 0x3F], 2),
    **dict.fromkeys([0x40, 0x41, 0x43, 0x44, 0x45, 0x47, 0x48, 0x49, 0x4A, 0x51, 0x52, 0x56, 0x5A, 0x5D], 2),
    **dict.fromkeys([0x5E, 0x5F, 0x61, 0xF0], 2),
    **dict.fromkeys([0x04, 0x05, 0x0A, 0x0B, 0x42, 0x4B, 0xF2], 3),
    **dict.fromkeys([0x3E, 0x4C, 0x4D, 0x4E, 0x4F, 0x50, 0x55, 0x5B, 0x5C, 0x62, 0x63, 0xF1], 4),
}
"""Bytes of every other known object, so that what follows it is found."""


def read(payload: bytes, *, mac: bytes | None = None, bind_key: bytes | None = None) -> Packet:
    """Read one advertisement.

    Args:
        payload: the service data, after the UUID.
        mac: the sender's address, six bytes, first byte first; only encrypted packets need it.
        bind_key: 16 bytes, for a sender that encrypts; a plain packet is refused then, since anyone can forge one.

    Returns:
        Temperatures in their order, called "temperature", "temperature 2", …; a counter that is the encryption's where
        there is one, else the packet id. Objects cut off, in disorder or out of range are in `rejected`.

    Raises:
        DecodeError: it is no BTHome v2, or encrypted where we have no key, or plain where we have one, or the key is
            wrong.
        SourceConfigError: the key or the address is none, or decrypting is not installed.
    """
    if not payload:
        raise DecodeError("0 bytes; BTHome has at least one")
    head = payload[0]
    if head >> 5 != _VERSION:
        raise DecodeError(f"BTHome version {head >> 5}; read is version {_VERSION}")
    if head & _MAC_INCLUDED:
        # Reserved today; an earlier page and a receiver in use have an address follow. Either reading could be wrong.
        raise DecodeError("BTHome with the reserved bit 1 set; what follows is not known")
    if not head & _ENCRYPTED:
        if bind_key is not None:
            raise DecodeError("a plain BTHome packet from a sender that encrypts: not trusted")
        return _objects(payload[1:], None)
    if bind_key is None:
        raise DecodeError("an encrypted BTHome packet and no bind key: put it into a file, bind_key_file")
    if mac is None:
        raise DecodeError("an encrypted BTHome packet, and its sender's address, which decrypting needs, is not known")
    plain, counter = decrypt(payload, mac, bind_key)
    return _objects(plain, counter)


def _objects(objects: bytes, encryption_counter: int | None) -> Packet:
    values: list[Value] = []
    rejected: list[str] = []
    battery: float | None = None
    packet_id: int | None = None
    at, before = 0, -1
    while at < len(objects):
        number = objects[at]
        if number < before:
            rejected.append(f"object {number:#04x} after {before:#04x}: ids ascend; the rest is not read")
            break
        start, end = _bounds(objects, at)
        if end is None:
            if at == 0:
                rejected.append(f"object {number:#04x} is not known; nothing is read")
            break
        value = objects[start:end]
        if end > len(objects):
            rejected.append(f"object {number:#04x} has {len(value)} bytes of {end - start}")
            if number in _TEMPERATURES:
                values.append(Value(_key(values), math.nan, Unit.CELSIUS, None, Quality.BAD, Reason.UNDECODABLE))
            break
        if number in _TEMPERATURES:
            values.append(_temperature(_key(values), number, value, rejected))
        elif number == _BATTERY and battery is None:
            battery = _percent(value[0], rejected)
        elif number == _PACKET_ID and packet_id is None:
            packet_id = value[0]
        at, before = end, number
    counter = packet_id if encryption_counter is None else encryption_counter
    return Packet(tuple(values), battery, counter, rejected=tuple(rejected))


def _bounds(objects: bytes, at: int) -> tuple[int, int | None]:
    """Find where an object's value begins and ends; no end for an id that is not known."""
    number = objects[at]
    size = _SIZES.get(number)
    if size is not None:
        return at + 1, at + 1 + size
    told = objects[at + 1] if at + 1 < len(objects) else 0
    if number in _COUNTED:
        return at + 2, at + 2 + told
    if number == _COMMAND:  # the code of the command, then as many arguments as the lower five bits say
        return at + 2, at + 3 + (told & 0x1F)
    return at + 1, None


def _key(values: list[Value]) -> str:
    return f"temperature {len(values) + 1}" if values else "temperature"


def _temperature(key: str, number: int, value: bytes, rejected: list[str]) -> Value:
    times, over = _TEMPERATURES[number]
    celsius = int.from_bytes(value, "little", signed=True) * times / over
    if celsius < ABSOLUTE_ZERO:
        rejected.append(f"{key}: {celsius:g} °C is below absolute zero")
        return Value(key, celsius, Unit.CELSIUS, None, Quality.BAD, Reason.OUT_OF_RANGE)
    return Value(key, celsius, Unit.CELSIUS, None)


def _percent(percent: int, rejected: list[str]) -> float | None:
    if percent > 100:
        rejected.append(f"battery {percent} %; allowed are 0 to 100")
        return None
    return float(percent)
