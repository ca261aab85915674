"""Payloads of a device that follows no standard, read by the layout a cook wrote.

A layout is checked and compiled once; a mistake in it is refused with its place. Reading never fails as a whole: each
channel is good, or bad with its reason.
"""

import math
import struct
from collections.abc import Callable, Iterator
from itertools import chain

import msgspec

from adapters.decode.electrical import UNITS, converter
from adapters.decode.gatt import ABSOLUTE_ZERO, full_uuid
from adapters.decode.layout import Layout, LayoutValue, Thermocouple
from adapters.decode.number_types import SIZES, number_of, raw_bits
from adapters.decode.value import Packet, Value
from adapters.errors import SourceConfigError
from adapters.reading import Quality, Reason, Unit, to_celsius

__all__ = ["Described"]

_EVERY_SECONDS = 10.0
"""What `Layout.every` is where it is not given."""
_MOST_WRITTEN = 512
"""Bytes of the longest attribute (Core Specification, vol 3, part F, 3.2.9)."""
_STRUCT = {"uint8": "B", "sint8": "b", "uint16": "H", "sint16": "h", "uint32": "I", "sint32": "i"}
_UNITS = {"degC": Unit.CELSIUS, "degF": Unit.FAHRENHEIT, "K": Unit.KELVIN}

_Number = int | float
_Raws = tuple[int, ...]


class _Field(msgspec.Struct, frozen=True):
    """A compiled `LayoutValue`: a row of channels of one kind."""

    names: tuple[str, ...]
    ends: tuple[int, ...]
    """Bytes the payload needs for each channel."""
    raws: Callable[[bytes], _Raws]
    """Reads all channels of a payload that is long enough: numbers where struct can, else unsigned bits."""
    raw: Callable[[bytes, int], int]
    """Reads one channel."""
    absent: frozenset[int]
    """As `raws` gives them."""
    number: Callable[[int], _Number] | None
    """What the bits mean; None where `raws` gives numbers."""
    convert: Callable[[_Number, float | None], float]
    """Number and cold junction to °C, or to percent."""
    unit: Unit
    electrical: bool
    low: float
    high: float
    cold_from: str


class Described:
    """Reads the payloads of one layout.

    Args:
        name: what the config calls the layout.
        layout: its tables.

    Raises:
        SourceConfigError: it cannot work; says which layout, where in it, and what is allowed.
    """

    __slots__ = (
        "_any_fits", "_battery", "_counter", "_fields", "_lengths", "_order", "_require", "channels", "company",
        "layout", "name", "uuid", "writes",
    )  # fmt: skip

    def __init__(self, name: str, layout: Layout) -> None:
        self.name = name
        self.layout = layout
        try:
            self.uuid = _uuid(layout)
            _check_source(layout)
            self.writes = tuple(_write(write.uuid, write.bytes) for write in layout.on_connect)
            _check_lengths(layout)
            _check_names(layout.value)
        except SourceConfigError as error:
            raise SourceConfigError(f"layout {name}: {error}") from error
        self.company = layout.company
        """Of the manufacturer data; None for other sources."""
        fields = list(self._compile())
        battery = [field for value, field in zip(layout.value, fields, strict=True) if value.unit == "percent"]
        self._battery = battery[0] if battery else None
        rows = [field for field in fields if field is not self._battery]
        self.channels = tuple(chain.from_iterable(field.names for field in rows))
        """Temperature channels, in the layout's order."""
        # A cold junction is read before the thermocouples that need it.
        self._fields = tuple(sorted(rows, key=lambda field: bool(field.cold_from)))
        read = list(chain.from_iterable(field.names for field in self._fields))
        order = [read.index(channel) for channel in self.channels]
        self._order = order if order != sorted(order) else None
        self._lengths = layout.length or (0, 1 << 32)
        counter = layout.counter
        self._counter = None if counter is None else (counter.at, counter.at + SIZES[counter.type], counter.endian)
        self._require = tuple((need.at, need.mask, need.value) for need in layout.require)
        self._any_fits = layout.length is None and not layout.require

    def fits(self, payload: bytes) -> bool:
        """Tell whether a payload is of this layout: by its length, and the bytes that tell the packet's type."""
        if self._any_fits:
            return True
        length = len(payload)
        least, greatest = self._lengths
        if not least <= length <= greatest:
            return False
        return all(at < length and payload[at] & mask == value for at, mask, value in self._require)

    def read(self, payload: bytes) -> Packet:
        """Read one payload that `fits`.

        Returns:
            A value for each of `channels`, in their order. Bad are: a raw value listed as absent and what is no
            number (`NOT_A_NUMBER`), a sensor open or shorted (`OPEN_OR_SHORT`), what is outside `valid`
            (`OUT_OF_RANGE`, with its value), what the payload is too short for (`UNDECODABLE`); a thermocouple whose
            cold junction is bad has the junction's reason. The last three are also told in `rejected`.
        """
        values: list[Value] = []
        rejected: list[str] = []
        junctions: dict[str, Value] = {}
        for field in self._fields:
            if field.cold_from:
                junctions = junctions or {value.key: value for value in values}
                values += _read_row(field, payload, rejected, junctions[field.cold_from])
            else:
                values += _read_row(field, payload, rejected, None)
        if self._order is not None:
            values = [values[at] for at in self._order]
        battery = None if self._battery is None else _read_battery(self._battery, payload, rejected)
        count = None
        if self._counter is not None:
            start, end, endian = self._counter
            count = int.from_bytes(payload[start:end], endian) if len(payload) >= end else None
        return Packet(tuple(values), battery, count, rejected=tuple(rejected))

    def _compile(self) -> Iterator[_Field]:
        for number, value in enumerate(self.layout.value, 1):
            try:
                yield _field(value, self.layout)
            except SourceConfigError as error:
                raise SourceConfigError(
                    f"layout {self.name}, value {number} ({', '.join(value.names)[:80]}): {error}"
                ) from error


