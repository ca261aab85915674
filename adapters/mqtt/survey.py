"""What has been heard from a broker so far: topics, how often, the shape of their payloads; bounded, and no clock."""

import math
import statistics
from collections import deque
from collections.abc import Iterator
from typing import Any, Literal

import msgspec

from adapters.decode.mqtt_payload import MAX_PAYLOAD_BYTES, UNITS
from adapters.decode.senml import decode_cbor, decode_json
from adapters.errors import DecodeError
from adapters.reading import Unit, to_celsius

__all__ = ["Kind", "Leaf", "Topic", "TopicSurvey"]

MAX_TOPICS = 4096
"""Further ones are counted only."""
MAX_LEAVES = 64
MAX_DEPTH = 12
MAX_INTERVALS = 64
EXCERPT_BYTES = 120
COLDEST, HOTTEST = -40.0, 450.0
"""Degrees Celsius a probe in or near a pit can have."""

Kind = Literal["number", "json", "senml", "senml-cbor", "text", "bytes", "empty", "too long"]

_MEANT = ("temp", "grill", "probe", "meat", "food", "pit", "grate", "ambient", "celsius", "fahrenheit", "deg")
_NOT_MEANT = (
    "batt", "rssi", "lqi", "linkquality", "volt", "humid", "press", "uptime", "time", "stamp", "date", "version", "id",
    "count", "index", "port", "fan", "percent", "power", "current", "size", "length", "heap", "target", "set",
)  # fmt: skip
"""Parts of names by which a number is more or less likely to be what is looked for: plain English words."""


class Leaf(msgspec.Struct, frozen=True):
    """One number in a payload."""

    pointer: str
    """JSON Pointer; empty for the whole payload. For SenML the record's name."""
    value: float
    low: float
    high: float
    """Least and greatest heard."""
    unit: Unit | None
    """Where the payload tells it."""
    unit_pointer: str
    """JSON Pointer to the unit. Empty when it is not told, or told by SenML itself."""
    likely: bool
    """Whether it could be a temperature, and nothing in its name speaks against it."""
    named: bool
    """Whether its name speaks for it, or a temperature's unit stands with it."""


class Topic(msgspec.Struct, frozen=True):
    """One topic as heard so far."""

    topic: str
    """As published: hostile text, never printed as it is."""
    messages: int
    retained: int
    """How many of them the broker had kept from before."""
    interval_median: float | None
    """Seconds between messages that were not retained; None before the second."""
    interval_longest: float | None
    kind: Kind
    """Of the last payload."""
    size: int
    """Bytes of the last payload."""
    excerpt: bytes
    """Its beginning."""
    leaves: tuple[Leaf, ...]
    """Its numbers."""


class _Heard(msgspec.Struct):
    messages: int = 0
    retained: int = 0
    last_unix: float | None = None
    longest: float | None = None
    kind: Kind = "empty"
    size: int = 0
    excerpt: bytes = b""
    intervals: deque[float] = msgspec.field(default_factory=lambda: deque(maxlen=MAX_INTERVALS))
    bounds: dict[str, tuple[float, float]] = msgspec.field(default_factory=dict)
    numbers: list[tuple[str, float, Unit | None, str]] = msgspec.field(default_factory=list)


class TopicSurvey:
    """Takes messages and tells what they amount to."""

    def __init__(self) -> None:
        self._topics: dict[str, _Heard] = {}
        self.messages = 0
        self.left_out = 0
        """Messages on topics beyond the 4,096 looked at."""

    def take(self, topic: str, payload: bytes, unix: float, *, retained: bool = False) -> None:
        """Take one message."""
        self.messages += 1
        heard = self._topics.get(topic)
        if heard is None:
            if len(self._topics) >= MAX_TOPICS:
                self.left_out += 1
                return
            heard = self._topics[topic] = _Heard()
        heard.messages += 1
        heard.retained += retained
        if not retained:
            if heard.last_unix is not None:
                interval = max(0.0, unix - heard.last_unix)
                heard.intervals.append(interval)
                heard.longest = max(heard.longest or 0.0, interval)
            heard.last_unix = unix
        heard.size, heard.excerpt = len(payload), payload[:EXCERPT_BYTES]
        heard.kind, heard.numbers = _shape(payload, unix)
        for pointer, value, _, _ in heard.numbers:
            low, high = heard.bounds.get(pointer, (value, value))
            if pointer in heard.bounds or len(heard.bounds) < MAX_LEAVES:
                heard.bounds[pointer] = (min(low, value), max(high, value))

    def topics(self) -> tuple[Topic, ...]:
        """Tell what was heard: topics with a likely temperature first, then by name."""
        made = [_topic(name, heard) for name, heard in self._topics.items()]
        return tuple(sorted(made, key=lambda t: (not any(leaf.likely for leaf in t.leaves), t.topic)))


