"""Standard Bluetooth characteristics that tell a temperature or a battery, by the SIG's own definitions.

Sources: GATT Specification Supplement (Temperature 0x2A6E, High Temperature 0x2BDF, Temperature Measurement 0x2A1C,
Intermediate Temperature 0x2A1E, Battery Level 0x2A19, Date Time 0x2A08) and Core Specification, vol 3, part G, 3.3.3.5
(Characteristic Presentation Format 0x2904). All fields are little-endian.
"""

import datetime as dt
import math
import re
import unicodedata

import msgspec

from adapters.decode.number_types import FLOATS, SIZES, number_of, raw_bits
from adapters.decode.value import Packet, Value
from adapters.errors import DecodeError, SourceConfigError
from adapters.reading import Quality, Reason, Unit, to_celsius

__all__ = [
    "BATTERY_LEVEL",
    "ENVIRONMENTAL_SENSING",
    "HIGH_TEMPERATURE",
    "INTERMEDIATE_TEMPERATURE",
    "TEMPERATURE",
    "TEMPERATURE_MEASUREMENT",
    "Format",
    "full_uuid",
    "is_temperature",
    "label",
    "parse_format",
    "read_characteristic",
    "read_environmental",
    "uuid16",
]

ABSOLUTE_ZERO = -273.15
HOTTEST = 1e6
"""Degrees Celsius; a number beyond is no temperature, whatever the format could carry."""
LABEL_CHARACTERS = 40

_BASE = "-0000-1000-8000-00805f9b34fb"
_SHORT = re.compile(r"(?:0[xX])?([0-9a-fA-F]{4})\Z")
_FULL = re.compile(r"[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}\Z")


def uuid16(number: int) -> str:
    """Write a 16-bit UUID in full, lower case, on the Bluetooth base UUID.

    >>> uuid16(0x2A6E)
    '00002a6e-0000-1000-8000-00805f9b34fb'

    Raises:
        SourceConfigError: it has more than 16 bits.
    """
    if not 0 <= number <= 0xFFFF:
        raise SourceConfigError(f"{number} is no 16-bit UUID; allowed are 0x0000 to 0xffff")
    return f"{number:08x}{_BASE}"


def full_uuid(text: str) -> str:
    """Write a UUID in full, lower case, given as `"2a6e"`, `"0x2A6E"` or in full.

    Raises:
        SourceConfigError: it is none of these.
    """
    short = _SHORT.match(text)
    if short:
        return uuid16(int(short[1], 16))
    if _FULL.match(text):
        return text.lower()
    raise SourceConfigError(
        f'{text[:60]!r} is no UUID; write four hexadecimal digits, "2a6e", or all 32 with their four dashes'
    )


TEMPERATURE = uuid16(0x2A6E)
HIGH_TEMPERATURE = uuid16(0x2BDF)
TEMPERATURE_MEASUREMENT = uuid16(0x2A1C)
INTERMEDIATE_TEMPERATURE = uuid16(0x2A1E)
BATTERY_LEVEL = uuid16(0x2A19)
ENVIRONMENTAL_SENSING = uuid16(0x181A)
_TEMPERATURES = frozenset({TEMPERATURE, HIGH_TEMPERATURE, TEMPERATURE_MEASUREMENT, INTERMEDIATE_TEMPERATURE})

_FORMAT_TYPES = {
    0x04: "uint8", 0x05: "uint12", 0x06: "uint16", 0x07: "uint24", 0x08: "uint32", 0x09: "uint48", 0x0A: "uint64",
    0x0B: "uint128", 0x0C: "sint8", 0x0D: "sint12", 0x0E: "sint16", 0x0F: "sint24", 0x10: "sint32", 0x11: "sint48",
    0x12: "sint64", 0x13: "sint128", 0x14: "float32", 0x15: "float64", 0x16: "medfloat16", 0x17: "medfloat32",
}  # fmt: skip
"""Assigned Numbers, format types, those of one number of at least 8 bits."""
_FORMAT_UNITS = {0x272F: Unit.CELSIUS, 0x27AC: Unit.FAHRENHEIT, 0x2705: Unit.KELVIN}
"""Assigned Numbers, units of thermodynamic temperature."""


