"""Temperatures and differences as a cook writes them: a number and its unit, `"235 F"`."""

import math
import re

from adapters.reading import Unit, difference_kelvin, to_celsius
from collector.model.meat.piece import POUND_KG

__all__ = [
    "QuantityError",
    "parse_difference",
    "parse_hours",
    "parse_length",
    "parse_mass",
    "parse_temperature",
    "parse_time_of_day",
]

_UNITS = {"C": Unit.CELSIUS, "F": Unit.FAHRENHEIT, "K": Unit.KELVIN}
_QUANTITY = re.compile(r"^\s*([-+]?\d+(?:\.\d+)?)\s*°?\s*([CFK])\s*$")


ABSOLUTE_ZERO_CELSIUS = -273.15


class QuantityError(ValueError):
    """Not a number and its unit."""


def _parse(text: str) -> tuple[float, Unit]:
    match = _QUANTITY.match(text)
    if not match or not math.isfinite(float(match[1])):
        raise QuantityError(f'{text!r} is no temperature; write a number and its unit, such as "235 F" or "113 C"')
    return float(match[1]), _UNITS[match[2]]


def parse_temperature(text: str) -> float:
    """Read a temperature; return degrees Celsius.

    >>> round(parse_temperature("235 F"), 1)
    112.8

    Raises:
        QuantityError: not a number and its unit, or below absolute zero.
    """
    celsius = to_celsius(*_parse(text))
    if celsius < ABSOLUTE_ZERO_CELSIUS - 1e-9:
        raise QuantityError(f"{text!r} is below absolute zero")
    return celsius


def parse_difference(text: str) -> float:
    """Read a temperature difference; return kelvin.

    >>> round(parse_difference("20 F"), 1)
    11.1

    Raises:
        QuantityError: not a number and its unit.
    """
    value, unit = _parse(text)
    return difference_kelvin(value, unit)


_HOURS = re.compile(r"^\s*([01]?\d|2[0-3]):([0-5]\d)\s*[-–]\s*([01]?\d|2[0-3]):([0-5]\d)\s*$")


def parse_hours(text: str) -> tuple[int, int]:
    """Read hours of the day; return their start and end, minutes after midnight.

    Raises:
        QuantityError: not two different times of the day.
    """
    match = _HOURS.match(text)
    start, end = (60 * int(match[k]) + int(match[k + 1]) for k in (1, 3)) if match else (0, 0)
    if start == end:
        raise QuantityError(f'{text!r} are no hours; write from when to when by a 24-hour clock, such as "22:30-06:00"')
    return start, end


_MASS = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*(kg|lb)s?\s*$")
_KILOGRAMS = {"kg": 1.0, "lb": POUND_KG}
MOST_KILOGRAMS = 100.0


def parse_mass(text: str) -> float:
    """Read the mass of a piece of meat; return kilograms.

    >>> round(parse_mass("13 lb"), 1)
    5.9

    Raises:
        QuantityError: not a number and its unit, or nothing that lies on a grate.
    """
    match = _MASS.match(text)
    kilograms = float(match[1]) * _KILOGRAMS[match[2]] if match else 0.0
    if not 0.0 < kilograms <= MOST_KILOGRAMS:
        raise QuantityError(f'{text!r} is no mass of a piece of meat; write "13 lb" or "6 kg"')
    return kilograms


_LENGTH = re.compile(r"^\s*([-+]?\d+(?:\.\d+)?)\s*(m|cm|mm|in|ft)?\s*$")
_METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}


def parse_length(text: str, unit: str = "") -> float:
    """Read a length; return metres.

    >>> round(parse_length("16 in"), 3)
    0.406

    Args:
        text: a number and its unit.
        unit: of a number without one; empty: there must be one.

    Raises:
        QuantityError: not a number, or without a unit.
    """
    match = _LENGTH.match(text)
    named = (match[2] or unit) if match else ""
    if match is None or not named:
        raise QuantityError(f"{text!r} is no length; write a number and its unit, such as '40 cm' or '16 in'")
    return float(match[1]) * _METRES[named]


_TIME = re.compile(r"^\s*([01]?\d|2[0-3]):([0-5]\d)\s*$")


def parse_time_of_day(text: str) -> int:
    """Read a time of day; return minutes after midnight.

    >>> parse_time_of_day("13:00")
    780

    Raises:
        QuantityError: it is none.
    """
    match = _TIME.match(text)
    if not match:
        raise QuantityError(f'{text!r} is no time of day; write "13:00"')
    return 60 * int(match[1]) + int(match[2])