def _topic(name: str, heard: _Heard) -> Topic:
    leaves = []
    for pointer, value, unit, unit_pointer in heard.numbers:
        low, high = heard.bounds.get(pointer, (value, value))
        words = f"{name}{'' if heard.kind.startswith('senml') else pointer}".lower()
        last = (pointer or name).rpartition("/")[2].lower()
        against = any(word in last for word in _NOT_MEANT) and "temp" not in last
        told = unit is not None
        likely = _possible(low, unit) and _possible(high, unit) and (told or not against)
        if heard.kind.startswith("senml"):
            likely = likely and told
        named = told or any(word in words for word in _MEANT)
        leaves.append(Leaf(pointer, value, low, high, unit, unit_pointer, likely, named))
    median = statistics.median(heard.intervals) if heard.intervals else None
    return Topic(
        name, heard.messages, heard.retained, median, heard.longest, heard.kind, heard.size, heard.excerpt,
        tuple(leaves),
    )  # fmt: skip


def _possible(number: float, unit: Unit | None) -> bool:
    """Tell whether a number is a temperature of a pit in its unit, or in °C or °F where none is told."""
    if unit is None:
        return COLDEST <= number <= HOTTEST * 1.8 + 32.0
    return COLDEST <= to_celsius(number, unit) <= HOTTEST


_Numbers = list[tuple[str, float, Unit | None, str]]


def _shape(payload: bytes, unix: float) -> tuple[Kind, _Numbers]:
    """Find what a payload is, and the numbers in it."""
    if not payload:
        return "empty", []
    if len(payload) > MAX_PAYLOAD_BYTES:
        return "too long", []
    number = _number(payload)
    if number is not None:
        return "number", [("", number, None, "")]
    if payload[:1] in b"[{" or payload.lstrip()[:1] in (b"[", b"{"):
        return _json(payload, unix)
    if payload[0] >> 5 == 4:  # a CBOR array
        try:
            return "senml-cbor", _records(decode_cbor(payload, unix))
        except DecodeError:
            pass
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError:
        return "bytes", []
    return ("text" if text.isprintable() or "\n" in text else "bytes"), []


def _number(payload: bytes) -> float | None:
    if len(payload) > 40 or b"_" in payload:
        return None
    try:
        number = float(payload)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _json(payload: bytes, unix: float) -> tuple[Kind, _Numbers]:
    try:
        document = msgspec.json.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return ("text" if payload.isascii() else "bytes"), []
    if isinstance(document, list) and document and isinstance(document[0], dict):
        try:
            return "senml", _records(decode_json(payload, unix))
        except DecodeError:
            pass
    return "json", list(_leaves(document, "", 0))[:MAX_LEAVES]


def _records(records: list[Any]) -> _Numbers:
    return [(r.name, r.value, UNITS.get(r.unit or ""), "") for r in records if isinstance(r.value, float)][:MAX_LEAVES]


def _leaves(document: Any, pointer: str, depth: int) -> Iterator[tuple[str, float, Unit | None, str]]:
    """Walk a document; a text beside a number that names a unit of temperature is the unit of that number."""
    if depth > MAX_DEPTH:
        return
    if isinstance(document, dict):
        unit_key = next(
            (k for k, v in document.items() if isinstance(v, str) and v in UNITS and "unit" in k.lower()), None
        )
        for key, value in document.items():
            below = f"{pointer}/{key.replace('~', '~0').replace('/', '~1')}"
            number = _leaf(value)
            if number is not None:
                unit = UNITS[document[unit_key]] if unit_key is not None else None
                told = f"{pointer}/{unit_key.replace('~', '~0').replace('/', '~1')}" if unit_key is not None else ""
                against = any(word in key.lower() for word in _NOT_MEANT) and "temp" not in key.lower()
                yield (below, number, None, "") if against else (below, number, unit, told)
            else:
                yield from _leaves(value, below, depth + 1)
    elif isinstance(document, list):
        for index, value in enumerate(document[:MAX_LEAVES]):
            number = _leaf(value)
            if number is not None:
                yield f"{pointer}/{index}", number, None, ""
            else:
                yield from _leaves(value, f"{pointer}/{index}", depth + 1)


def _leaf(value: Any) -> float | None:
    """Take a number, or a text that is one, as the adapter does."""
    if isinstance(value, bool):
        return None
    if isinstance(value, int | float):
        try:
            number = float(value)
        except OverflowError:
            return None
        return number if math.isfinite(number) else None
    return _number(value.encode("utf-8", "replace")) if isinstance(value, str) and value else None
