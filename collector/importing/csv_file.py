"""Readings out of a CSV file: coldside's own, one reading a line, or a column a probe."""

import csv
import math
from collections.abc import Callable, Iterator
from pathlib import Path

from adapters.reading import Quality, Reading, Reason, Unit, to_celsius
from collector.errors import IntakeError
from collector.formats.readings_csv import COLUMNS, SHORT_COLUMNS, row_of_fields
from collector.importing.opened import text_lines
from collector.importing.shape import CsvMap, zone_of
from collector.importing.times import TimeReader
from collector.importing.values import UNITS, number, unit_in_name
from collector.importing.who import UnknownProbeError, Who
from collector.store.row import reading_of

__all__ = ["CsvFile"]

DELIMITERS = ",;\t|"
TIME_NAMES = ("time", "timestamp", "datetime", "date_time", "date time", "time_utc")


class CsvFile:
    """A CSV file that is read as often as it is asked for.

    Args:
        path: the file.
        mapping: which column is what.
        who: finds the probes.

    Raises:
        IntakeError: its header tells that it cannot be read so.
    """

    def __init__(self, path: Path, mapping: CsvMap, who: Who) -> None:
        self._path, self._map, self._who = path, mapping, who
        self.line = 0
        """Line that was read last."""
        self._zone = zone_of(mapping.timezone, path.name) if mapping.timezone else None
        self._no_value = {word.casefold() for word in mapping.no_value}
        header = self._header()
        self.own = tuple(header[: len(SHORT_COLUMNS)]) == SHORT_COLUMNS and not mapping.probe
        """It is an export of coldside's own."""
        self.ignored: tuple[str, ...] = ()
        """Columns that are not taken."""
        if not self.own:
            self._plan_columns(header)

    def _fault(self, what: str, line: int = 0, column: str = "") -> IntakeError:
        return IntakeError(self._path.name, what, line=line, column=column)

    def _header(self) -> list[str]:
        lines = text_lines(self._path)
        for _ in range(self._map.skip_lines):
            next(lines, "")
        first = next(lines, "")
        if not first.strip():
            raise self._fault("there is no header; the first line names the columns", self._map.skip_lines + 1)
        delimiter = self._map.delimiter or max(DELIMITERS, key=first.count)
        if len(delimiter) != 1:
            raise self._fault(f"the delimiter {delimiter!r} is to be one character")
        if delimiter not in first:
            raise self._fault(
                f"one column only: {first.strip()[:60]!r} holds no {delimiter!r}; say what stands between columns: "
                "--delimiter ';'", self._map.skip_lines + 1,
            )  # fmt: skip
        self._delimiter = delimiter
        try:
            header = [name.strip() for name in next(csv.reader([first], delimiter=delimiter), [])]
        except csv.Error as error:
            raise self._fault(f"the header cannot be read: {error}", self._map.skip_lines + 1) from error
        for k, name in enumerate(header):
            if name and name in header[:k]:
                raise self._fault("stands twice in the header", self._map.skip_lines + 1, name)
        return header

    def _plan_columns(self, header: list[str]) -> None:
        """Find out which column is what."""
        wanted = self._map
        self._time = self._column(header, wanted.time, TIME_NAMES, "of the times", "--time-column")
        self._date = self._column(header, wanted.date, (), "of the dates", "--date-column") if wanted.date else None
        taken = {self._time, self._date}
        self._probe: int | None = None
        self._values: list[tuple[int, str, Unit, tuple[str, str] | None]] = []
        if wanted.probe:
            self._probe = self._column(header, wanted.probe, (), "of the probes", "--probe-column")
            usual = ("value", "temperature", "temp")
            value = self._column(header, wanted.value, usual, "of the values", "--value-column")
            self._values = [(value, header[value], self._unit(header[value]), None)]
            taken |= {self._probe, value}
        else:
            for k, name in enumerate(header):
                if k in taken or not name:
                    continue
                label = name if self._who.knows(name) else unit_in_name(name)[0]
                if self._who.knows(label):
                    self._values.append((k, name, self._unit(name), self._who.identity(label)))
                    taken.add(k)
            for label in self._map.probes:
                if not any(label in (name, unit_in_name(name)[0]) for _, name, _, _ in self._values):
                    raise self._fault(f"there is no column {label!r}; there is {', '.join(header)}")
        self.ignored = tuple(name for k, name in enumerate(header) if k not in taken and name)
        if not self._values:
            raise self._fault(
                f"no column is a probe of the config: there is {', '.join(self.ignored) or 'none'}; say which is one: "
                "--probe COLUMN=NAME, or --no-places to take all without places"
            )
        self._header_names = header

    def _column(self, header: list[str], name: str, usual: tuple[str, ...], what: str, option: str) -> int:
        if name:
            if name not in header:
                raise self._fault(f"there is no column {name!r}; there is {', '.join(header)}")
            return header.index(name)
        found = [k for k, there in enumerate(header) if there.casefold() in usual]
        if len(found) != 1:
            raise self._fault(f"which column is that {what}? {option} NAME; there is {', '.join(header)}")
        return found[0]

    def _unit(self, column: str) -> Unit:
        said = unit_in_name(column)[1]
        if said and self._map.unit and said != self._map.unit:
            raise self._fault(f"its name says °{said}, and --unit {self._map.unit}; which is it?", 0, column)
        if not said and not self._map.unit:
            raise self._fault("in which unit is it? --unit F, or --unit C", 0, column)
        return UNITS[said or self._map.unit]

    def readings(self) -> Iterator[Reading]:
        """Yield the readings, in the order of the file.

        Raises:
            IntakeError: with line and column, where one cannot be read.
        """
        yield from self._own_readings() if self.own else self._foreign_readings()

    def _lines(self) -> Iterator[tuple[int, list[str]]]:
        """Yield the fields of each line after the header, with its number."""
        lines = text_lines(self._path)
        for _ in range(self._map.skip_lines):
            next(lines, "")
        reader = csv.reader(lines, delimiter=self._delimiter, strict=True)
        try:
            header = next(reader)
            for fields in reader:
                self.line = line = reader.line_num + self._map.skip_lines
                if not any(field.strip() for field in fields):
                    continue
                if len(fields) != len(header):
                    hint = "; do the numbers have decimal commas?" if len(fields) > len(header) else ""
                    raise self._fault(f"{len(fields)} fields, and the header has {len(header)}{hint}", line)
                yield line, fields
        except csv.Error as error:
            raise self._fault(f"is not CSV: {error}", reader.line_num + self._map.skip_lines) from error

    def _own_readings(self) -> Iterator[Reading]:
        """Take an export of our own; the columns that an earlier one lacks say what is usual."""
        usual = {"unit": "C", "came_quality": "good", "came_reason": "none", "number": "0"}
        columns = self._header()
        for name in columns:
            if name not in COLUMNS:
                raise self._fault("is no column of an export; take it out", 1, name)
        for line, texts in self._lines():
            fields = {**usual, **dict(zip(columns, texts, strict=True))}
            try:
                row = row_of_fields(fields, 0)
                source, key = self._who.as_it_was(fields["source"], fields["key"], fields["probe"])
            except ValueError as error:
                raise self._fault(str(error), line) from error
            yield reading_of(row, source, key)

    def _foreign_readings(self) -> Iterator[Reading]:
        times = TimeReader(self._map.time_format, self._zone, self._map.fold, repeats=self._probe is not None)
        for line, fields in self._lines():
            text = fields[self._time] if self._date is None else f"{fields[self._date]} {fields[self._time]}"
            unix = self._told(lambda text=text: times.read(text), line, self._header_names[self._time])  # type: ignore[misc]
            for at, column, unit, identity in self._values:
                if not fields[at].strip():
                    continue
                value = self._told(
                    lambda at=at: number(fields[at], self._map.decimal, self._no_value),  # type: ignore[misc]  # noqa: B023 - called at once
                    line, column,
                )  # fmt: skip
                source, key = identity or self._named(fields, line)
                if math.isnan(value):
                    yield Reading(source, key, value, unix, None, unit, Quality.BAD, Reason.NOT_A_NUMBER)
                else:
                    yield Reading(source, key, to_celsius(value, unit), unix, None, unit)

    def _named(self, fields: list[str], line: int) -> tuple[str, str]:
        assert self._probe is not None
        try:
            return self._who.identity(fields[self._probe].strip())
        except UnknownProbeError as error:
            raise self._fault(str(error), line, self._header_names[self._probe]) from error

    def _told(self, read: Callable[[], float], line: int, column: str) -> float:
        try:
            return read()
        except ValueError as error:
            raise self._fault(str(error), line, column) from error