def _read_row(field: _Field, payload: bytes, rejected: list[str], junction: Value | None) -> list[Value]:
    if len(payload) < field.ends[-1]:
        return [
            value for at in range(len(field.names)) for value in _read_short(field, at, payload, rejected, junction)
        ]
    return _values(field, field.names, field.raws(payload), rejected, junction)


def _read_short(field: _Field, at: int, payload: bytes, rejected: list[str], junction: Value | None) -> list[Value]:
    """Read one channel of a payload that is too short for the last of its row."""
    name, end = field.names[at], field.ends[at]
    if len(payload) >= end:
        return _values(field, (name,), (field.raw(payload, at),), rejected, junction)
    rejected.append(f"{name}: {len(payload)} bytes; it needs {end}")
    return [Value(name, math.nan, field.unit, None, Quality.BAD, Reason.UNDECODABLE)]


def _values(
    field: _Field, names: tuple[str, ...], raws: _Raws, rejected: list[str], junction: Value | None
) -> list[Value]:
    unit, absent, convert, number = field.unit, field.absent, field.convert, field.number
    low, high = field.low, field.high
    cold = None if junction is None or junction.quality is Quality.BAD else junction.celsius
    values = []
    for name, raw in zip(names, raws, strict=True):
        measured: _Number = raw if number is None else number(raw)
        if raw in absent or not math.isfinite(measured):
            values.append(Value(name, math.nan, unit, None, Quality.BAD, Reason.NOT_A_NUMBER))
            continue
        if junction is not None and cold is None:
            rejected.append(f"{name}: its cold junction {junction.key} has no value")
            values.append(Value(name, math.nan, unit, None, Quality.BAD, junction.reason))
            continue
        celsius = convert(measured, cold)
        if low <= celsius <= high:
            values.append(Value(name, celsius, unit, None))
        elif math.isfinite(celsius):
            rejected.append(f"{name}: {celsius:.6g} °C; valid are {low:g} to {high:g}")
            values.append(Value(name, celsius, unit, None, Quality.BAD, Reason.OUT_OF_RANGE))
        else:
            reason = Reason.OPEN_OR_SHORT if field.electrical else Reason.NOT_A_NUMBER
            values.append(Value(name, math.nan, unit, None, Quality.BAD, reason))
    return values


