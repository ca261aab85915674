"""The record of what the radio heard: one JSON object a line, one line a payload; written by a scan, replayed offline.

Keys: `t` Unix seconds UTC, `address`, `random` (address), `name`, `rssi` in dBm, `source`, then where the payload was:
`uuid` (service data, characteristic) or `company` (manufacturer data), `service` (of a characteristic), and `hex`. A
characteristic that says what it is has `format`, its Presentation Format, and `label`, its description.
"""

import json
import re
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from adapters.ble.advert import Advert
from adapters.decode.gatt import Format, full_uuid
from adapters.decode.number_types import SIZES
from adapters.errors import DecodeError, SourceConfigError
from adapters.reading import Unit

__all__ = ["MAX_LINE_CHARACTERS", "Line", "PayloadSource", "parse_line", "write", "write_value"]

MAX_LINE_CHARACTERS = 8192
"""A line of the longest payload with all its keys is about half of that."""
MAX_PAYLOAD_BYTES = 2048
"""An extended advertisement carries at most 1,650, an attribute 512."""

PayloadSource = Literal["service_data", "manufacturer_data", "notify", "read", "none"]


class Line(msgspec.Struct, frozen=True):
    """One payload, or the bare presence of a device (source `none`)."""

    unix: float
    address: str
    random_address: bool
    name: str | None
    """As sent: hostile text, never printed as it is."""
    rssi: int | None
    source: PayloadSource
    uuid: str = ""
    """Full UUID of the service data or the characteristic."""
    company: int | None = None
    service: str = ""
    """Full UUID of the service a characteristic belongs to."""
    payload: bytes = b""
    format: Format | None = None
    label: str = ""

    def advert(self) -> Advert | None:
        """Give the advertisement with this payload alone; None for what came over a connection."""
        if self.source in ("notify", "read"):
            return None
        return Advert(
            self.address, self.unix, self.rssi, self.name, self.random_address,
            service_data={self.uuid: self.payload} if self.source == "service_data" else {},
            manufacturer_data={self.company: self.payload} if self.company is not None else {},
        )  # fmt: skip


class _Shape(msgspec.Struct):
    """A line as it stands in the file; unknown keys are left aside."""

    t: Annotated[float, Meta(ge=0, lt=2**43)]
    address: Annotated[str, Meta(min_length=1, max_length=36)]
    source: PayloadSource
    random: bool = False
    name: Annotated[str, Meta(max_length=248)] | None = None
    rssi: Annotated[int, Meta(ge=-128, le=127)] | None = None
    uuid: str = ""
    company: Annotated[int, Meta(ge=0, le=65535)] | None = None
    service: str = ""
    hex: Annotated[str, Meta(max_length=2 * MAX_PAYLOAD_BYTES)] = ""
    format: tuple[str, Annotated[int, Meta(ge=-128, le=127)], Unit] | None = None
    label: Annotated[str, Meta(max_length=60)] = ""


_DECODER = msgspec.json.Decoder(_Shape)
_ADDRESS = re.compile(r"(?:[0-9A-Fa-f]{2}:){5}[0-9A-Fa-f]{2}|[0-9A-Fa-f]{8}(?:-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}")
_HEX = re.compile(r"(?:[0-9A-Fa-f]{2})*")


def write(advert: Advert) -> list[str]:
    """Write an advertisement, a line for each of its payloads, or one that says that it had none."""
    head = _head(advert)
    lines = [
        _line(head, source="service_data", uuid=uuid, hex=payload[:MAX_PAYLOAD_BYTES].hex())
        for uuid, payload in advert.service_data.items()
    ]
    lines += [
        _line(head, source="manufacturer_data", company=company, hex=payload[:MAX_PAYLOAD_BYTES].hex())
        for company, payload in advert.manufacturer_data.items()
    ]
    return lines or [_line(head, source="none")]


def write_value(
    advert: Advert,
    unix: float,
    source: Literal["notify", "read"],
    service: str,
    uuid: str,
    payload: bytes,
    *,
    presentation: Format | None = None,
    label: str = "",
) -> str:
    """Write the value of a characteristic of the device last heard by `advert`."""
    more: dict[str, Any] = {}
    if presentation is not None and presentation.field_type is not None and presentation.unit is not None:
        more["format"] = [presentation.field_type, presentation.exponent, presentation.unit]
    if label:
        more["label"] = label
    head = _head(advert) | {"t": round(unix, 3)}
    return _line(head, source=source, service=service, uuid=uuid, hex=payload[:MAX_PAYLOAD_BYTES].hex(), **more)


def _head(advert: Advert) -> dict[str, Any]:
    name = advert.name[:248] if advert.name is not None else None
    return {
        "t": round(advert.received_unix, 3), "address": advert.address, "random": advert.random_address,
        "name": name, "rssi": advert.rssi,
    }  # fmt: skip


def _line(head: dict[str, Any], **more: Any) -> str:
    # The escapes of ASCII keep control characters of a name out of the file, and lone surrogates no trouble.
    return json.dumps(head | more, ensure_ascii=True)


def parse_line(text: str, number: int) -> Line:
    """Parse one line of a record.

    Args:
        text: the line.
        number: which it is, from 1, for the error.

    Raises:
        DecodeError: it is none; says which line, what is wrong and what belongs there.
    """
    if len(text) > MAX_LINE_CHARACTERS:
        raise DecodeError(f"line {number}: {len(text)} characters; a line has at most {MAX_LINE_CHARACTERS}")
    try:
        shape = _DECODER.decode(text)
    except (msgspec.DecodeError, UnicodeError, RecursionError, ValueError) as error:
        what = str(error)[:160]
        raise DecodeError(
            f"line {number}: {what}; a line is one JSON object, as `coldside scan --record` writes"
        ) from error
    try:
        return _made(shape)
    except (DecodeError, SourceConfigError) as error:
        raise DecodeError(f"line {number}: {error}") from error


def _made(shape: _Shape) -> Line:
    if not _ADDRESS.fullmatch(shape.address):
        raise DecodeError(f"{shape.address!r} is no address; write six bytes with colons, or a UUID")
    if not _HEX.fullmatch(shape.hex):
        raise DecodeError(f"hex = {shape.hex[:40]!r} is not hexadecimal; write two digits a byte, without spaces")
    by_company = shape.source == "manufacturer_data"
    if by_company is (shape.company is None):
        raise DecodeError('company goes with source = "manufacturer_data", and only there')
    by_uuid = shape.source in ("service_data", "notify", "read")
    if by_uuid is not bool(shape.uuid):
        raise DecodeError('uuid goes with source = "service_data", "notify" or "read", and only there')
    return Line(
        shape.t, shape.address, shape.random, shape.name, shape.rssi, shape.source,
        full_uuid(shape.uuid) if shape.uuid else "", shape.company,
        full_uuid(shape.service) if shape.service else "", bytes.fromhex(shape.hex), _format(shape), shape.label,
    )  # fmt: skip


def _format(shape: _Shape) -> Format | None:
    if shape.format is None:
        return None
    field_type, exponent, unit = shape.format
    if field_type not in SIZES:
        raise DecodeError(f"format: {field_type[:40]!r} is no number type")
    return Format(field_type, exponent, unit)
