"""Find what could be a temperature in payloads nobody has described.

Every place of a payload is read as every number type, scale and unit in use. What lies where a pit or its surroundings
can be, and moves no faster than a probe can, is a candidate. At a glance that leaves many; the same payloads with the
probe in ice water and then in boiling water leave one or two.
"""

import itertools
import math
from collections import Counter
from collections.abc import Sequence
from functools import lru_cache

import msgspec

from adapters.decode.counters import CountingByte, find_counters
from adapters.decode.layout import Endian, FieldType, LayoutValue
from adapters.decode.number_types import FLOATS, SIZES, number_of, raw_bits
from adapters.reading import Unit, difference_kelvin, to_celsius

__all__ = ["Candidate", "Findings", "Scale", "find", "two_point"]

COLDEST, HOTTEST = -40.0, 450.0
"""Degrees Celsius a probe in or near a pit can have."""
ABLE_CELSIUS = 100.0
"""What a number must be able to tell, or it is no probe's for a pit."""
STEP_KELVIN, STEP_KELVIN_PER_SECOND = 3.0, 2.0
"""A probe moves no more than this from one payload to the next: a bit of noise, and what a probe carried from ice into
boiling water does."""
RESTLESS = 0.25
"""Mean step over whole range from which a row is noise, where it ranges over more than `RESTLESS_KELVIN`."""
RESTLESS_KELVIN, RESTLESS_STEPS = 1.2, 10
STILL_COLDEST, STILL_HOTTEST = 5.0, 150.0
"""What does not move at all is offered only if it is at rest where a probe may be."""
TOLERANCE_KELVIN = 2.0
AGREE = 0.8
"""Share of a bath's payloads that must be near it: a device may send other packets between."""
MAX_SAMPLES = 96
"""Payloads looked at of one place, spread evenly."""
MAX_PAYLOAD_BYTES = 64
"""Positions looked at; no box of probes needs more."""
SMALLEST_FLOAT = 1e-3
"""A float nearer to zero than this, and not zero, is other bytes read as one."""


class Scale(msgspec.Struct, frozen=True):
    """What a raw integer is multiplied by, in the terms of a layout."""

    multiplier: float = 1.0
    exponent: int = 0
    binary_exponent: int = 0

    @property
    def factor(self) -> float:
        """The product of the three."""
        return self.multiplier * 10.0**self.exponent * 2.0**self.binary_exponent


_SCALES: tuple[tuple[Scale, float], ...] = (
    (Scale(exponent=-1), 0.0),
    (Scale(exponent=-2), 0.2),
    (Scale(), 1.0),
    (Scale(binary_exponent=-1), 1.5),
    (Scale(binary_exponent=-4), 1.5),
    (Scale(binary_exponent=-2), 3.0),
    (Scale(binary_exponent=-8), 3.0),
    (Scale(exponent=-3), 3.0),
    (Scale(multiplier=2.0, exponent=-2), 4.0),
)
"""Scales in use, each with how unusual it is."""
_TYPES: tuple[tuple[FieldType, tuple[Endian, ...], float], ...] = (
    ("sint16", ("little", "big"), 0.0),
    ("uint16", ("little", "big"), 0.3),
    ("uint8", ("little",), 2.0),
    ("sint8", ("little",), 2.2),
    ("medfloat32", ("little",), 0.5),
    ("float32", ("little", "big"), 0.5),
    ("medfloat16", ("little",), 2.5),
    ("sint32", ("little", "big"), 3.0),
    ("uint32", ("little", "big"), 3.2),
    ("sint24", ("little", "big"), 4.0),
    ("uint24", ("little", "big"), 4.2),
)
"""Number types, each with how unusual it is; of equal readings the first is kept."""
_UNITS: tuple[tuple[Unit, float], ...] = ((Unit.CELSIUS, 0.0), (Unit.FAHRENHEIT, 0.8), (Unit.KELVIN, 2.5))
_BIG_ENDIAN = 0.4
_NOT_MOVING = 10.0
_LAYOUT_UNITS = {Unit.CELSIUS: "degC", Unit.FAHRENHEIT: "degF", Unit.KELVIN: "K"}


class Candidate(msgspec.Struct, frozen=True):
    """One way to read a temperature."""

    at: int
    type: FieldType
    endian: Endian
    scale: Scale
    unit: Unit
    celsius: float
    """What it reads in the last payload that has one."""
    low: float
    high: float
    """Least and greatest it read, °C."""
    moves: bool
    """Whether it ever changed: what never does may be anything."""
    doubt: float
    """How unusual this way is, and how far off; less is better."""

    def read(self, payload: bytes) -> float:
        """Read a payload, °C; NaN where it is too short or holds no number there."""
        return _celsius(_number(payload, self.at, self.type, self.endian), self.scale.factor, self.unit)

    def layout_value(self, names: tuple[str, ...] = ("temperature",)) -> LayoutValue:
        """Write it as the table of a layout."""
        scale = self.scale
        return LayoutValue(
            names=names, at=self.at, type=self.type, endian=self.endian, multiplier=scale.multiplier,
            exponent=scale.exponent, binary_exponent=scale.binary_exponent,
            unit=_LAYOUT_UNITS[self.unit],  # type: ignore[arg-type]
        )  # fmt: skip


