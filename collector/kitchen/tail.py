"""What of a pit's own store the server does not hold yet. Reads the store beside the collector; blocks."""

import sqlite3
from itertools import islice
from pathlib import Path
from typing import Any

import msgspec

from collector.errors import StoreError
from collector.kitchen.tables import NAMES, OF_COOKS, tables
from collector.store.keepsake import EditKind
from collector.store.readings import rows_between
from collector.store.schema import OF_ORDINALS, SEQUENCE_BITS

__all__ = ["MOST_READINGS", "Change", "Chunk", "Move", "Tail"]

MOST_READINGS = 5000
"""Brought in one transaction; some 400 kB."""

_RESHAPING = {EditKind.DELETE, EditKind.MERGE, EditKind.SPLIT, EditKind.IMPORT}
_STRIKING = {EditKind.DELETE, EditKind.MERGE}

Rows = list[tuple[Any, ...]]


class Move(msgspec.Struct, frozen=True):
    """Rows that a wrong clock wrote were dated anew."""

    number: int
    since_ms: int
    step_ms: int


class Change(msgspec.Struct, frozen=True):
    """The record was edited."""

    number: int
    cooks: set[int]
    """Whose rows are others now, or gone."""
    reshaped: bool
    """More than words, photos and names of them changed."""
    struck: bool
    """One of them is no more."""
    bounds: tuple[int, int] | None
    """Readings, actions and vitals came or went from the one ordinal up to the other."""


class Chunk(msgspec.Struct):
    """What comes next, by table; a part of the night that has no gap."""

    rows: dict[str, Rows] = msgspec.field(default_factory=dict)
    more: bool = False
    """There is more behind it."""

    def __bool__(self) -> bool:
        return any(self.rows.values())


