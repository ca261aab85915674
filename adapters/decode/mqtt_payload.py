"""An MQTT payload to values: a plain number, JSON by JSON Pointer (RFC 6901), or SenML (RFC 8428)."""

import datetime as dt
import math
from dataclasses import dataclass, field
from typing import Any, Literal

import msgspec
from jsonpointer import JsonPointer, JsonPointerException

from adapters.decode.electrical import converter
from adapters.decode.layout import Sensor, Thermocouple
from adapters.decode.senml import decode_cbor, decode_json
from adapters.decode.value import Value
from adapters.errors import DecodeError, SourceConfigError
from adapters.reading import Quality, Reason, Unit, to_celsius

__all__ = ["MAX_PAYLOAD_BYTES", "KeyPlace", "PayloadReader"]

MAX_PAYLOAD_BYTES = 64 * 1024
"""A pack of a thousand probes fits; a picture sent to the wrong topic does not."""

UNITS = {
    "C": Unit.CELSIUS, "Cel": Unit.CELSIUS, "°C": Unit.CELSIUS, "degC": Unit.CELSIUS, "celsius": Unit.CELSIUS,
    "F": Unit.FAHRENHEIT, "[degF]": Unit.FAHRENHEIT, "°F": Unit.FAHRENHEIT, "degF": Unit.FAHRENHEIT,
    "fahrenheit": Unit.FAHRENHEIT, "K": Unit.KELVIN, "kelvin": Unit.KELVIN,
}  # fmt: skip
"""How senders write units; SenML's own symbol is `Cel`."""

Kind = Literal["number", "json", "senml", "senml-cbor"]


@dataclass(frozen=True, slots=True)
class KeyPlace:
    """Where the probe key is found: the whole topic, one of its levels (from 1), or a JSON Pointer.

    Raises:
        SourceConfigError: none of the three.
    """

    text: str
    _level: int | None = field(init=False, repr=False)
    """Which level of the topic, from 0; None where it is none of them."""

    def __post_init__(self) -> None:
        word, _, number = self.text.partition(" ")
        by_level = word == "level" and number.isascii() and number.isdigit() and int(number) >= 1
        if not (by_level or self.text == "topic" or self.text.startswith("/")):
            raise SourceConfigError(f'{self.text!r} says no place of a key; write "topic", "level 2" or a JSON Pointer')
        object.__setattr__(self, "_level", int(number) - 1 if by_level else None)

    def in_topic(self, topic: str) -> str | None:
        """Find the key in a topic; None when it is in the payload, or the topic has no such level."""
        level = self._level
        if level is None:
            return topic if self.text == "topic" else None
        levels = topic.split("/")
        return levels[level] if level < len(levels) else None