class Findings(msgspec.Struct, frozen=True):
    """What a row of payloads may hold."""

    length: int
    """Of the payloads looked at: the most frequent one."""
    candidates: tuple[Candidate, ...] = ()
    """Best first."""
    counters: tuple[CountingByte, ...] = ()
    """Never part of a candidate."""


def find(history: Sequence[tuple[float, bytes]]) -> Findings:
    """Find the candidates in payloads of one place.

    Args:
        history: when heard (seconds) and what, oldest first. Payloads of another than the most frequent length are
            left aside.
    """
    if not history:
        return Findings(0)
    length = _usual_length([payload for _, payload in history])
    rows = [(t, payload) for t, payload in history if len(payload) == length]
    counters = find_counters([payload for _, payload in rows])
    counting = {at for counter in counters for at in range(counter.at, counter.at + counter.size)}
    sample = _spread(rows)
    allowed = [STEP_KELVIN + STEP_KELVIN_PER_SECOND * max(0.0, b[0] - a[0]) for a, b in itertools.pairwise(sample)]
    payloads = [payload for _, payload in sample]
    found = [
        candidate
        for at, field_type, endian, doubt in _places(length)
        if counting.isdisjoint(range(at, at + SIZES[field_type]))
        for candidate in _readable(payloads, allowed, at, field_type, endian, doubt)
    ]
    return Findings(length, tuple(_unlike(found, payloads)), tuple(counters))


def two_point(
    ice: Sequence[bytes],
    boiling: Sequence[bytes],
    boiling_celsius: float,
    *,
    tolerance_kelvin: float = TOLERANCE_KELVIN,
) -> list[Candidate]:
    """Find what reads ice in ice water and boiling in boiling water.

    Args:
        ice: payloads of one place with the probe in ice water, settled.
        boiling: payloads of the same place with the probe in boiling water, settled.
        boiling_celsius: at what the water boils here.
        tolerance_kelvin: how far off a reading may be.

    Returns:
        Best first; of those that read all payloads alike only one. Empty when a bath has no payload.
    """
    if not ice or not boiling:
        return []
    length = _usual_length([*ice, *boiling])
    cold = [payload for _, payload in _spread([(0.0, p) for p in ice if len(p) == length])]
    hot = [payload for _, payload in _spread([(0.0, p) for p in boiling if len(p) == length])]
    if not cold or not hot:
        return []
    found = []
    for at, field_type, endian, doubt in _places(length):
        in_ice = [_number(p, at, field_type, endian) for p in cold]
        in_boiling = [_number(p, at, field_type, endian) for p in hot]
        for scale, unit, unusual in _ways(field_type):
            colds = [_celsius(n, scale.factor, unit) for n in in_ice]
            off = _off(colds, 0.0, tolerance_kelvin)
            if off > tolerance_kelvin:
                continue
            hots = [_celsius(n, scale.factor, unit) for n in in_boiling]
            off = max(off, _off(hots, boiling_celsius, tolerance_kelvin))
            if off <= tolerance_kelvin:
                how = doubt + unusual + 2.0 * off
                found.append(_candidate(at, field_type, endian, scale, unit, colds + hots, how))
    return _unlike(found, [*cold, *hot])


