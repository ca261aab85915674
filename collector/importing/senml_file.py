"""Readings out of SenML: a SensML file of whole records a line (RFC 8428, section 7), or a pack in JSON or CBOR.

What an export of coldside's own says beside the values (`collector.formats.sensml`) is understood.
"""

import math
from collections.abc import Iterator
from pathlib import Path

import msgspec

from adapters.decode.senml import MAX_BYTES, RELATIVE_BELOW, Record, Resolver, decode_cbor, decode_json, parse_line
from adapters.errors import DecodeError
from adapters.reading import Quality, Reading, Reason, Unit, to_celsius
from collector.errors import IntakeError
from collector.formats.lines import LONGEST_LINE
from collector.formats.sensml import NO_VALUE, SUFFIXES
from collector.importing.opened import opened
from collector.importing.who import Who

__all__ = ["SenmlFile"]

_UNITS = {unit.value: unit for unit in Unit}
_QUALITY = {quality.name.lower(): quality for quality in Quality}
_REASON = {reason.name.lower(): reason for reason in Reason}


class SenmlFile:
    """A SenML file that is read as often as it is asked for.

    Args:
        path: the file; `.cbor` and `.senmlc` are CBOR, everything else is JSON.
        who: finds the probes.
    """

    own = False
    ignored: tuple[str, ...] = ()

    def __init__(self, path: Path, who: Who) -> None:
        self._path, self._who = path, who
        self.line = 0
        """Line that was read last; 0 in a pack."""

    def _fault(self, what: str, line: int = 0) -> IntakeError:
        return IntakeError(self._path.name, what, line=line)

    def readings(self) -> Iterator[Reading]:
        """Yield the temperatures, in the order of the file.

        Raises:
            IntakeError: with its line, where one cannot be read.
        """
        series: dict[str, tuple[str, str]] = {}
        beside: dict[str, dict[str, str | float]] = {}
        for line, record in self._records():
            self.line = line
            if record.time_unix < RELATIVE_BELOW:
                raise self._fault(
                    f"{record.name} has a time relative to now; a base time bt is needed to date it", line
                )
            base, colon, what = record.name.rpartition(":")
            try:
                if colon and what == "series" and isinstance(record.value, str):
                    series[base] = msgspec.json.decode(record.value, type=tuple[str, str])
                elif colon and what in SUFFIXES and base in series:
                    if isinstance(record.value, str | float):
                        beside.setdefault(base, {})[what] = record.value
                else:
                    reading = self._reading(record, series, beside.pop(record.name, {}))
                    if reading is not None:
                        yield reading
            except (ValueError, KeyError, msgspec.DecodeError) as error:
                raise self._fault(f"{record.name}: {error}", line) from error

    def _reading(
        self, record: Record, series: dict[str, tuple[str, str]], beside: dict[str, str | float]
    ) -> Reading | None:
        """Make a reading of a record; None where it is no temperature."""
        own = series.get(record.name)
        unit = _UNITS.get(record.unit or "")
        empty = own is not None and record.value == NO_VALUE
        if not empty and (unit is None or not isinstance(record.value, float)):
            return None
        source, key = self._who.identity(record.name) if own is None else self._as_it_was(own)
        celsius = math.nan if empty else to_celsius(float(record.value or 0.0), unit or Unit.CELSIUS)
        quality, reason = Quality.GOOD, Reason.NONE
        if "came" in beside:
            words = str(beside["came"]).split()
            quality, reason = _QUALITY[words[0]], _REASON[words[1]]
        came = _UNITS[str(beside["unit"])] if "unit" in beside else unit or Unit.CELSIUS
        delay = beside.get("delay")
        source_unix = record.time_unix - delay if isinstance(delay, float) else None
        return Reading(source, key, celsius, round(record.time_unix, 3), source_unix, came, quality, reason)

    def _as_it_was(self, own: tuple[str, str]) -> tuple[str, str]:
        return self._who.as_it_was(*own, "")

    def _records(self) -> Iterator[tuple[int, Record]]:
        """Yield the records, each with its line, or 0 in a pack that is no text."""
        if self._path.suffix in (".cbor", ".senmlc"):
            with opened(self._path) as stream:
                content = stream.read(MAX_BYTES + 1)
            try:
                yield from ((0, record) for record in decode_cbor(content, 0.0))
            except DecodeError as error:
                raise self._fault(str(error)) from error
            return
        resolver, number, any_yet = Resolver(), 0, False
        with opened(self._path) as stream:
            while line := stream.readline(LONGEST_LINE + 1):
                number += 1
                if len(line) > LONGEST_LINE:
                    raise self._fault(f"longer than {LONGEST_LINE} bytes; a line is a record", number)
                try:
                    records = [
                        resolver.resolve(record, 0.0) for record in parse_line(line.removeprefix(b"\xef\xbb\xbf"))
                    ]
                except DecodeError as error:
                    if any_yet:
                        raise self._fault(str(error), number) from error
                    break
                any_yet |= bool(records)
                yield from ((number, record) for record in records)
            else:
                if not number:
                    raise self._fault("is empty")
                return
        with opened(self._path) as stream:  # written over several lines a record: one pack
            content = stream.read(MAX_BYTES + 1)
        try:
            yield from ((0, record) for record in decode_json(content, 0.0))
        except DecodeError as error:
            raise self._fault(str(error)) from error
