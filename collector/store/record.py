"""What is on record, by whatever holds it: cooks, readings, alarm log, trend. Blocks; one per thread."""

import heapq
import math
from bisect import bisect_right
from collections.abc import Iterator
from operator import itemgetter
from typing import Self

import msgspec

from adapters.reading import Reading
from collector.calls.record import CallsOnRecord
from collector.errors import UnknownCookError
from collector.model.action import Action, ActionKind
from collector.model.alarm import AlarmEvent, Transition, in_order
from collector.model.calibration import Calibration
from collector.model.plan import Plan
from collector.model.vitals import DeviceVitals
from collector.snapshot import AlarmState, Mark, Priority, TrendPoint, TrendStretch
from collector.store.calibration_row import COLUMNS, calibration_of
from collector.store.call_row import calls_on_record
from collector.store.keepsake import Edit, EditKind, Note, Part, Photo
from collector.store.queryable import Queryable
from collector.store.readings import columns_between, count_between, last_between, rows_between
from collector.store.row import Row, ordinal_at, reading_of, unix_of
from collector.store.schema import SEQUENCE_BITS
from collector.store.sealed import Columns
from collector.store.trend import points, stretches

__all__ = ["END", "Cook", "Record", "plan_of"]


class Cook(msgspec.Struct, frozen=True):
    """One recorded run."""

    number: int
    name: str
    started_unix: float
    ended_unix: float | None
    """None while it runs, or when the collector died in it."""
    last_unix: float
    """Time of its last reading."""
    readings: int
    alarms: int
    """How often an alarm was raised."""
    coldside: str
    tags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    """Their texts, oldest first."""
    photos: int = 0
    imported: bool = False
    """It came from a file, not from probes heard here."""


END = 1 << 62
"""Beyond every ordinal."""


class _Head(msgspec.Struct, frozen=True):
    """What is written of a cook itself."""

    number: int
    name: str
    started_ms: int
    ended_ms: int | None
    coldside: str
    bounds: tuple[int, int]
    """The first ordinal, and the first after it."""


def _bounds(started_ms: int, until_ms: int | None) -> tuple[int, int]:
    return started_ms << SEQUENCE_BITS, END if until_ms is None else until_ms << SEQUENCE_BITS