def _read_battery(field: _Field, payload: bytes, rejected: list[str]) -> float | None:
    (name,), (end,) = field.names, field.ends
    if len(payload) < end:
        rejected.append(f"{name}: {len(payload)} bytes; it needs {end}")
        return None
    (raw,) = field.raws(payload)
    measured = raw if field.number is None else field.number(raw)
    if raw in field.absent or not math.isfinite(measured):
        return None
    percent = field.convert(measured, None)
    if field.low <= percent <= field.high:
        return percent
    rejected.append(f"{name}: {percent:.6g} %; valid are {field.low:g} to {field.high:g}")
    return None


def _field(value: LayoutValue, layout: Layout) -> _Field:
    """Check and compile one value of a layout."""
    size, stride = SIZES[value.type], value.stride or SIZES[value.type]
    starts = tuple(value.at + i * stride for i in range(value.repeat))
    if layout.length is not None and starts[-1] + size > layout.length[1]:
        raise SourceConfigError(f"it ends at byte {starts[-1] + size}, and length allows {layout.length[1]}")
    if wide := [raw for raw in value.absent if not 0 <= raw < 1 << 8 * size]:
        raise SourceConfigError(
            f"absent = {wide[0]}: the unsigned bits of a {value.type} are 0 to {(1 << 8 * size) - 1:#x}"
        )
    if value.multiplier == 0:
        raise SourceConfigError("multiplier = 0 makes every value the same")
    low, high = _valid(value)
    raws, raw, is_number = _reader(value, starts, stride)
    return _Field(
        names=value.names,
        ends=tuple(start + size for start in starts),
        raws=raws,
        raw=raw,
        absent=frozenset(int(number_of(bits, value.type)) for bits in value.absent)
        if is_number
        else frozenset(value.absent),
        number=None if is_number else lambda bits: number_of(bits, value.type),
        convert=_conversion(value),
        unit=_UNITS.get(value.unit, Unit.CELSIUS),
        electrical=value.sensor is not None,
        low=low,
        high=high,
        cold_from=_cold_from(value),
    )


def _valid(value: LayoutValue) -> tuple[float, float]:
    low, high = value.valid
    if not low < high:
        raise SourceConfigError(f"valid = [{low:g}, {high:g}] is empty; write the lower bound first")
    if value.unit == "percent":
        low, high = max(low, 0.0), min(high, 100.0)
        if not low < high:
            raise SourceConfigError("valid of a battery lies within 0 to 100")
    elif low < ABSOLUTE_ZERO:
        raise SourceConfigError(f"valid begins at {low:g} °C, below absolute zero")
    return low, high


def _reader(
    value: LayoutValue, starts: tuple[int, ...], stride: int
) -> tuple[Callable[[bytes], _Raws], Callable[[bytes, int], int], bool]:
    """Compile the reading of a row: all channels, one channel, and whether that gives numbers rather than bits."""
    code, size, field_type, endian = _STRUCT.get(value.type), SIZES[value.type], value.type, value.endian
    if code is None or stride < size:
        return (
            lambda payload: tuple(raw_bits(payload, start, field_type, endian) for start in starts),
            lambda payload, at: raw_bits(payload, starts[at], field_type, endian),
            False,
        )
    order = "<" if endian == "little" else ">"
    one = struct.Struct(order + code)
    row = struct.Struct(order + f"{stride - size}x".join(code * value.repeat))
    first = starts[0]

    def raw(payload: bytes, at: int) -> int:
        found: int = one.unpack_from(payload, starts[at])[0]
        return found

    return lambda payload: row.unpack_from(payload, first), raw, True


def _conversion(value: LayoutValue) -> Callable[[_Number, float | None], float]:
    """Compile raw × multiplier × 10^exponent × 2^binary_exponent + add, and the step from its unit to °C."""
    # A division by a power of ten is exact where a product with its inverse is not: 1072 / 10 is 107.2.
    factor = value.multiplier * 2.0**value.binary_exponent * 10.0 ** max(value.exponent, 0)
    divisor, add = 10.0 ** max(-value.exponent, 0), value.add
    if value.unit in UNITS:
        if value.sensor is None:
            raise SourceConfigError(f'unit = "{value.unit}" says no temperature; describe the sensor')
        convert = converter(value.sensor, value.unit)
        return lambda raw, cold: convert(raw * factor / divisor + add, cold)
    if value.sensor is not None:
        raise SourceConfigError(
            f'unit = "{value.unit}" needs no sensor; write what the sensor is measured in, or leave it out'
        )
    unit = _UNITS.get(value.unit, Unit.CELSIUS)
    if unit is Unit.CELSIUS:
        return lambda raw, _cold: raw * factor / divisor + add
    return lambda raw, _cold: to_celsius(raw * factor / divisor + add, unit)


