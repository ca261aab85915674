"""What is on record, by whatever holds it: cooks, readings, alarm log, trend. Blocks; one per thread."""

import heapq
from collections.abc import Iterator
from dataclasses import dataclass
from operator import itemgetter
from typing import Self

import msgspec

from adapters.reading import Reading
from collector.calls.record import CallsOnRecord
from collector.errors import StoreError
from collector.model.action import Action, ActionKind
from collector.model.alarm import AlarmEvent, Transition, in_order
from collector.model.calibration import Calibration
from collector.model.plan import Plan
from collector.model.vitals import DeviceVitals
from collector.snapshot import AlarmState, Mark, Priority, TrendPoint
from collector.store.calibration_row import COLUMNS, calibration_of
from collector.store.call_row import calls_on_record
from collector.store.queryable import Queryable
from collector.store.row import Row, reading_of, unix_of
from collector.store.schema import SEQUENCE_BITS
from collector.store.trend import unpack

__all__ = ["Cook", "Record"]


@dataclass(frozen=True, slots=True)
class Cook:
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


class Record:
    """Read-only view of what is on record of one pit.

    Args:
        connection: what is asked; closed with the record.
        version: of the tables, see `collector.store.schema`.
    """

    def __init__(self, connection: Queryable, version: int) -> None:
        self._connection = connection
        self._version = version

    def close(self) -> None:
        """Let go of it."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        self.close()

    def cooks(self) -> list[Cook]:
        """List all cooks, oldest first."""
        run = self._connection.execute
        found = run("SELECT id, name, started_ms, ended_ms, coldside FROM cook ORDER BY started_ms").fetchall()
        cooks = []
        for k, (number, name, started_ms, ended_ms, version) in enumerate(found):
            low = started_ms << SEQUENCE_BITS
            high = found[k + 1][2] << SEQUENCE_BITS if k + 1 < len(found) else 1 << 62
            count, last = run("SELECT count(*), max(id) FROM reading WHERE id >= ? AND id < ?", (low, high)).fetchone()
            alarms = run(
                "SELECT count(*) FROM alarm_log WHERE cook = ? AND after = ? AND before <> ?",
                (number, AlarmState.UNACKNOWLEDGED, AlarmState.UNACKNOWLEDGED),
            ).fetchone()[0]
            cooks.append(
                Cook(
                    number, name, started_ms / 1000, None if ended_ms is None else ended_ms / 1000,
                    unix_of(last) if last else started_ms / 1000, count, alarms, version,
                )
            )  # fmt: skip
        return cooks

    def cook(self, name: str) -> Cook:
        """Find a cook by name; `last` is the newest.

        Raises:
            StoreError: there is none of that name.
        """
        cooks = self.cooks()
        for cook in cooks:
            if cook.name == name:
                return cook
        if name == "last" and cooks:
            return cooks[-1]
        names = ", ".join(cook.name for cook in cooks[-8:]) or "none yet"
        raise StoreError(f"there is no cook named {name!r}; there is {names}")

    def ended_before(self, unix: float) -> list[Cook]:
        """List the cooks that ended before a time, oldest first."""
        return [cook for cook in self.cooks() if cook.ended_unix is not None and cook.ended_unix < unix]

    def _range(self, cook: Cook) -> tuple[int, int]:
        low = round(cook.started_unix * 1000) << SEQUENCE_BITS
        following = self._connection.execute(
            "SELECT min(started_ms) FROM cook WHERE started_ms > ?", (round(cook.started_unix * 1000),)
        ).fetchone()[0]
        return low, following << SEQUENCE_BITS if following is not None else 1 << 62

    def plans(self, cook: Cook) -> list[tuple[int, Plan]]:
        """Give the plans a cook ran under, each with the ordinal from which on."""
        found = self._connection.execute(
            "SELECT from_id, plan FROM plan WHERE cook = ? ORDER BY from_id", (cook.number,)
        )
        return [(from_id, msgspec.convert(_with_nan(msgspec.json.decode(text)), Plan)) for from_id, text in found]

    def series(self) -> dict[int, tuple[str, str]]:
        """Map the number of each series to its source and key."""
        return {n: (source, key) for n, source, key in self._connection.execute("SELECT * FROM series")}

    def rows(self, cook: Cook) -> Iterator[Row]:
        """Yield the rows of a cook in the order the engine took them."""
        yield from self._connection.execute(
            "SELECT id, series, millicelsius, flags, source_ms, receipt FROM reading WHERE id >= ? AND id < ? "
            "ORDER BY id",
            self._range(cook),
        )

    def happenings(self, cook: Cook) -> Iterator[tuple[int, Reading | Action | DeviceVitals]]:
        """Yield all that the engine was told, in its order, each with its ordinal."""
        series = self.series()
        told: Iterator[tuple[int, Reading | Action | DeviceVitals]]
        told = ((row[0], reading_of(row, *series[row[1]])) for row in self.rows(cook))
        yield from heapq.merge(told, self._actions(cook), self.vitals(cook), key=itemgetter(0))

    def _actions(self, cook: Cook) -> list[tuple[int, Action]]:
        found = self._connection.execute(
            "SELECT id, kind, subject, seconds, text FROM action WHERE id >= ? AND id < ? ORDER BY id",
            self._range(cook),
        )
        low, high = self._range(cook)
        calibrations = dict(self._calibrations(low, high))
        return [
            (ordinal, Action(ActionKind(kind), subject, seconds, text, calibrations.get(ordinal)))
            for ordinal, kind, subject, seconds, text in found
        ]

    def calibrations(self, before: Cook | None = None) -> list[Calibration]:
        """Give every step of every probe's calibration, oldest first; or those from before a cook began."""
        return [told for _, told in self._calibrations(0, self._range(before)[0] if before else 1 << 62)]

    def _calibrations(self, low: int, high: int) -> list[tuple[int, Calibration]]:
        if self._version < 3:
            return []
        found = self._connection.execute(
            f"SELECT id, {COLUMNS} FROM calibration WHERE id >= ? AND id < ? ORDER BY id",  # noqa: S608 - our own names
            (low, high),
        )
        return [(ordinal, calibration_of(*rest)) for ordinal, *rest in found]

    def vitals(self, cook: Cook) -> list[tuple[int, DeviceVitals]]:
        """Give how the devices fared, oldest first, each with its ordinal; nothing in a store of version 1."""
        if self._version < 2:
            return []
        found = self._connection.execute(
            "SELECT id, source, rssi, battery, packets FROM vitals WHERE id >= ? AND id < ? ORDER BY id",
            self._range(cook),
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

    def calls(self, cook: int) -> CallsOnRecord:
        """Give the calls that go on, with their messages and those that wait; nothing in a store before version 5.

        Args:
            cook: number of the cook that goes on or begins.
        """
        return calls_on_record(self._connection, cook) if self._version >= 5 else CallsOnRecord()

    def alive_unix(self, cook: Cook) -> float:
        """Give the last time anything of a cook was written: its trend goes on when no probe is heard."""
        found = self._connection.execute("SELECT max(time_ms) FROM trend WHERE cook = ?", (cook.number,))
        return max(cook.last_unix, (found.fetchone()[0] or 0) / 1000)

    def trend(self, cook: Cook, since_unix: float = 0.0) -> list[TrendPoint]:
        """Give the derived values of a cook since a time, oldest first."""
        plans = self.plans(cook)
        points = []
        for ms, blob in self._connection.execute(
            "SELECT time_ms, row FROM trend WHERE cook = ? AND time_ms >= ? ORDER BY time_ms",
            (cook.number, round(since_unix * 1000)),
        ):
            zones = len(next(plan for from_id, plan in reversed(plans) if from_id <= ms << SEQUENCE_BITS).zones)
            points.append(unpack(ms / 1000, blob, zones))
        return points

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
        return max(value or 0 for value in found)


def _with_nan(value: object) -> object:
    """Put NaN back where JSON could only say null."""
    if isinstance(value, dict):
        return {k: float("nan") if v is None and k.endswith("_celsius") else _with_nan(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_with_nan(v) for v in value]
    return value
