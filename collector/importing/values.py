"""Temperatures as other programs write them, and whether their unit is what it is said to be. Pure."""

import re
from collections.abc import Collection

from adapters.reading import Unit

__all__ = ["UNITS", "number", "unit_in_doubt", "unit_in_name"]

UNITS = {"C": Unit.CELSIUS, "F": Unit.FAHRENHEIT, "K": Unit.KELVIN}
_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?\Z")
_IN_NAME = re.compile(
    r"\s*(?:[(\[]\s*(?:°|deg)?\s*([CFK])\s*[)\]]|[ _](?:°|deg)([CFK])|°([CFK])"
    r"|[ _(\[](celsius|fahrenheit|kelvin)[)\]]?)\s*\Z",
    re.IGNORECASE,
)
FURTHEST = 9999.0
"""In any unit; what is on record goes to 10,000 °C."""
AT_MOST_CELSIUS = {"meat": 105.0, "grate": 180.0, "": 180.0}
"""By duty. Meat holds water, which boils; nine tenths of a cook of whole briskets lie below 180 °C at the grate, 356 °F
(common practice, no source)."""
CHAMBER_AT_LEAST_FAHRENHEIT = 150.0
LIKE_CELSIUS_FROM = 80.0


def number(text: str, decimal: str, no_value: Collection[str]) -> float:
    """Read a number; NaN for what stands where there was none.

    Args:
        text: as it stands there.
        decimal: `.` or `,`.
        no_value: what stands for none, in small letters.

    Raises:
        ValueError: it is none; the message says how to mend it.
    """
    word = text.strip()
    if word.casefold() in no_value:
        return float("nan")
    plain = word.replace(",", ".") if decimal == "," and "." not in word else word
    if not plain.isascii() or not _NUMBER.match(plain):
        hint = ""
        if decimal == "." and _NUMBER.match(word.replace(",", ".", 1)):
            hint = "; with a decimal comma say --decimal ,"
        elif decimal == "," and _NUMBER.match(word):
            hint = "; it has a decimal point: leave --decimal away"
        raise ValueError(f"{word[:40]!r} is no number{hint}")
    value = float(plain)
    if abs(value) > FURTHEST:
        raise ValueError(f"{word[:40]!r} is no temperature")
    return value


def unit_in_name(column: str) -> tuple[str, str]:
    """Give the name of a column without its unit, and the unit: `grate (°F)` is `grate` in `F`; empty where none is."""
    match = _IN_NAME.search(column)
    if match is None:
        return column.strip(), ""
    return column[: match.start()].strip(), next(group for group in match.groups() if group)[0].upper()


def unit_in_doubt(unit: Unit, duty: str, celsius: float) -> str:
    """Say why a probe's values do not look like their unit; empty where they do.

    Args:
        unit: in which they are said to be.
        duty: of the probe: `grate`, `meat`; empty: not known.
        celsius: nine tenths of its values lie below.
    """
    if unit is Unit.CELSIUS and duty in AT_MOST_CELSIUS:
        if celsius > AT_MOST_CELSIUS[duty]:
            return f"a tenth of its values is above {celsius:.0f} °C; that looks like °F: --unit F"
    elif unit is Unit.FAHRENHEIT and duty == "grate":
        fahrenheit = celsius * 1.8 + 32.0
        if LIKE_CELSIUS_FROM <= fahrenheit < CHAMBER_AT_LEAST_FAHRENHEIT:
            return f"nine tenths of its values are below {fahrenheit:.0f} °F; that looks like °C: --unit C"
    return ""
