"""A recorded night as a source: a SensML file (RFC 8428, section 7) played at any speed, once or over and over.

`.sensml`, `.sensml.gz` and `.sensml.xz`, whole records on each line. Record names are probe keys; what is not a
temperature is passed over. A reading keeps its distance to the others: the whole recording is moved so that it begins
when it is told to.
"""

import asyncio
import gzip
import lzma
import math
import zlib
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path
from typing import BinaryIO, cast

from adapters.decode.senml import Resolver, parse_line
from adapters.errors import DecodeError, LinkError, LinkReason
from adapters.reading import Reading, Unit, to_celsius
from adapters.source import Link, LinkState, SourceCounts

__all__ = ["Pace", "Recording", "readings", "start_of"]

_LONGEST_LINE = 1 << 20
_LEAD_SECONDS = 60.0
"""A base time this close before the first reading is when the recording began."""
_UNITS = {unit.value: unit for unit in Unit}


def readings(path: Path, source: str = "recording", start_unix: float | None = None) -> Iterator[Reading]:
    """Yield every temperature of a recording, in the order of the file, as fast as it is read.

    Args:
        path: the file.
        source: name to give as the source of each reading.
        start_unix: when the recording shall have begun, Unix seconds UTC; None leaves its own times.

    Raises:
        LinkError: `UNREADABLE`, with the line, when the file cannot be opened, is cut off or spoilt, or holds no
            temperature; everything before has been yielded.
    """
    return _readings(path, source, start_unix, Resolver())


def _readings(path: Path, source: str, start_unix: float | None, resolver: Resolver) -> Iterator[Reading]:
    resolve = resolver.resolve
    now_unix = start_unix or 0.0
    shift: float | None = None
    for number, line in _lines(path):
        try:
            records = [resolve(record, now_unix) for record in parse_line(line)]
        except DecodeError as fault:
            raise LinkError(LinkReason.UNREADABLE, f"{path.name}, line {number}: {fault}") from fault
        for record in records:
            unit = _UNITS.get(record.unit or "")
            value = record.value
            if unit is None or not isinstance(value, float):
                continue
            if shift is None:
                shift = 0.0 if start_unix is None else start_unix - _began(record.time_unix, resolver.bt)
            moved = record.time_unix + shift
            celsius = value if unit is Unit.CELSIUS else to_celsius(value, unit)
            yield Reading(source, record.name, celsius, moved, moved, unit)
    if shift is None:
        raise LinkError(LinkReason.UNREADABLE, f"{path.name}: no temperature in it")


def start_of(path: Path) -> float:
    """Tell when a recording began, Unix seconds UTC.

    Raises:
        LinkError: as `readings`.
    """
    resolver = Resolver()
    for reading in _readings(path, "", None, resolver):
        return _began(reading.received_unix, resolver.bt)
    raise AssertionError("a recording without readings is refused")


def _began(first_unix: float, base_unix: float) -> float:
    return base_unix if 0.0 <= first_unix - base_unix <= _LEAD_SECONDS else first_unix


def _lines(path: Path) -> Iterator[tuple[int, bytes]]:
    """Yield number and text of each line.

    Raises:
        LinkError: the file cannot be opened or read on.
    """
    number = 0
    try:
        with _open(path) as stream:
            while line := stream.readline(_LONGEST_LINE + 1):
                number += 1
                if len(line) > _LONGEST_LINE:
                    raise LinkError(
                        LinkReason.UNREADABLE,
                        f"{path.name}, line {number}: longer than {_LONGEST_LINE} bytes; a line is a record",
                    )
                yield number, line
    except (OSError, EOFError, lzma.LZMAError, zlib.error) as fault:
        where = f"{path.name}, after line {number}" if number else path.name
        raise LinkError(LinkReason.UNREADABLE, f"{where}: {fault}") from fault


def _open(path: Path) -> BinaryIO:
    if path.suffix == ".xz":
        return cast("BinaryIO", lzma.open(path, "rb"))
    if path.suffix == ".gz":
        return cast("BinaryIO", gzip.open(path, "rb"))
    return path.open("rb")


class Pace:
    """Holds back what comes so that `speed` seconds of it pass in one of ours."""

    _SHORTEST_SLEEP = 0.004
    _TURN = 256
    """At any speed the loop gets a turn after so many."""

    def __init__(self, speed: float, clock: Callable[[], float] | None = None) -> None:
        """Start the clock.

        Args:
            speed: above 0; `math.inf` never waits.
            clock: monotonic seconds; the running loop's when None.
        """
        self._speed = speed
        self._clock = clock or asyncio.get_running_loop().time
        self._began = self._clock()
        self._since_turn = 0

    async def until(self, seconds: float) -> None:
        """Wait until `seconds` of the played time have passed since the start."""
        wait = seconds / self._speed - (self._clock() - self._began)
        self._since_turn += 1
        if wait > self._SHORTEST_SLEEP:
            await asyncio.sleep(wait)
        elif self._since_turn >= self._TURN:
            await asyncio.sleep(0)
        else:
            return
        self._since_turn = 0


class Recording:
    """A SensML file as a `Source`. Each iteration begins anew; nothing here needs an acknowledgement."""

    def __init__(
        self,
        name: str,
        path: Path,
        *,
        speed: float = 1.0,
        loop: bool = False,
        start_unix: float | None = None,
        clock: Callable[[], float] | None = None,
    ) -> None:
        """Describe what to play.

        Args:
            name: name of the source.
            path: the file.
            speed: seconds of the recording per second; `math.inf` plays as fast as readings are taken.
            loop: begin again at the end; the times run on.
            start_unix: when it shall have begun, Unix seconds UTC; None leaves its own times.
            clock: monotonic seconds for the pacing; the loop's when None.
        """
        if not speed > 0.0 or math.isnan(speed):
            raise ValueError(f"a speed of {speed}: it must be above 0")
        self.name = name
        self.counts = SourceCounts()
        self._path = path
        self._speed = speed
        self._loop = loop
        self._start_unix = start_unix
        self._clock = clock
        self._link = Link(LinkState.DOWN, LinkReason.NOT_STARTED)

    @property
    def vitals(self) -> None:
        """Say nothing: there is no radio here."""

    @property
    def link(self) -> Link:
        """The link as it stands: `ENDED` when all has been played."""
        return self._link

    def committed(self, receipt: int) -> None:
        """Do nothing: a file waits for no acknowledgement."""

    def restore(self, receipts: list[int]) -> None:
        """Do nothing, as `committed`."""

    async def __aiter__(self) -> AsyncIterator[Reading]:
        """Play the file.

        Raises:
            LinkError: `UNREADABLE`, after everything before the spoilt place was yielded.
        """
        self._link = Link(LinkState.UP)
        pace = Pace(self._speed, self._clock)
        first = last = None
        start_unix = self._start_unix
        try:
            while True:
                for reading in readings(self._path, self.name, start_unix):
                    if first is None:
                        first = reading.received_unix if start_unix is None else start_unix
                    last = reading.received_unix
                    await pace.until(last - first)
                    self.counts.heard += 1
                    self.counts.yielded += 1
                    yield reading
                if not self._loop:
                    break
                assert last is not None
                start_unix = last + 1.0
        except LinkError as fault:
            self._link = Link(LinkState.DOWN, fault.reason, fault.detail)
            self.counts.last_error = fault.detail
            raise
        self._link = Link(LinkState.ENDED, LinkReason.ENDED)
