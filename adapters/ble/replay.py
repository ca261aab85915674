"""A recorded scan through the decoders again, as they would read it on the night."""

from collections.abc import Iterator
from typing import BinaryIO

import msgspec

from adapters.ble.advertised import BTHOME, Advertised
from adapters.ble.channels import free_key
from adapters.ble.log import MAX_LINE_CHARACTERS, Line, parse_line
from adapters.ble.options import DeviceOptions, Match
from adapters.decode.described import Described
from adapters.decode.gatt import BATTERY_LEVEL, is_temperature, read_characteristic
from adapters.decode.value import Packet
from adapters.errors import DecodeError, SourceConfigError

__all__ = ["Replay", "Replayed", "read_lines"]

MAX_CHANNELS = 4096


class Replayed(msgspec.Struct, frozen=True):
    """One line of the record that a decoder is for."""

    line: Line
    packet: Packet | None
    """None when it could not be read."""
    why: str = ""


class Replay:
    """Reads lines by a layout, by BTHome alone, or by the standards.

    Args:
        described: the layout; None for the standards.
        bthome_only: leave the other standards aside.
        bind_key: of encrypted BTHome.
    """

    def __init__(
        self, described: Described | None = None, *, bthome_only: bool = False, bind_key: bytes | None = None
    ) -> None:
        self._described = described
        self._bthome_only = bthome_only
        self._advertised = Advertised(DeviceOptions("replay", Match(), described, bind_key=bind_key))
        self._keys: dict[tuple[str, str, str], str] = {}
        self._named: dict[str, set[str]] = {}

    def read(self, line: Line) -> Replayed | None:
        """Read one line; None when it is not for this decoder."""
        try:
            packet = self._packet(line)
        except (DecodeError, SourceConfigError) as error:
            return Replayed(line, None, str(error))
        return None if packet is None else Replayed(line, packet)

    def _packet(self, line: Line) -> Packet | None:
        if self._bthome_only and line.uuid != BTHOME:
            return None
        advert = line.advert()
        if advert is not None:
            payload = self._advertised.payload(advert)
            if payload is None or not self._advertised.fits(payload):
                return None
            return self._advertised.read(payload, advert)
        if self._described is not None:
            layout = self._described.layout
            meant = line.source == layout.source and line.uuid == self._described.uuid
            return self._described.read(line.payload) if meant and self._described.fits(line.payload) else None
        if line.uuid != BATTERY_LEVEL and not is_temperature(line.uuid, line.format):
            return None
        return read_characteristic(line.uuid, line.payload, self._key(line), line.format)

    def _key(self, line: Line) -> str:
        """Name a characteristic as a source would: by its description, else `temperature`, `temperature 2`."""
        place = (line.address, line.service, line.uuid)
        if place not in self._keys:
            if len(self._keys) >= MAX_CHANNELS:
                self._keys.clear()
                self._named.clear()
            taken = self._named.setdefault(line.address, set())
            self._keys[place] = free_key(line.label or "temperature", taken)
        return self._keys[place]


def read_lines(file: BinaryIO) -> Iterator[Line | DecodeError]:
    """Read a record line by line; a malformed line comes as its error. Empty lines are left out."""
    number = 0
    while raw := file.readline(4 * MAX_LINE_CHARACTERS):
        number += 1
        whole = raw
        while not raw.endswith(b"\n") and raw:
            raw = file.readline(4 * MAX_LINE_CHARACTERS)
        text = whole.decode("utf-8", "replace").strip()
        if text:
            try:
                yield parse_line(text, number)
            except DecodeError as error:
                yield error