def _cold_from(value: LayoutValue) -> str:
    return value.sensor.cold_from if isinstance(value.sensor, Thermocouple) else ""


def _uuid(layout: Layout) -> str:
    by_company = layout.source == "manufacturer_data"
    if by_company and layout.company is None:
        raise SourceConfigError('source = "manufacturer_data" needs company = 0x…')
    if by_company and layout.uuid:
        raise SourceConfigError('source = "manufacturer_data" has a company, no uuid')
    if not by_company and layout.company is not None:
        raise SourceConfigError(f'company belongs to source = "manufacturer_data"; "{layout.source}" has a uuid')
    if not by_company and not layout.uuid:
        raise SourceConfigError(f'source = "{layout.source}" needs a uuid')
    return full_uuid(layout.uuid) if layout.uuid else ""


def _check_source(layout: Layout) -> None:
    connected = layout.source in ("notify", "read")
    if layout.service and not connected:
        raise SourceConfigError(f'service belongs to source = "notify" or "read", not "{layout.source}"')
    if layout.service:
        full_uuid(layout.service)
    if layout.on_connect and not connected:
        raise SourceConfigError(f'on_connect belongs to source = "notify" or "read", not "{layout.source}"')
    if layout.every != _EVERY_SECONDS and layout.source != "read":
        raise SourceConfigError(f'every belongs to source = "read", not "{layout.source}"')


def _check_lengths(layout: Layout) -> None:
    if layout.length is not None and layout.length[0] > layout.length[1]:
        raise SourceConfigError(f"length = {list(layout.length)} is empty; write the least length first")
    greatest = layout.length[1] if layout.length is not None else None
    if (counter := layout.counter) is not None and greatest is not None and counter.at + SIZES[counter.type] > greatest:
        raise SourceConfigError(
            f"counter ends at byte {counter.at + SIZES[counter.type]}, and length allows {greatest}"
        )
    for need in layout.require:
        if greatest is not None and need.at >= greatest:
            raise SourceConfigError(f"require looks at byte {need.at}, and length allows {greatest} bytes")
        if need.value & ~need.mask:
            raise SourceConfigError(
                f"require at byte {need.at}: value {need.value:#04x} has bits outside the mask {need.mask:#04x}"
            )


def _check_names(values: tuple[LayoutValue, ...]) -> None:
    """Check that every channel has its own name, there is at most one battery, and cold junctions are found."""
    kinds: dict[str, LayoutValue] = {}
    for value in values:
        if len(value.names) != value.repeat:
            raise SourceConfigError(
                f"{len(value.names)} names ({', '.join(value.names)[:80]}) for repeat = {value.repeat}"
            )
        for name in value.names:
            if name in kinds:
                raise SourceConfigError(f"two channels are called {name!r}")
            kinds[name] = value
    batteries = [name for name, value in kinds.items() if value.unit == "percent"]
    if len(batteries) > 1:
        raise SourceConfigError(f'{", ".join(batteries)[:80]}: one battery, unit = "percent", is allowed')
    for name, value in kinds.items():
        junction = _cold_from(value)
        if not junction:
            continue
        found = kinds.get(junction)
        if found is None:
            raise SourceConfigError(f"{name}: cold_from = {junction!r} names no value of the layout")
        if found.unit == "percent":
            raise SourceConfigError(f"{name}: cold_from = {junction!r} is the battery")
        if _cold_from(found):
            raise SourceConfigError(f"{name}: cold_from = {junction!r} needs a cold junction itself")


def _write(uuid: str, text: str) -> tuple[str, bytes]:
    try:
        payload = bytes.fromhex(text)
    except ValueError:
        raise SourceConfigError(f'on_connect: {text[:40]!r} is not hexadecimal; write bytes = "01 ff"') from None
    if not 0 < len(payload) <= _MOST_WRITTEN:
        raise SourceConfigError(f"on_connect: {len(payload)} bytes; 1 to {_MOST_WRITTEN} can be written")
    return full_uuid(uuid), payload
