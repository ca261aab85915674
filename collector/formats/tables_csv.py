"""The rest of a cook as CSV: what people did, how devices fared, alarms, marks, calibrations, trend; and back."""

import csv
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import IO, Any

import msgspec
import numpy as np

from collector.formats.lines import TextSink, bounded_lines, line_writer
from collector.formats.moments import iso, milliseconds
from collector.model.action import Action, ActionKind
from collector.model.alarm import AlarmEvent, Transition
from collector.model.vitals import DeviceVitals
from collector.snapshot import AlarmState, Mark, Priority, TrendPoint
from collector.store.calibration_row import COLUMNS, calibration_of, calibration_row
from collector.store.record import Cook, Record
from collector.store.schema import SEQUENCE_BITS

__all__ = ["TABLES", "Table", "read_table", "write_table"]

_SEQUENCE = (1 << SEQUENCE_BITS) - 1
Fields = Mapping[str, str]


class Table(msgspec.Struct, frozen=True):
    """A table: its columns, its lines out of a record, and back to a value."""

    columns: tuple[str, ...]
    lines: Callable[[Record, Cook], Iterable[tuple[object, ...]]]
    value: Callable[[Fields], Any]
    """Raises ValueError or KeyError where a field is not as it was written."""


def write_table(table: Table, record: Record, cook: Cook, file: TextSink, *, for_spreadsheet: bool = False) -> int:
    """Write a table of a cook; return its lines."""
    write = line_writer(file, for_spreadsheet=for_spreadsheet)
    write(table.columns)
    count = 0
    for line in table.lines(record, cook):
        write(["" if field is None else field for field in line])
        count += 1
    return count


def read_table(table: Table, file: IO[str]) -> Iterator[Any]:
    """Yield the values of a table.

    Raises:
        ValueError: it is not as it was written; the message says which line.
    """
    lines = csv.reader(bounded_lines(file), strict=True)
    try:
        if tuple(next(lines, ())) != table.columns:
            raise ValueError(f"line 1: the columns are to be {','.join(table.columns)}")
        for fields in lines:
            if len(fields) != len(table.columns):
                raise ValueError(f"{len(fields)} fields, {len(table.columns)} are needed")
            yield table.value(dict(zip(table.columns, fields, strict=True)))
    except (ValueError, KeyError, csv.Error) as error:
        raise ValueError(f"line {lines.line_num}: {error}") from error


def _when(ordinal: int) -> tuple[str, int]:
    return iso(ordinal >> SEQUENCE_BITS), ordinal & _SEQUENCE


def _ordinal(fields: Fields) -> int:
    number = int(fields["number"])
    if not 0 <= number <= _SEQUENCE:
        raise ValueError(f"the number {number} is not within 0 to {_SEQUENCE}")
    return milliseconds(fields["time_utc"]) << SEQUENCE_BITS | number


def _number(value: float | None) -> str:
    return "" if value is None or math.isnan(value) else repr(float(value))


def _float(text: str) -> float | None:
    return float(text) if text else None


def _or_nan(text: str) -> float:
    return float(text) if text else math.nan


def _ms(unix: float) -> str:
    return iso(round(unix * 1000))


def _actions(record: Record, cook: Cook) -> Iterator[tuple[object, ...]]:
    for ordinal, action in record.actions(cook):
        yield *_when(ordinal), action.kind.value, action.subject, repr(float(action.seconds)), action.text


def _action(fields: Fields) -> tuple[int, Action]:
    kind = ActionKind(fields["kind"])
    return _ordinal(fields), Action(kind, fields["subject"], float(fields["seconds"]), fields["text"])


def _vitals(record: Record, cook: Cook) -> Iterator[tuple[object, ...]]:
    for ordinal, v in record.vitals(cook):
        yield *_when(ordinal), v.source, v.rssi_dbm, _number(v.battery_percent), repr(float(v.packets_per_minute))