class Tail:
    """A store, read from where the server ends.

    Raises:
        StoreError: it cannot be opened.
    """

    def __init__(self, path: Path) -> None:
        try:
            self._connection = sqlite3.connect(
                f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=5.0, check_same_thread=False
            )
            self.identity = str(self._one("SELECT store FROM identity"))
        except sqlite3.Error as error:
            raise StoreError(f"{path}: cannot be read: {error}") from error

    def _one(self, query: str) -> Any:
        return self._connection.execute(query).fetchone()[0]

    def close(self) -> None:
        """Let go of it."""
        self._connection.close()

    def lacks(self, ends: dict[str, int], cooks: dict[int, int]) -> bool:
        """Tell whether the server holds what this store once had and has no more: it was put back from a copy.

        What the store has let go itself is older than all it holds.

        Args:
            ends: the last id of each table at the server.
            cooks: when each cook began, by number, as the server has it.
        """
        run = self._connection.execute
        own = dict(run("SELECT id, started_ms FROM cook").fetchall())
        if any(own.get(number, began) != began for number, began in cooks.items()):
            return True
        for name in OF_ORDINALS:
            first = run(f"SELECT min(id) FROM {name}").fetchone()[0]  # noqa: S608 - our own names
            last = ends[name]
            there = run(f"SELECT 1 FROM {name} WHERE id = ?", (last,)).fetchone()  # noqa: S608
            if name == "reading":
                sealed = run("SELECT first_id FROM sealed ORDER BY first_id LIMIT 1").fetchone()
                first = min((f for f in (first, sealed and sealed[0]) if f is not None), default=None)
            if there is None and name == "reading":
                there = run("SELECT 1 FROM sealed WHERE ? BETWEEN first_id AND last_id", (last,)).fetchone()
            if there is None and first is not None and first < last:
                return True
        return False

    def moves(self) -> list[Move]:
        """List how rows were dated anew, in order."""
        found = self._connection.execute("SELECT number, since_ms, step_ms FROM moved ORDER BY number")
        return [Move(*row) for row in found]

    def edits(self, after: int) -> list[Change]:
        """List how the record was edited since an edit, in order."""
        found = self._connection.execute(
            "SELECT number, kind, cook, other, from_id, until_id FROM edit WHERE number > ? ORDER BY number", (after,)
        )
        return [
            Change(number, {cook} if other is None else {cook, other}, kind in _RESHAPING, kind in _STRIKING,
                   None if low is None else (low, high))
            for number, kind, cook, other, low, high in found
        ]  # fmt: skip

    def edit_rows(self, after: int) -> Rows:
        """Give the rows of the edits since one."""
        return self._rows(f"SELECT {tables()['edit'].listed} FROM edit WHERE number > ? ORDER BY number", (after,))  # noqa: S608

    def edit_row(self, number: int) -> tuple[Any, ...] | None:
        """Give the row of an edit; None where there is none of that number."""
        found = self._rows(f"SELECT {tables()['edit'].listed} FROM edit WHERE number = ?", (number,))  # noqa: S608
        return found[0] if found else None

    def cooks(self) -> set[int]:
        """Give the numbers of the cooks there are."""
        return {number for (number,) in self._connection.execute("SELECT id FROM cook")}

    def of_cook(self, name: str, cook: int, upto: int | None = None) -> Rows:
        """Give the rows of a table that name a cook; of the trend those up to a time."""
        until = "" if upto is None else f" AND time_ms <= {upto:d}"
        return self._rows(f"SELECT {tables()[name].listed} FROM {name} WHERE cook = ?{until}", (cook,))  # noqa: S608

    def photos_of(self, cook: int) -> list[int]:
        """List the numbers of a cook's photos."""
        return [number for (number,) in self._connection.execute("SELECT number FROM photo WHERE cook = ?", (cook,))]

    def photo(self, number: int) -> Rows:
        """Give a photo's row; none where it is gone meanwhile."""
        return self._rows(f"SELECT {tables()['photo'].listed} FROM photo WHERE number = ?", (number,))  # noqa: S608

    def between(self, name: str, low: int, high: int, most: int = MOST_READINGS) -> Rows:
        """Give the first rows of a table from one id up to another."""
        if name == "reading":
            return self._readings(low, high, most)
        return self._rows(
            f"SELECT {tables()[name].listed} FROM {name} WHERE id >= ? AND id < ? ORDER BY id LIMIT ?",  # noqa: S608
            (low, high, most),
        )

    def _readings(self, low: int, high: int, most: int) -> Rows:
        """Give the first readings from one ordinal up to another, those of sealed hours too."""
        return list(islice(rows_between(self._connection, low, high), most))

    def series(self, after: int) -> Rows:
        """Give the names of the series after a number."""
        return self._rows(f"SELECT {tables()['series'].listed} FROM series WHERE id > ? ORDER BY id", (after,))  # noqa: S608

    def names(self) -> dict[str, Rows]:
        """Give the cooks, their plans and where they end."""
        return {name: self._rows(f"SELECT {tables()[name].listed} FROM {name}") for name in NAMES}  # noqa: S608

    def chunk(self, after: dict[str, int], upto: int, most: int = MOST_READINGS) -> Chunk:
        """Give what comes after the greatest id, and time of the trend, that the server has of each table.

        Nothing after the ordinal `upto`: what a power cut could still take must not be at the server alone. All is of
        one moment, so that no reading comes before the name of its series.
        """
        run = self._connection.execute
        chunk = Chunk()
        run("BEGIN")
        try:
            readings = self._readings(after["reading"] + 1, upto + 1, most)
            chunk.rows["series"] = self.series(after["series"])
            chunk.rows["reading"] = readings
            chunk.more = len(readings) == most
            upper = readings[-1][0] if chunk.more else upto
            for name in OF_ORDINALS[1:]:
                chunk.rows[name] = self._rows(
                    f"SELECT {tables()[name].listed} FROM {name} WHERE id > ? AND id <= ? ORDER BY id",  # noqa: S608
                    (after[name], upper),
                )
            chunk.rows["trend"] = self._rows(
                f"SELECT {tables()['trend'].listed} FROM trend WHERE time_ms > ? AND time_ms <= ? ORDER BY time_ms",  # noqa: S608
                (after["trend"], upper >> SEQUENCE_BITS),
            )
        finally:
            run("ROLLBACK")
        return chunk

    def of_cooks(self) -> tuple[dict[str, Rows], list[int]]:
        """Give what may have changed, of the cooks that are not settled; and which of these can change no more."""
        found = {}
        for name in OF_COOKS:
            found[name] = self._rows(
                f"SELECT {tables()[name].listed} FROM {name} WHERE cook NOT IN (SELECT cook FROM settled)"  # noqa: S608
            )
        over = self._connection.execute(
            "SELECT id FROM cook WHERE ended_ms IS NOT NULL AND id NOT IN (SELECT cook FROM settled) "
            "AND started_ms <> (SELECT max(started_ms) FROM cook) "
            "AND id NOT IN (SELECT cook FROM call WHERE ended_ms IS NULL) "
            "AND id NOT IN (SELECT cook FROM message WHERE state IN ('waiting', 'failed'))"
        )
        return found, [number for (number,) in over]

    def _rows(self, query: str, parameters: tuple[int, ...] = ()) -> Rows:
        return [_storable(row) for row in self._connection.execute(query, parameters)]


def _storable(row: tuple[Any, ...]) -> tuple[Any, ...]:
    """Put another character for NUL, which a probe may send and PostgreSQL does not take."""
    if any(isinstance(value, str) and "\0" in value for value in row):
        return tuple(
            value.replace("\0", "\N{REPLACEMENT CHARACTER}") if isinstance(value, str) else value for value in row
        )
    return row