class PayloadReader:
    """Reads the payloads of one subscription.

    Args:
        kind: what the payload is.
        value: JSON Pointer to the value; empty for the whole document.
        unit: the unit, where the payload does not say.
        unit_pointer: JSON Pointer to the unit.
        time_pointer: JSON Pointer to the time: Unix seconds or milliseconds, or ISO 8601 with an offset.
        key: where the probe key is.

    Raises:
        SourceConfigError: a pointer or the place of the key is none.
    """

    def __init__(
        self,
        kind: Kind = "number",
        *,
        value: str = "",
        unit: Unit = Unit.CELSIUS,
        unit_pointer: str = "",
        time_pointer: str = "",
        key: str = "topic",
        sensor: Sensor | None = None,
        electrical: str = "",
    ) -> None:
        self._kind = kind
        self._convert = converter(sensor, electrical or "ohm") if sensor is not None else None
        self._cold = None
        if isinstance(sensor, Thermocouple) and sensor.cold_from:
            if kind != "json":
                raise SourceConfigError(f"cold_from {sensor.cold_from!r} points into JSON; the payload is {kind!r}")
            self._cold = _pointer(sensor.cold_from)
        if (sensor is None) is not (not electrical):
            what = (
                f'unit "{electrical}" needs a sensor' if electrical else "a sensor needs a unit: ohm, uV, mV, V, count"
            )
            raise SourceConfigError(what)
        if sensor is not None and (unit_pointer or kind in ("senml", "senml-cbor")):
            raise SourceConfigError("a sensor's unit is written here, it cannot come in the payload")
        self._unit = unit
        self._key = KeyPlace(key)
        self._value = _pointer(value)
        self._unit_pointer = _pointer(unit_pointer) if unit_pointer else None
        self._time_pointer = _pointer(time_pointer) if time_pointer else None
        self._key_pointer = _pointer(key) if key.startswith("/") else None
        if self._key_pointer is not None and kind != "json":
            raise SourceConfigError(f"the key can be found by {key!r} in JSON only")

    def key_in_topic(self, topic: str) -> str | None:
        """Find the probe key in a topic; None when only the payload tells it."""
        if self._kind in ("senml", "senml-cbor"):
            return None
        return self._key.in_topic(topic)

    def read(self, topic: str, payload: bytes, now_unix: float) -> list[Value]:
        """Read one payload.

        Args:
            topic: where it was published.
            payload: its bytes.
            now_unix: the time, for SenML's relative times.

        Raises:
            DecodeError: it is not what it should be.
        """
        if len(payload) > MAX_PAYLOAD_BYTES:
            raise DecodeError(f"payload of {len(payload)} bytes; at most {MAX_PAYLOAD_BYTES} are read")
        if self._kind == "number":
            return [self._number(topic, payload)]
        if self._kind == "json":
            return [self._json(topic, payload)]
        return self._senml(payload, now_unix)

    def _number(self, topic: str, payload: bytes) -> Value:
        try:
            if b"_" in payload:
                raise ValueError
            number = float(payload)
        except ValueError:
            raise DecodeError(f"payload {payload[:40]!r} is not a number") from None
        key = self._key.in_topic(topic)
        if key is None:
            raise DecodeError(f"topic {topic!r} has no {self._key.text}")
        return self._made(key, number, self._unit, None, None)

    def _json(self, topic: str, payload: bytes) -> Value:
        try:
            document = msgspec.json.decode(payload)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            raise DecodeError(f"payload {payload[:40]!r} is not JSON: {error}") from error
        key = self._key.in_topic(topic)
        if self._key_pointer is not None:
            found = _resolve(self._key_pointer, document, "key")
            key = str(found) if isinstance(found, str | int) and not isinstance(found, bool) else None
        if not key:
            raise DecodeError(f"no probe key at {self._key.text!r}")
        unit = self._unit
        if self._unit_pointer is not None:
            word = _resolve(self._unit_pointer, document, "unit")
            unit = UNITS.get(word, unit) if isinstance(word, str) else unit
            if not isinstance(word, str) or word not in UNITS:
                raise DecodeError(f"unit {word!r} at {self._unit_pointer.path!r} is not known; known: {sorted(UNITS)}")
        time = None
        if self._time_pointer is not None:
            time = _time(_resolve(self._time_pointer, document, "time"))
        cold = None if self._cold is None else _numeric(_resolve(self._cold, document, "cold junction"))
        return self._made(key, _numeric(_resolve(self._value, document, "value")), unit, time, cold)

    def _made(self, key: str, number: float, unit: Unit, time: float | None, cold_celsius: float | None) -> Value:
        """Make the value, through the sensor where there is one."""
        if self._convert is None or not math.isfinite(number):
            return _value(key, number, unit, time)
        celsius = self._convert(number, cold_celsius)
        if not math.isfinite(celsius):
            return Value(key, math.nan, unit, time, Quality.BAD, Reason.OPEN_OR_SHORT)
        return Value(key, celsius, Unit.CELSIUS, time)

    def _senml(self, payload: bytes, now_unix: float) -> list[Value]:
        decode = decode_json if self._kind == "senml" else decode_cbor
        values = [
            _value(record.name, record.value, UNITS[record.unit], record.time_unix)
            for record in decode(payload, now_unix)
            if record.unit in UNITS and isinstance(record.value, float)
        ]
        if not values:
            raise DecodeError(f"the pack holds no temperature (units {sorted(UNITS)})")
        return values


def _pointer(text: str) -> JsonPointer:
    try:
        return JsonPointer(text)
    except JsonPointerException as error:
        raise SourceConfigError(f"{text!r} is no JSON Pointer (RFC 6901): {error}") from error


def _resolve(pointer: JsonPointer, document: Any, what: str) -> Any:
    try:
        return pointer.resolve(document)
    except JsonPointerException as error:
        raise DecodeError(f"no {what} at {pointer.path!r}: {error}") from error


def _numeric(found: Any) -> float:
    """Take a number, or text that is one; null is a probe that has no value."""
    if found is None:
        return math.nan
    if isinstance(found, int | float) and not isinstance(found, bool):
        try:
            return float(found)
        except OverflowError:
            return math.nan
    if isinstance(found, str) and "_" not in found:
        try:
            return float(found)
        except ValueError:
            pass
    raise DecodeError(f"value {str(found)[:40]!r} is not a number")


def _time(found: Any) -> float:
    if isinstance(found, int | float) and not isinstance(found, bool) and 0 <= found < 2**43:
        return found / 1000 if found > 1e11 else float(found)
    if isinstance(found, str):
        try:
            when = dt.datetime.fromisoformat(found)
        except ValueError as error:
            raise DecodeError(f"time {found[:40]!r} is not ISO 8601") from error
        if when.tzinfo is None:
            raise DecodeError(f"time {found[:40]!r} has no offset: add Z or +hh:mm")
        return when.timestamp()
    raise DecodeError(f"time {str(found)[:40]!r} is neither Unix seconds nor ISO 8601")


def _value(key: str, number: float, unit: Unit, source_unix: float | None) -> Value:
    if not math.isfinite(number) or abs(number) > 1e6:
        return Value(key, math.nan, unit, source_unix, Quality.BAD, Reason.NOT_A_NUMBER)
    return Value(key, to_celsius(number, unit), unit, source_unix)
