"""The tables of a store by what their rows look like, and which rows can be used. For what is read without SQLite."""

import sqlite3
from collections.abc import Callable
from functools import lru_cache
from typing import Any, Self

import msgspec

from collector.model.action import ActionKind
from collector.model.alarm import AlarmEvent
from collector.snapshot import AlarmState, Priority
from collector.store.btree import INDEX_INNER, INDEX_LEAF, TABLE_INNER, TABLE_LEAF, Value
from collector.store.calibration_row import calibration_of
from collector.store.keepsake import EditKind
from collector.store.record import plan_of
from collector.store.row import reading_of, verdict_of
from collector.store.sealed import Chunk

__all__ = ["Table", "tables"]

_KINDS: dict[str, tuple[type, ...]] = {"INTEGER": (int,), "TEXT": (str,), "REAL": (float, int), "BLOB": (bytes,)}
ORDINALS_FROM = 1 << 40
"""Ordinals are greater, numbers of cooks are not."""


class Table(msgspec.Struct, frozen=True):
    """A table, or the index of one.

    Its rows are `columns` long, each of one of its kinds; the row's own number stands in `own`.
    """

    name: str
    columns: tuple[tuple[type, ...], ...]
    own: int | None = None
    """Column that is the row's number; None where rows have none."""
    in_index: bool = False
    """Kept as an index: WITHOUT ROWID, or the index of another table."""
    index_only: bool = False
    """The index of another table: names, and the numbers of its rows."""

    @classmethod
    def index(cls, name: str) -> Self:
        """Give the index that SQLite keeps of the names of a table."""
        names = {"cook": (str,), "series": (str, str)}.get(name, (object,))
        return cls(name, tuple((kind,) for kind in (*names, int)), None, True, True)

    @property
    def kinds(self) -> tuple[int, ...]:
        """Of the pages that it may have."""
        return (INDEX_LEAF, INDEX_INNER) if self.in_index else (TABLE_LEAF, TABLE_INNER)

    @property
    def inner(self) -> tuple[int, ...]:
        """Of the pages with others below."""
        return (INDEX_INNER, TABLE_INNER)

    def row(self, number: int, values: tuple[Value, ...]) -> tuple[Value, ...] | None:
        """Give a row as it goes into the table; None where it cannot be one of this table."""
        if len(values) != len(self.columns):
            return None
        if self.own is not None:
            if values[self.own] is not None:
                return None
            values = (*values[: self.own], number, *values[self.own + 1 :])
        if not all(map(isinstance, values, self.columns)):
            return None
        use = None if self.index_only else _USE.get(self.name)
        try:
            if use is not None:
                use(values)
        except (ValueError, KeyError, IndexError, TypeError, msgspec.MsgspecError):
            return None
        return values


def tables(connection: sqlite3.Connection) -> dict[str, Table]:
    """Describe the tables of a store by its own words."""
    found = {}
    for name, text in connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'").fetchall():
        columns, own = [], None
        indexed = "WITHOUT ROWID" in text
        for place, _, kind, filled, _, key in connection.execute(f"PRAGMA table_info({name})"):
            alias = bool(key) and not indexed and kind == "INTEGER"
            own = place if alias else own
            columns.append(_KINDS[kind] if filled or key else (*_KINDS[kind], type(None)))
        found[name] = Table(name, tuple(columns), own, indexed)
    return found


# -- what the readers of a table would stumble over ------------------------------------------------------------------


Row = tuple[Any, ...]
"""Columns whose kinds are those of the table."""


@lru_cache(maxsize=4096)
def _flags(flags: int) -> None:
    verdict_of(flags)
    reading_of((0, 0, None, flags, None, None), "", "")


def _reading(row: Row) -> None:
    _number(row[0])
    _flags(row[3])


def _number(value: Any) -> None:
    if not ORDINALS_FROM < value < 1 << 62:
        raise ValueError("is no ordinal")


def _sealed(row: Row) -> None:
    first, last, count, chunk = row
    _number(first)
    _number(last)
    if Chunk.of(chunk).rows != count:
        raise ValueError("is not what it says it is")


def _action(row: Row) -> None:
    _number(row[0])
    ActionKind(row[1])


def _alarm(row: Row) -> None:
    AlarmEvent(row[3]), AlarmState(row[4]), AlarmState(row[5]), Priority(row[9])


def _calibration(row: Row) -> None:
    calibration_of(*row[1:])


def _boot(row: Row) -> None:
    _number(row[1] << 12)


def _settled(row: Row) -> None:
    if row[0] >= ORDINALS_FROM:
        raise ValueError("is an ordinal")


_USE: dict[str, Callable[[Row], object]] = {
    "reading": _reading,
    "sealed": _sealed,
    "action": _action,
    "vitals": lambda row: _number(row[0]),
    "elsewhere": lambda row: _number(row[0]),
    "going": lambda row: _number(row[0]),
    "calibration": _calibration,
    "alarm_log": _alarm,
    "plan": lambda row: plan_of(row[2]),
    "edit": lambda row: EditKind(row[2]),
    "boot": _boot,
    "settled": _settled,
    "call": lambda row: (msgspec.json.decode(row[6]), msgspec.json.decode(row[7])),
    "message": lambda row: msgspec.json.decode(row[7]),
}  # fmt: skip