def _off(celsius: list[float], bath: float, tolerance: float) -> float:
    """Tell how far the readings are from the bath, in the median; infinite when too few are near."""
    offs = sorted(abs(c - bath) for c in celsius if not math.isnan(c))
    near = sum(off <= tolerance for off in offs)
    return offs[len(offs) // 2] if near and near >= AGREE * len(celsius) else math.inf


def _usual_length(payloads: Sequence[bytes]) -> int:
    return Counter(map(len, payloads)).most_common(1)[0][0]


def _spread(rows: list[tuple[float, bytes]]) -> list[tuple[float, bytes]]:
    """Leave out repeats, then take at most `MAX_SAMPLES` evenly, the last one in any case."""
    kept = [row for row, before in zip(rows, [(0.0, None), *rows], strict=False) if row[1] != before[1]]
    if len(kept) <= MAX_SAMPLES:
        return kept
    step = (len(kept) - 1) / (MAX_SAMPLES - 1)
    return [kept[round(i * step)] for i in range(MAX_SAMPLES)]


@lru_cache(maxsize=128)
def _places(length: int) -> tuple[tuple[int, FieldType, Endian, float], ...]:
    """List every number a payload of so many bytes could hold, the likely types first."""
    return tuple(
        (at, field_type, endian, doubt + (_BIG_ENDIAN if endian == "big" else 0.0))
        for field_type, endians, doubt in _TYPES
        for at in range(min(length, MAX_PAYLOAD_BYTES) - SIZES[field_type] + 1)
        for endian in endians
    )


@lru_cache(maxsize=16)
def _ways(field_type: FieldType) -> tuple[tuple[Scale, Unit, float], ...]:
    """List scales and units in which a type can tell the heat of boiling water, each with how unusual it is."""
    if field_type in FLOATS:
        return tuple((Scale(), unit, odd) for unit, odd in _UNITS)
    bits = 8 * SIZES[field_type] - (field_type[0] == "s")
    return tuple(
        (scale, unit, unusual + odd)
        for scale, unusual in _SCALES
        for unit, odd in _UNITS
        if _celsius(2.0**bits - 1, scale.factor, unit) >= ABLE_CELSIUS
    )


def _number(payload: bytes, at: int, field_type: FieldType, endian: Endian) -> float:
    if len(payload) < at + SIZES[field_type]:
        return math.nan
    number = number_of(raw_bits(payload, at, field_type, endian), field_type)
    if field_type in FLOATS and 0.0 < abs(number) < SMALLEST_FLOAT:
        return math.nan
    return number


def _celsius(number: float, factor: float, unit: Unit) -> float:
    return to_celsius(number * factor, unit)


def _readable(
    payloads: list[bytes], allowed: list[float], at: int, field_type: FieldType, endian: Endian, doubt: float
) -> list[Candidate]:
    """Give the scales and units in which the numbers at a place are a temperature throughout."""
    numbers = [_number(payload, at, field_type, endian) for payload in payloads]
    if any(math.isnan(n) for n in numbers):
        return []
    low, high = min(numbers), max(numbers)
    # How much faster than a probe it moves, were one step of the number a kelvin.
    pace = max((abs(b - a) / most for a, b, most in zip(numbers, numbers[1:], allowed, strict=False)), default=0.0)
    restless = len(numbers) > RESTLESS_STEPS and _restlessness(numbers) > RESTLESS
    if low == high and (low == 0.0 or payloads[0][at : at + SIZES[field_type]].count(255) == SIZES[field_type]):
        return []
    found = []
    for scale, unit, unusual in _ways(field_type):
        coldest, hottest = _celsius(low, scale.factor, unit), _celsius(high, scale.factor, unit)
        if coldest < COLDEST or hottest > HOTTEST or difference_kelvin(pace * scale.factor, unit) > 1.0:
            continue
        if restless and hottest - coldest > RESTLESS_KELVIN:
            continue
        if low == high and not STILL_COLDEST <= coldest <= STILL_HOTTEST:
            continue
        celsius = [_celsius(n, scale.factor, unit) for n in numbers]
        how = doubt + unusual + _strange(celsius[-1]) + (0.0 if low < high else _NOT_MOVING)
        found.append(_candidate(at, field_type, endian, scale, unit, celsius, how))
    return found


def _restlessness(numbers: list[float]) -> float:
    """Give the mean step over the whole range: what warms or cools takes many small steps one way, noise does not."""
    wide = max(numbers) - min(numbers)
    steps = sum(abs(b - a) for a, b in itertools.pairwise(numbers)) / (len(numbers) - 1)
    return steps / wide if wide else 0.0


def _strange(celsius: float) -> float:
    """Tell how unlikely a temperature is for a probe that lies in a yard or in a pit."""
    if 12.0 <= celsius <= 35.0:
        return 0.0
    return 1.0 if 0.0 <= celsius <= 180.0 else 4.0


def _candidate(
    at: int, field_type: FieldType, endian: Endian, scale: Scale, unit: Unit, celsius: list[float], doubt: float
) -> Candidate:
    known = [c for c in celsius if not math.isnan(c)]
    low, high = min(known), max(known)
    return Candidate(at, field_type, endian, scale, unit, known[-1], low, high, low < high, round(doubt, 3))


def _unlike(found: list[Candidate], payloads: list[bytes]) -> list[Candidate]:
    """Sort the candidates, best first, and leave out those that read everything just as a better one does."""
    kept: dict[tuple[float, ...], Candidate] = {}
    for candidate in sorted(found, key=lambda c: c.doubt):
        readings = tuple(round(candidate.read(payload), 6) for payload in payloads)
        kept.setdefault(readings, candidate)
    return list(kept.values())