class Format(msgspec.Struct, frozen=True):
    """How a characteristic's value is to be read: its Presentation Format, 0x2904."""

    field_type: str | None
    """One of `number_types.SIZES`. None when the value is not one number: text, truth, a structure."""
    exponent: int
    """Power of ten an integer is multiplied by; floats carry their own."""
    unit: Unit | None
    """None when it is no temperature."""
    ordinal: int | None = None
    """Which of several equal ones it is, from 1; None when the device does not say."""

    def celsius(self, payload: bytes) -> float:
        """Read a value of this format.

        Returns:
            Degrees Celsius; NaN where the value says that it is none.

        Raises:
            DecodeError: it is no temperature, or of another length than the format says.
        """
        if self.field_type is None or self.unit is None:
            raise DecodeError("the presentation format says no temperature")
        _exactly(payload, SIZES[self.field_type], f"a {self.field_type}")
        number = number_of(raw_bits(payload, 0, self.field_type), self.field_type)
        if self.field_type not in FLOATS:
            number = number * 10.0**self.exponent if self.exponent >= 0 else number / 10.0**-self.exponent
        return _possible(to_celsius(number, self.unit))


def parse_format(payload: bytes) -> Format:
    """Parse a Characteristic Presentation Format descriptor: format, exponent, unit, namespace, description.

    Raises:
        DecodeError: it has not seven bytes.
    """
    _exactly(payload, 7, "a presentation format")
    return Format(
        _FORMAT_TYPES.get(payload[0]),
        int.from_bytes(payload[1:2], "little", signed=True),
        _FORMAT_UNITS.get(int.from_bytes(payload[2:4], "little")),
        _ordinal(payload[4], int.from_bytes(payload[5:7], "little")),
    )


def _ordinal(namespace: int, description: int) -> int | None:
    """Read "first", "second" and so on: descriptions 0x0001 to 0x00FF of the SIG's namespace 1 (from memory)."""
    return description if namespace == 1 and 1 <= description <= 0xFF else None


def label(payload: bytes) -> str:
    """Clean a Characteristic User Description, 0x2901: what a device calls a value, fit for a screen.

    Returns:
        At most 40 characters. Undecodable bytes become U+FFFD; control and format characters, which could move the
        cursor or turn the writing, are removed. Empty when nothing is left.
    """
    text = payload[: 64 * LABEL_CHARACTERS].decode("utf-8", "replace")
    shown = "".join(" " if c.isspace() else c for c in text if c.isspace() or unicodedata.category(c)[0] != "C")
    return " ".join(shown.split())[:LABEL_CHARACTERS].rstrip()


def is_temperature(uuid: str, presentation: Format | None) -> bool:
    """Tell whether `read_characteristic` finds a temperature in this characteristic."""
    return uuid in _TEMPERATURES or (
        presentation is not None and presentation.unit is not None and presentation.field_type is not None
    )


def read_characteristic(uuid: str, payload: bytes, key: str, presentation: Format | None = None) -> Packet:
    """Read the value of a standard characteristic, or of any whose Presentation Format says a temperature.

    Args:
        uuid: of the characteristic, in full, lower case.
        payload: its value, read or notified.
        key: the probe key to give.
        presentation: its Presentation Format; what the SIG fixes for the characteristic goes before it.

    Raises:
        DecodeError: the value breaks the definition, or nothing says what it is.
    """
    if uuid in (TEMPERATURE_MEASUREMENT, INTERMEDIATE_TEMPERATURE):
        return _measurement(payload, key)
    if uuid == TEMPERATURE:
        return Packet((_value(key, _temperature(payload), Unit.CELSIUS),))
    if uuid == HIGH_TEMPERATURE:
        return Packet((_value(key, _high_temperature(payload), Unit.CELSIUS),))
    if uuid == BATTERY_LEVEL:
        _exactly(payload, 1, "a battery level")
        if payload[0] > 100:
            raise DecodeError(f"battery level {payload[0]} %; allowed are 0 to 100")
        return Packet((), battery_percent=float(payload[0]))
    if presentation is not None and presentation.unit is not None:
        return Packet((_value(key, presentation.celsius(payload), presentation.unit),))
    raise DecodeError(f"characteristic {uuid} is no standard temperature and has no presentation format of one")