class Record:
    """Read-only view of what is on record of one pit.

    Args:
        connection: what is asked; closed with the record.
        version: of the tables, see `collector.store.schema`.
    """

    def __init__(self, connection: Queryable, version: int) -> None:
        self._connection = connection
        self._version = version
        self._sealed = version >= 8
        """Whether there may be sealed hours."""

    @property
    def version(self) -> int:
        """Version of the tables."""
        return self._version

    def close(self) -> None:
        """Let go of it."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        self.close()

    def names(self) -> list[str]:
        """List the names of all cooks, oldest first."""
        return [head.name for head in self._heads()]

    def cooks(self, *, newest: int | None = None, before_unix: float = math.inf) -> list[Cook]:
        """List cooks, oldest first: all, or the newest so many; or of those that began before a time."""
        heads = [head for head in self._heads() if head.started_ms / 1000 < before_unix]
        return self._filled(heads if newest is None else heads[max(0, len(heads) - newest) :])

    def cook(self, name: str) -> Cook:
        """Find a cook by name; `last` is the newest.

        Raises:
            UnknownCookError: there is none of that name.
        """
        heads = self._heads()
        named = [head for head in heads if head.name == name] or (heads[-1:] if name == "last" else [])
        if named:
            return self._filled(named)[0]
        names = ", ".join(head.name for head in heads[-8:]) or "none yet"
        raise UnknownCookError(f"there is no cook named {name!r}; there is {names}")

    def _heads(self) -> list["_Head"]:
        """List what is written of every cook itself, oldest first: quick, for no reading is counted."""
        until, join = ("e.until_ms", "LEFT JOIN extent e ON e.cook = c.id") if self._version >= 7 else ("NULL", "")
        found = self._connection.execute(
            f"SELECT c.id, c.name, c.started_ms, c.ended_ms, c.coldside, {until} "  # noqa: S608 - our own names
            f"FROM cook c {join} ORDER BY c.started_ms, c.id"
        ).fetchall()
        heads: list[_Head] = []
        later: int | None = None
        for k in range(len(found) - 1, -1, -1):
            number, name, started_ms, ended_ms, coldside, until_ms = found[k]
            if k + 1 < len(found) and found[k + 1][2] > started_ms:
                later = found[k + 1][2]
            bounds = _bounds(started_ms, later if until_ms is None else until_ms)
            heads.append(_Head(number, name, started_ms, ended_ms, coldside, bounds))
        return heads[::-1]

    def _filled(self, heads: list["_Head"]) -> list[Cook]:
        """Count what was recorded in cooks, and add what was added to them."""
        tags, notes, photos, origins = self._keepsakes()
        cooks = []
        for head in heads:
            last = last_between(self._connection, *head.bounds, sealed=self._sealed)
            alarms = self._connection.execute(
                "SELECT count(*) FROM alarm_log WHERE cook = ? AND after = ? AND before <> ?",
                (head.number, AlarmState.UNACKNOWLEDGED, AlarmState.UNACKNOWLEDGED),
            ).fetchone()[0]
            cooks.append(
                Cook(
                    head.number, head.name, head.started_ms / 1000,
                    None if head.ended_ms is None else head.ended_ms / 1000,
                    unix_of(last) if last else head.started_ms / 1000, self.readings_between(*head.bounds), alarms,
                    head.coldside, tuple(tags.get(head.number, ())), tuple(notes.get(head.number, ())),
                    photos.get(head.number, 0), bool(origins.get(head.number)),
                )
            )  # fmt: skip
        return cooks

    def _keepsakes(self) -> tuple[dict[int, list[str]], dict[int, list[str]], dict[int, int], dict[int, str]]:
        """Give tags, notes, number of photos and origin of each cook by its number."""
        if self._version < 7:
            return {}, {}, {}, {}
        run = self._connection.execute
        tags: dict[int, list[str]] = {}
        notes: dict[int, list[str]] = {}
        for number, tag in run("SELECT cook, tag FROM tag ORDER BY cook, tag"):
            tags.setdefault(number, []).append(tag)
        for number, text in run("SELECT cook, text FROM note ORDER BY number"):
            notes.setdefault(number, []).append(text)
        photos = dict(run("SELECT cook, count(*) FROM photo GROUP BY cook").fetchall())
        return tags, notes, photos, dict(run("SELECT cook, origin FROM extent").fetchall())

    def ended_before(self, unix: float) -> list[Cook]:
        """List the cooks that ended before a time, oldest first."""
        return self._filled([h for h in self._heads() if h.ended_ms is not None and h.ended_ms / 1000 < unix])

    def bounds(self, cook: Cook) -> tuple[int, int]:
        """Give the first ordinal of a cook and the first after it; the latter is beyond all where nothing follows."""
        run, started_ms = self._connection.execute, round(cook.started_unix * 1000)
        until = None
        if self._version >= 7:
            found = run("SELECT until_ms FROM extent WHERE cook = ?", (cook.number,)).fetchone()
            until = found[0] if found else None
        if until is None:
            until = run("SELECT min(started_ms) FROM cook WHERE started_ms > ?", (started_ms,)).fetchone()[0]
        return _bounds(started_ms, until)

    def ended_bounds(self, before_unix: float) -> list[tuple[int, tuple[int, int]]]:
        """List the numbers and bounds of the cooks that ended before a time, oldest first."""
        before_ms = round(1000 * before_unix)
        ended = (head for head in self._heads() if head.ended_ms is not None and head.ended_ms < before_ms)
        return [(head.number, head.bounds) for head in ended]

    def all_bounds(self) -> list[tuple[int, tuple[int, int]]]:
        """List the numbers and bounds of all cooks, oldest first."""
        return [(head.number, head.bounds) for head in self._heads()]

    def plans(self, cook: Cook) -> list[tuple[int, Plan]]:
        """Give the plans a cook ran under, each with the ordinal from which on."""
        found = self._connection.execute(
            "SELECT from_id, plan FROM plan WHERE cook = ? ORDER BY from_id", (cook.number,)
        )
        return [(from_id, plan_of(text)) for from_id, text in found]

    def series(self) -> dict[int, tuple[str, str]]:
        """Map the number of each series to its source and key."""
        return {n: (source, key) for n, source, key in self._connection.execute("SELECT * FROM series")}

    def rows(self, cook: Cook) -> Iterator[Row]:
        """Yield the rows of a cook in the order the engine took them."""
        yield from self._rows(*self.bounds(cook))

    def _rows(self, low: int, high: int) -> Iterator[Row]:
        yield from rows_between(self._connection, low, high, sealed=self._sealed)

    def happenings(self, cook: Cook) -> Iterator[tuple[int, Reading | Action | DeviceVitals]]:
        """Yield all that the engine was told, in its order, each with its ordinal."""
        yield from self.happenings_between(*self.bounds(cook))

    def happenings_between(self, low: int, high: int) -> Iterator[tuple[int, Reading | Action | DeviceVitals]]:
        """Yield all that an engine was told from one ordinal up to another, whichever cook it belongs to now."""
        series = self.series()
        told: Iterator[tuple[int, Reading | Action | DeviceVitals]]
        told = ((row[0], reading_of(row, *series[row[1]])) for row in self._rows(low, high))
        yield from heapq.merge(told, self._actions(low, high), self._vitals(low, high), key=itemgetter(0))

    def readings_between(self, low: int, high: int) -> int:
        """Count the readings from one ordinal up to another."""
        return count_between(self._connection, low, high, sealed=self._sealed)

    def columns(self, cook: Cook, start_unix: float = 0.0, end_unix: float = math.inf) -> Columns:
        """Give the readings of a cook as arrays, series by series, each in order of time."""
        low, high = self.bounds(cook)
        low = max(low, ordinal_at(start_unix))
        high = min(high, ordinal_at(end_unix) if math.isfinite(end_unix) else high)
        return columns_between(self._connection, low, high, sealed=self._sealed)

    def last_reading_between(self, low: int, high: int) -> float:
        """Give the time of the last reading between two ordinals; minus infinity where there is none."""
        last = last_between(self._connection, low, high, sealed=self._sealed)
        return -math.inf if last is None else unix_of(last)

    def parts(self, cook: Cook) -> list[Part]:
        """Give the stretches of a cook that one engine each judged, oldest first; one where nobody merged or split."""
        low, high = self.bounds(cook)
        found: list[tuple[int, int, int]] = []
        if self._version >= 7:
            query = "SELECT from_id, began_ms, readings FROM part WHERE cook = ? ORDER BY from_id"
            found = [tuple(row) for row in self._connection.execute(query, (cook.number,))]
        if not found or found[0][0] > low:
            found.insert(0, (low, low >> SEQUENCE_BITS, 0))
        ends = [*(from_id for from_id, _, _ in found[1:]), high]
        return [
            Part(max(low, from_id), until, began_ms / 1000, readings)
            for (from_id, began_ms, readings), until in zip(found, ends, strict=True)
        ]

    def actions(self, cook: Cook) -> list[tuple[int, Action]]:
        """Give what people, and the collector itself, did in a cook, oldest first, each with its ordinal."""
        return self._actions(*self.bounds(cook))

    def _actions(self, low: int, high: int) -> list[tuple[int, Action]]:
        found = self._connection.execute(
            "SELECT id, kind, subject, seconds, text FROM action WHERE id >= ? AND id < ? ORDER BY id",
            (low, high),
        )
        calibrations = dict(self._calibrations(low, high))
        return [
            (ordinal, Action(ActionKind(kind), subject, seconds, text, calibrations.get(ordinal)))
            for ordinal, kind, subject, seconds, text in found
        ]

    def calibrations(self, before: Cook | None = None) -> list[Calibration]:
        """Give every step of every probe's calibration, oldest first; or those from before a cook began.

        Those of imported cooks are left out: a probe of the same name elsewhere is another probe.
        """
        return self.calibrations_before(self.bounds(before)[0] if before else END)

    def calibrations_before(self, ordinal: int) -> list[Calibration]:
        """Give every step of the calibration of the probes here from before an ordinal, oldest first."""
        return [told for _, told in self._calibrations(0, ordinal, own_only=self._version >= 7)]

    def _calibrations(self, low: int, high: int, *, own_only: bool = False) -> list[tuple[int, Calibration]]:
        if self._version < 3:
            return []
        own = "AND id NOT IN (SELECT id FROM elsewhere) " if own_only else ""
        found = self._connection.execute(
            f"SELECT id, {COLUMNS} FROM calibration WHERE id >= ? AND id < ? {own}ORDER BY id",  # noqa: S608 - our own names
            (low, high),
        )
        return [(ordinal, calibration_of(*rest)) for ordinal, *rest in found]

    def vitals(self, cook: Cook) -> list[tuple[int, DeviceVitals]]:
        """Give how the devices fared, oldest first, each with its ordinal; nothing in a store of version 1."""
        return self._vitals(*self.bounds(cook))

    def _vitals(self, low: int, high: int) -> list[tuple[int, DeviceVitals]]:
        if self._version < 2:
            return []
        found = self._connection.execute(
            "SELECT id, source, rssi, battery, packets FROM vitals WHERE id >= ? AND id < ? ORDER BY id",
            (low, high),
        )
        return [(ordinal, DeviceVitals(*rest)) for ordinal, *rest in found]

    def alarm_log(self, cook: Cook) -> list[Transition]:
        """Give the alarm log of a cook, oldest first."""
        found = self._connection.execute(
            'SELECT time_ms, key, event, before, after, value, "limit", message, priority FROM alarm_log '
            "WHERE cook = ? ORDER BY time_ms, key, event",
            (cook.number,),
        )
        return in_order(
            Transition(
                ms / 1000, key, AlarmEvent(event), AlarmState(before), AlarmState(after),
                float("nan") if value is None else value, float("nan") if limit is None else limit, message,
                Priority(priority),
            )
            for ms, key, event, before, after, value, limit, message, priority in found
        )  # fmt: skip

    def marks(self, cook: Cook) -> list[Mark]:
        """Give the marks of a cook, oldest first."""
        found = self._connection.execute(
            "SELECT time_ms, kind, text FROM mark WHERE cook = ? ORDER BY time_ms", (cook.number,)
        )
        return [Mark(ms / 1000, kind, text) for ms, kind, text in found]

    def notes(self, cook: Cook) -> list[Note]:
        """Give what was written about a cook, oldest first; nothing in a store before version 7."""
        if self._version < 7:
            return []
        query = "SELECT number, time_ms, text FROM note WHERE cook = ? ORDER BY number"
        return [Note(n, ms / 1000, text) for n, ms, text in self._connection.execute(query, (cook.number,))]

    def photos(self, cook: Cook) -> list[Photo]:
        """Tell of the photos of a cook, oldest first, without their bytes; nothing in a store before version 7."""
        if self._version < 7:
            return []
        query = "SELECT number, time_ms, kind, name, text, length(bytes) FROM photo WHERE cook = ? ORDER BY number"
        return [Photo(n, ms / 1000, *rest) for n, ms, *rest in self._connection.execute(query, (cook.number,))]

    def picture(self, photo: Photo) -> bytes:
        """Give the bytes of a photo."""
        found = self._connection.execute("SELECT bytes FROM photo WHERE number = ?", (photo.number,))
        return bytes(found.fetchone()[0])

    def edits(self, cook: Cook | None = None) -> list[Edit]:
        """Give what was changed of a cook afterwards, oldest first; None: of all that were ever on record.

        Of a cook that was split off another what was changed of that one before counts too; so does what was changed
        of a cook before it went into this one.
        """
        if self._version < 7:
            return []
        query = "SELECT number, time_ms, kind, cook, other, name, text, from_id, until_id FROM edit ORDER BY number"
        found = [
            Edit(number, ms / 1000, EditKind(kind), *rest)
            for number, ms, kind, *rest in self._connection.execute(query)
        ]
        if cook is None:
            return found
        numbers, own = {cook.number}, []
        for edit in reversed(found):
            if edit.cook in numbers or edit.other in numbers:
                own.append(edit)
                numbers |= {edit.cook} if edit.other is None else {edit.cook, edit.other}
        return own[::-1]

    def origin(self, cook: Cook) -> str:
        """Give the JSON of where a cook was imported from; empty where it was recorded here."""
        if self._version < 7:
            return ""
        found = self._connection.execute("SELECT origin FROM extent WHERE cook = ?", (cook.number,)).fetchone()
        return str(found[0]) if found else ""

    def calls(self, cook: int) -> CallsOnRecord:
        """Give the calls that go on, with their messages and those that wait; nothing in a store before version 5.

        Args:
            cook: number of the cook that goes on or begins.
        """
        return calls_on_record(self._connection, cook) if self._version >= 5 else CallsOnRecord()

    def alive_unix(self, cook: Cook, before_ms: int | None = None) -> float:
        """Give the last time anything of a cook was written, or was before a time: its trend goes on without probes."""
        if before_ms is None:
            before_ms, heard = END >> SEQUENCE_BITS, cook.last_unix
        else:
            heard = self.last_reading_between(self.bounds(cook)[0], before_ms << SEQUENCE_BITS)
        judged = (
            self._connection.execute(
                f"SELECT max(time_ms) FROM {table} WHERE cook = ? AND time_ms < ?",  # noqa: S608 - our own names
                (cook.number, before_ms),
            ).fetchone()[0]
            for table in ("trend", "alarm_log")
        )
        return max(heard, *((ms or 0) / 1000 for ms in judged))

    def trend(self, cook: Cook, since_unix: float = 0.0) -> list[TrendPoint]:
        """Give the derived values of a cook since a time, oldest first."""
        return list(points(self.trend_stretches(cook, since_unix)))

    def trend_stretches(self, cook: Cook, since_unix: float = 0.0) -> tuple[TrendStretch, ...]:
        """Give the same as bytes, which are read into arrays at once (`collector.store.trend.table`)."""
        plans = self.plans(cook)
        begins, zones = [begin for begin, _ in plans], [len(plan.zones) for _, plan in plans]
        found = self._connection.execute(
            "SELECT time_ms, row FROM trend WHERE cook = ? AND time_ms >= ? ORDER BY time_ms",
            (cook.number, round(since_unix * 1000)),
        )
        return stretches((ms / 1000, zones[bisect_right(begins, ms << SEQUENCE_BITS) - 1], row) for ms, row in found)

    def receipts(self, source: str, most: int = 2048) -> list[int]:
        """Give the receipts last committed for a source, oldest first: its broker may send these messages again."""
        numbers = [n for n, (s, _) in self.series().items() if s == source]
        if not numbers:
            return []
        marks = ",".join("?" * len(numbers))
        found = self._connection.execute(
            f"SELECT receipt FROM (SELECT id, series, receipt FROM reading ORDER BY id DESC LIMIT ?) AS newest "  # noqa: S608
            f"WHERE receipt IS NOT NULL AND series IN ({marks}) ORDER BY id DESC LIMIT ?",
            (10 * most, *numbers, most),
        ).fetchall()
        return [receipt for (receipt,) in reversed(found)]

    def last_ordinal(self) -> int:
        """Give the greatest ordinal in use, 0 in an empty store."""
        tables = ("reading", "action", "vitals") if self._version >= 2 else ("reading", "action")
        found = [self._connection.execute(f"SELECT max(id) FROM {table}").fetchone()[0] for table in tables]  # noqa: S608
        if self._sealed:
            newest = self._connection.execute("SELECT last_id FROM sealed ORDER BY first_id DESC LIMIT 1").fetchone()
            found.append(newest[0] if newest else 0)
        return max(value or 0 for value in found)


def plan_of(text: str) -> Plan:
    """Read a plan that is on record.

    Raises:
        msgspec.DecodeError: it is none.
    """
    return msgspec.convert(_with_nan(msgspec.json.decode(text)), Plan)


def _with_nan(value: object) -> object:
    """Put NaN back where JSON could only say null."""
    if isinstance(value, dict):
        return {k: float("nan") if v is None and k.endswith("_celsius") else _with_nan(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_with_nan(v) for v in value]
    return value
