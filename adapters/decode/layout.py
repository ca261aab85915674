"""How a device that follows no standard sends its temperatures: the tables a cook writes, no code.

Terms follow the standards: field types and `value = raw × multiplier × 10^exponent × 2^binary_exponent + add` are those
of the GATT Specification Supplement and the Characteristic Presentation Format (0x2904). The tables are the shape of
the config's `[layout.NAME]`; `adapters.decode.described` reads payloads by them.
"""

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

__all__ = [
    "Count",
    "Divider",
    "Layout",
    "LayoutValue",
    "Require",
    "Rtd",
    "Sensor",
    "Thermistor",
    "Thermocouple",
    "Write",
]

Byte = Annotated[int, Meta(ge=0, le=255)]
Position = Annotated[int, Meta(ge=0, le=65535)]
Finite = Annotated[float, Meta(ge=-1e12, le=1e12)]
Positive = Annotated[float, Meta(gt=0, le=1e12)]
FieldType = Literal[
    "uint8", "sint8", "uint16", "sint16", "uint24", "sint24", "uint32", "sint32", "float32", "float64",
    "medfloat16", "medfloat32",
]  # fmt: skip
Endian = Literal["little", "big"]


class Divider(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A voltage divider read by a converter: counts between 0 and `full` over the supply."""

    ohms: Positive
    """The fixed resistor."""
    full: Positive
    """Counts (or volts) at full supply."""
    sensor_to: Literal["ground", "supply"] = "ground"
    """Where the sensor's other end goes: counts rise with its resistance, or fall."""


class Thermistor(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="ntc"):
    """An NTC: either Steinhart–Hart a, b, c, or beta with the resistance at one temperature."""

    a: Finite | None = None
    b: Finite | None = None
    c: Finite | None = None
    beta: Positive | None = None
    """Kelvin."""
    ohms: Positive | None = None
    """Resistance at `at_celsius`, with beta."""
    at_celsius: Annotated[float, Meta(gt=-273.15, le=1000)] = 25.0
    divider: Divider | None = None
    """Where the value is counts of a divider rather than ohms."""


class Thermocouple(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="thermocouple"
):
    """A thermocouple by ITS-90; its cold junction is added as emf, never as temperature."""

    type: Literal["E", "J", "K", "N", "T"]
    cold_celsius: Annotated[float, Meta(ge=-40, le=150)] | None = None
    """Fixed temperature of the cold junction; 0 where the device has compensated already."""
    cold_from: str = ""
    """Where the junction's temperature is: name of another value of the layout, or a JSON Pointer (MQTT)."""


class Rtd(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="rtd"):
    """A platinum resistance thermometer by IEC 60751."""

    ohms: Positive = 100.0
    """Resistance at 0 °C: 100 (Pt100) or 1000 (Pt1000)."""


Sensor = Thermistor | Thermocouple | Rtd


class Require(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One byte that tells the packet's type: another value there is another packet, not a mistake."""

    at: Position
    value: Byte
    mask: Byte = 0xFF


class Count(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The sender's counter: the same count is the same measurement sent again."""

    at: Position
    type: Literal["uint8", "uint16", "uint24", "uint32"] = "uint8"
    endian: Endian = "little"


class Write(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Bytes the device wants written after each connection before it speaks."""

    uuid: str
    bytes: str
    """Hexadecimal, `"01 ff"`."""


class LayoutValue(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One quantity of a payload, or a row of equal ones."""

    names: tuple[Annotated[str, Meta(min_length=1, max_length=60)], ...]
    """What its channels are called; as many as `repeat`."""
    at: Position
    """Position of the first byte in the payload, from 0, after UUID or company."""
    type: FieldType
    endian: Endian = "little"
    multiplier: Finite = 1.0
    exponent: Annotated[int, Meta(ge=-12, le=12)] = 0
    binary_exponent: Annotated[int, Meta(ge=-32, le=32)] = 0
    add: Finite = 0.0
    unit: Literal["degC", "degF", "K", "ohm", "uV", "mV", "V", "count", "percent"] = "degC"
    """`percent` is the battery. Ohms, volts and counts need a `sensor`."""
    sensor: Sensor | None = None
    absent: tuple[int, ...] = ()
    """Raw values, as unsigned bits, that mean: no probe, or not known."""
    valid: tuple[Finite, Finite] = (-60.0, 1000.0)
    """Degrees Celsius (percent for the battery); outside it the value is rejected with its reason."""
    repeat: Annotated[int, Meta(ge=1, le=64)] = 1
    stride: Annotated[int, Meta(ge=1, le=65535)] | None = None
    """Bytes from one to the next; None: the size of the type."""


class Layout(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where in which payload the temperatures are."""

    source: Literal["service_data", "manufacturer_data", "notify", "read"]
    uuid: str = ""
    """Of the service data or the characteristic: 16 bits, `"fff0"`, or whole."""
    company: Annotated[int, Meta(ge=0, le=65535)] | None = None
    """Of the manufacturer data."""
    service: str = ""
    """Of the characteristic, where its UUID occurs twice on the device."""
    every: Annotated[float, Meta(ge=0.2, le=3600)] = 10.0
    """Seconds between reads; `read` only."""
    length: tuple[Position, Position] | None = None
    """Least and greatest length of the payload in bytes; another length is skipped and counted."""
    require: tuple[Require, ...] = ()
    counter: Count | None = None
    on_connect: tuple[Write, ...] = ()
    value: Annotated[tuple[LayoutValue, ...], Meta(min_length=1)]