def read_environmental(uuid: str, payload: bytes, key: str) -> Packet:
    """Read a temperature advertised as service data under Environmental Sensing 0x181A or Temperature 0x2A6E.

    The Environmental Sensing Service fixes no payload for advertisements, and several home-made ones are on the air.
    Only what can be nothing else is read: exactly two bytes, the value of the Temperature characteristic.

    Raises:
        DecodeError: another UUID or length; a layout can describe what it is.
    """
    if uuid not in (ENVIRONMENTAL_SENSING, TEMPERATURE):
        raise DecodeError(f"service data {uuid}; read are 0x181a and 0x2a6e")
    return Packet((_value(key, _temperature(payload), Unit.CELSIUS),))


def _temperature(payload: bytes) -> float:
    _exactly(payload, 2, "a temperature")
    raw = int.from_bytes(payload, "little", signed=True)
    return math.nan if raw == -0x8000 else _possible(raw / 100)


def _high_temperature(payload: bytes) -> float:
    _exactly(payload, 2, "a high temperature")
    raw = int.from_bytes(payload, "little", signed=True)
    return math.nan if raw in (-0x8000, -0x7FFF) else _possible(raw / 2)


def _measurement(payload: bytes, key: str) -> Packet:
    """Read a Temperature Measurement: flags, FLOAT, then Date Time and type where the flags say so."""
    if not payload:
        raise DecodeError("0 bytes; a temperature measurement needs at least 5")
    flags = payload[0]
    timed = bool(flags & 0b010)
    needed = 5 + (7 if timed else 0) + (1 if flags & 0b100 else 0)
    if len(payload) < needed:
        raise DecodeError(f"{len(payload)} bytes; a temperature measurement with flags {flags:#04x} needs {needed}")
    unit = Unit.FAHRENHEIT if flags & 0b001 else Unit.CELSIUS
    celsius = _possible(to_celsius(number_of(raw_bits(payload, 1, "medfloat32"), "medfloat32"), unit))
    measured, rejected = _date_time(payload[5:12]) if timed else (None, ())
    return Packet((_value(key, celsius, unit),), measured=measured, rejected=rejected)


def _date_time(payload: bytes) -> tuple[dt.datetime | None, tuple[str, ...]]:
    """Read a Date Time; None while the probe's clock is not set, and why when it names no day or hour."""
    year, (month, day, hour, minute, second) = int.from_bytes(payload[:2], "little"), payload[2:]
    if not (year and month and day):
        return None, ()
    try:
        return dt.datetime(year, month, day, hour, minute, second), ()  # noqa: DTZ001 - a probe's clock has no zone
    except ValueError as error:
        return None, (f"the time {year}-{month}-{day} {hour}:{minute}:{second} is none: {error}",)


def _value(key: str, celsius: float, unit: Unit) -> Value:
    if math.isnan(celsius):
        return Value(key, celsius, unit, None, Quality.BAD, Reason.NOT_A_NUMBER)
    return Value(key, celsius, unit, None)


def _possible(celsius: float) -> float:
    # A thousandth of a degree for the rounding of absolute zero in other units.
    if celsius < ABSOLUTE_ZERO - 1e-3:
        raise DecodeError(f"{celsius:.6g} °C is below absolute zero")
    if celsius > HOTTEST:
        raise DecodeError(f"{celsius:.6g} °C is no temperature")
    return celsius


def _exactly(payload: bytes, size: int, what: str) -> None:
    if len(payload) != size:
        raise DecodeError(f"{len(payload)} bytes; {what} has {size}")