def _device(fields: Fields) -> tuple[int, DeviceVitals]:
    rssi = int(fields["rssi_dbm"]) if fields["rssi_dbm"] else None
    battery = _float(fields["battery_percent"])
    return _ordinal(fields), DeviceVitals(fields["source"], rssi, battery, float(fields["packets_per_minute"]))


def _alarm_log(record: Record, cook: Cook) -> Iterator[tuple[object, ...]]:
    for s in record.alarm_log(cook):
        yield (
            _ms(s.time_unix), s.key, s.event.value, s.before.value, s.after.value, _number(s.value), _number(s.limit),
            s.message, int(s.priority),
        )  # fmt: skip


def _step(fields: Fields) -> Transition:
    return Transition(
        milliseconds(fields["time_utc"]) / 1000, fields["key"], AlarmEvent(fields["event"]),
        AlarmState(fields["before"]), AlarmState(fields["after"]), _or_nan(fields["value"]), _or_nan(fields["limit"]),
        fields["message"], Priority(int(fields["priority"])),
    )  # fmt: skip


def _marks(record: Record, cook: Cook) -> Iterator[tuple[object, ...]]:
    return ((_ms(mark.time_unix), mark.kind, mark.text) for mark in record.marks(cook))


def _mark(fields: Fields) -> Mark:
    return Mark(milliseconds(fields["time_utc"]) / 1000, fields["kind"], fields["text"])


def _calibrations(record: Record, cook: Cook) -> Iterator[tuple[object, ...]]:
    for ordinal, action in record.actions(cook):
        if action.calibration is not None:
            _, source, key, kind, *numbers, line = calibration_row(ordinal, action.calibration)
            yield *_when(ordinal), source, key, kind, *(_number(n) for n in numbers), line


def _calibration(fields: Fields) -> tuple[int, Any]:
    source, key, kind = fields["source"], fields["key"], fields["kind"]
    reference, raw, sd, time = (_or_nan(fields[name]) for name in ("reference", "raw", "sd", "time"))
    return _ordinal(fields), calibration_of(source, key, kind, reference, raw, sd, time, fields["line"] or None)


def _trend(record: Record, cook: Cook) -> Iterator[tuple[object, ...]]:
    for point in record.trend(cook):
        zones, probes = (" ".join(str(np.float32(v)) for v in values) for values in (point.zones, point.probes))
        grate, spread = (str(np.float32(v)) for v in (point.grate_celsius, point.spread_kelvin))
        yield _ms(point.time_unix), grate, spread, zones, probes


def _point(fields: Fields) -> TrendPoint:
    zones, probes, (grate,), (spread,) = (
        tuple(float(np.float32(v)) for v in fields[name].split())
        for name in ("zones_celsius", "probes_celsius", "grate_celsius", "spread_kelvin")
    )
    return TrendPoint(milliseconds(fields["time_utc"]) / 1000, zones, spread, grate, probes)


_CALIBRATION = tuple(COLUMNS.split(", "))
_MOMENT = ("time_utc", "number")

TABLES: dict[str, Table] = {
    "actions": Table((*_MOMENT, "kind", "subject", "seconds", "text"), _actions, _action),
    "vitals": Table((*_MOMENT, "source", "rssi_dbm", "battery_percent", "packets_per_minute"), _vitals, _device),
    "alarm_log": Table(
        ("time_utc", "key", "event", "before", "after", "value", "limit", "message", "priority"), _alarm_log, _step
    ),
    "marks": Table(("time_utc", "kind", "text"), _marks, _mark),
    "calibrations": Table((*_MOMENT, *_CALIBRATION), _calibrations, _calibration),
    "trend": Table(("time_utc", "grate_celsius", "spread_kelvin", "zones_celsius", "probes_celsius"), _trend, _point),
}
"""By name. `number` counts within the millisecond, over readings, actions and vitals together: the order in which the
engine was told. Of the trend, zones and probes stand in the order of the plan."""
