"""Readings as CSV (RFC 4180, lines ended by LF), one line each, raw, in the order they came; and back to the row.

Nothing of a reading is lost but the receipt, by which a broker knew it.
"""

from collections.abc import Mapping

from adapters.reading import Quality, Reason, Unit
from collector.formats.lines import TextSink, line_writer
from collector.formats.moments import iso, milliseconds
from collector.store.record import Cook, Record
from collector.store.row import Row
from collector.store.schema import SEQUENCE_BITS

__all__ = ["COLUMNS", "SHORT_COLUMNS", "names_of", "row_of_fields", "write_readings"]

SHORT_COLUMNS = ("time_utc", "probe", "source", "key", "raw_celsius", "quality", "reason", "source_time_utc")
"""Of an earlier coldside; the rest is optional when it is read."""
COLUMNS = (*SHORT_COLUMNS, "unit", "came_quality", "came_reason", "number")
"""`quality`, `reason`: by the screening; `came_…`: as the source gave it. `number`: within its millisecond."""
_UNITS = ("C", "F", "K")
"""By the number that is kept of the unit a value came in."""
_QUALITY = [quality.name.lower() for quality in Quality]
_REASON = {reason.value: reason.name.lower() for reason in Reason}
_QUALITY_NUMBER = {name: number for number, name in enumerate(_QUALITY)}
_REASON_NUMBER = {name: number for number, name in _REASON.items()}
assert tuple(unit.value for unit in Unit) == ("Cel", "[degF]", "K"), "the order of _UNITS"
_SEQUENCE = (1 << SEQUENCE_BITS) - 1


def names_of(record: Record, cook: Cook) -> dict[tuple[str, str], str]:
    """Give the name of each probe of a cook by its source and key."""
    return {(p.source, p.key): p.name for _, plan in record.plans(cook) for p in plan.probes}


def write_readings(record: Record, cook: Cook, file: TextSink, *, for_spreadsheet: bool = False) -> int:
    """Write the readings of a cook; return how many."""
    names, series = names_of(record, cook), record.series()
    write = line_writer(file, for_spreadsheet=for_spreadsheet)
    write(COLUMNS)
    count = 0
    for ordinal, number, value, flags, source_ms, _ in record.rows(cook):
        source, key = series[number]
        ms = ordinal >> SEQUENCE_BITS
        write(
            (
                iso(ms), names.get((source, key), ""), source, key, _degrees(value),
                _QUALITY[flags >> 12 & 3], _REASON[flags >> 14 & 63], "" if source_ms is None else iso(ms + source_ms),
                _UNITS[flags >> 8 & 15], _QUALITY[flags & 3], _REASON[flags >> 2 & 63], ordinal & _SEQUENCE,
            )
        )  # fmt: skip
        count += 1
    return count


def _degrees(milli: int | None) -> str:
    return "" if milli is None else f"{'-' if milli < 0 else ''}{abs(milli) // 1000}.{abs(milli) % 1000:03d}"


def row_of_fields(fields: Mapping[str, str], series: int) -> Row:
    """Turn the fields of a line, by the name of their column, back into the row.

    Raises:
        ValueError: one is not as it was written; the message names its column.
    """
    try:
        column = "time_utc"
        ms = milliseconds(fields[column])
        column = "raw_celsius"
        value = _milli(fields[column])
        column = "source_time_utc"
        source_ms = milliseconds(fields[column]) - ms if fields[column] else None
        column = "number"
        sequence = int(fields[column])
        if not 0 <= sequence <= _SEQUENCE:
            raise ValueError(f"{sequence} is not within 0 to {_SEQUENCE}")
        flags = 0
        for column, words, shift in (
            ("came_quality", _QUALITY_NUMBER, 0), ("came_reason", _REASON_NUMBER, 2), ("unit", _UNIT_NUMBER, 8),
            ("quality", _QUALITY_NUMBER, 12), ("reason", _REASON_NUMBER, 14),
        ):  # fmt: skip
            if fields[column] not in words:
                raise ValueError(f"{fields[column]!r} is none of {', '.join(words)}")
            flags |= words[fields[column]] << shift
    except (ValueError, KeyError) as error:
        raise ValueError(f"column {column!r}: {error}") from error
    return ms << SEQUENCE_BITS | sequence, series, value, flags, source_ms, None


_UNIT_NUMBER = {name: number for number, name in enumerate(_UNITS)}


def _milli(text: str) -> int | None:
    if not text:
        return None
    whole, dot, rest = text.lstrip("-").partition(".")
    if not (whole.isascii() and whole.isdigit() and dot and len(rest) == 3 and rest.isascii() and rest.isdigit()):
        raise ValueError(f"{text!r} is no temperature with three decimals")
    value = int(whole) * 1000 + int(rest)
    return -value if text.startswith("-") else value
