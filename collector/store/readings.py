"""Readings of a store, sealed or not, in the order of their ordinals; and the sealing itself. Blocks.

An hour that is sealed is one row of the table `sealed` and no rows of `reading`; no reading lies between the first and
the last of a sealed hour. Works on an open connection; what changes something, inside a transaction.
"""

import os
import sqlite3
import struct
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime
from operator import itemgetter
from typing import TypeVar

import msgspec
import numpy as np

from collector.errors import StoreError
from collector.store.queryable import Queryable
from collector.store.row import Row, unix_of
from collector.store.schema import SEQUENCE_BITS
from collector.store.sealed import Chunk, Columns, decode, encode, joined, rows_of

__all__ = [
    "SealedHour", "columns_between", "count_between", "cut_at", "drop_between", "last_between", "rows_between",
    "seal_hour", "sealed_complaints", "shift",
]  # fmt: skip

T = TypeVar("T")
THREADS = min(4, os.cpu_count() or 1)
HOUR_ORDINALS = 3_600_000 << SEQUENCE_BITS
"""A sealed hour spans less than this."""
COLUMNS = "id, series, millicelsius, flags, source_ms, receipt"
_PLAIN = f"SELECT {COLUMNS} FROM reading WHERE id >= ? AND id < ? ORDER BY id"  # noqa: S608 - our own names
_OVERLAPPING = "first_id > ? AND first_id < ? AND last_id >= ?"
# one statement sees one moment: an hour that is sealed meanwhile is neither missed nor told twice
_BOTH = (
    f"SELECT {COLUMNS}, NULL AS bytes FROM reading WHERE id >= ? AND id < ? "  # noqa: S608
    f"UNION ALL SELECT first_id, NULL, NULL, NULL, NULL, NULL, bytes FROM sealed WHERE {_OVERLAPPING} ORDER BY 1"
)


def _overlapping(low: int, high: int) -> tuple[int, int, int]:
    return low - HOUR_ORDINALS, high, low


def rows_between(connection: Queryable, low: int, high: int, *, sealed: bool = True) -> Iterator[Row]:
    """Yield the rows from one ordinal up to another.

    Args:
        connection: what is asked.
        low: the first ordinal.
        high: the first after it.
        sealed: whether there may be sealed hours.

    Raises:
        StoreError: a sealed hour is damaged.
    """
    if not sealed:
        yield from connection.execute(_PLAIN, (low, high))
        return
    for row in connection.execute(_BOTH, (low, high, *_overlapping(low, high))):
        if row[6] is None:
            yield row[:6]
        else:
            yield from (r for r in _opened(rows_of, row[6], row[0]) if low <= r[0] < high)


def columns_between(connection: Queryable, low: int, high: int, *, sealed: bool = True) -> Columns:
    """Give the readings from one ordinal up to another as arrays, series by series.

    Raises:
        StoreError: a sealed hour is damaged.
    """
    found: list[tuple[int, int, bytes]] = []
    with _one_moment(connection, sealed=sealed):
        if sealed:
            found = connection.execute(
                f"SELECT first_id, last_id, bytes FROM sealed WHERE {_OVERLAPPING} ORDER BY first_id",  # noqa: S608
                _overlapping(low, high),
            ).fetchall()
        rows = connection.execute(_PLAIN, (low, high)).fetchall()

    def opened(hour: tuple[int, int, bytes]) -> Chunk | Columns:
        first, last, chunk = hour
        if first >= low and last < high:
            return _opened(Chunk.of, chunk, first)
        return _within(_opened(decode, chunk, first), low, high)

    plain = [_columns_of(rows)] if rows else []
    if len(found) <= 1:
        return joined([*map(opened, found), *plain])
    with ThreadPoolExecutor(min(len(found), THREADS)) as pool:  # other threads run while one inflates
        return joined([*pool.map(opened, found), *plain])


def _columns_of(rows: list[Row]) -> Columns:
    """Put rows, in the order of their ordinals, into arrays, series by series."""
    rows = sorted(rows, key=itemgetter(1))

    def column(k: int) -> "np.ndarray[tuple[int], np.dtype[np.int64]]":
        return np.array([row[k] or 0 for row in rows], dtype=np.int64)

    def there(k: int) -> "np.ndarray[tuple[int], np.dtype[np.bool_]]":
        return np.array([row[k] is not None for row in rows], dtype=np.bool_)

    return Columns(column(0), column(1), column(2), there(2), column(3), column(4), there(4))


def _within(columns: Columns, low: int, high: int) -> Columns:
    kept = (columns.ordinal >= low) & (columns.ordinal < high)
    if kept.all():
        return columns
    return Columns(*(getattr(columns, name)[kept] for name in Columns.__struct_fields__))


def count_between(connection: Queryable, low: int, high: int, *, sealed: bool = True) -> int:
    """Count the readings from one ordinal up to another."""
    with _one_moment(connection, sealed=sealed):
        found = connection.execute("SELECT count(*) FROM reading WHERE id >= ? AND id < ?", (low, high)).fetchone()
        total = int(found[0])
        if sealed:
            for first, last, count in _hours(connection, low, high):
                whole = first >= low and last < high
                total += count if whole else len(_cut(connection, first, low, high))
    return total


def last_between(connection: Queryable, low: int, high: int, *, sealed: bool = True) -> int | None:
    """Give the greatest ordinal of a reading from one up to another; None where there is none."""
    with _one_moment(connection, sealed=sealed):
        found = connection.execute("SELECT max(id) FROM reading WHERE id >= ? AND id < ?", (low, high)).fetchone()[0]
        for first, last, _ in reversed(_hours(connection, low, high) if sealed else []):
            if found is not None and found > last:
                break
            inside = [last] if last < high else [row[0] for row in _cut(connection, first, low, high)][-1:]
            found = max([*inside, *([] if found is None else [found])], default=None)
            if inside:
                break
    return None if found is None else int(found)


@contextmanager
def _one_moment(connection: Queryable, *, sealed: bool) -> Iterator[None]:
    """Let several statements see one moment: an hour that is sealed between them is neither missed nor told twice."""
    begun = sealed and isinstance(connection, sqlite3.Connection) and not connection.in_transaction
    if begun:
        connection.execute("BEGIN")
    try:
        yield
    finally:
        if begun:
            connection.execute("COMMIT")  # and not ROLLBACK, which would end what another reader has under way


def _hours(connection: Queryable, low: int, high: int) -> list[tuple[int, int, int]]:
    """List the sealed hours of which something may lie between: first and last ordinal, readings."""
    return connection.execute(
        f"SELECT first_id, last_id, readings FROM sealed WHERE {_OVERLAPPING} ORDER BY first_id",  # noqa: S608
        _overlapping(low, high),
    ).fetchall()


def _cut(connection: Queryable, first: int, low: int, high: int) -> list[Row]:
    """Give the rows of a sealed hour that lie between."""
    found = connection.execute("SELECT bytes FROM sealed WHERE first_id = ?", (first,)).fetchone()
    assert found is not None, "hours are listed and read at one moment"
    return [row for row in _opened(rows_of, found[0], first) if low <= row[0] < high]


def _opened(way: Callable[[bytes], T], chunk: bytes, first: int) -> T:
    """Read a sealed hour.

    Raises:
        StoreError: it is damaged.
    """
    try:
        return way(chunk)
    except ValueError as error:
        at = datetime.fromtimestamp(unix_of(first), UTC)
        raise StoreError(
            f"the hour sealed from {at:%Y-%m-%d %H:%M} UTC on is damaged, the others are not: {error}; "
            "put a backup of the store back"
        ) from error


# -- changing it ---------------------------------------------------------------------------------------------------


class SealedHour(msgspec.Struct, frozen=True):
    """An hour that was sealed just now."""

    readings: int
    bytes: int


def seal_hour(connection: sqlite3.Connection, low: int, high: int) -> SealedHour | None:
    """Seal the first hour of what is not sealed from one ordinal up to another; None where nothing is left."""
    first = connection.execute("SELECT min(id) FROM reading WHERE id >= ? AND id < ?", (low, high)).fetchone()[0]
    if first is None:
        return None
    end = min(high, (first // HOUR_ORDINALS + 1) * HOUR_ORDINALS)
    after = connection.execute("SELECT min(first_id) FROM sealed WHERE first_id > ? AND first_id < ?", (first, end))
    end = min(end, after.fetchone()[0] or end)
    rows = connection.execute(_PLAIN, (first, end)).fetchall()
    chunk = _put(connection, rows)
    if _opened(rows_of, chunk, first) != [(*row[:5], None) for row in rows]:
        raise StoreError("an hour is not read back as it was written; it stays as it is")
    connection.execute("DELETE FROM reading WHERE id >= ? AND id < ?", (first, end))
    return SealedHour(len(rows), len(chunk))


def _put(connection: sqlite3.Connection, rows: list[Row]) -> bytes:
    try:
        chunk = encode(rows)
    except (ValueError, OverflowError, struct.error) as error:
        raise StoreError(f"an hour cannot be pressed, it stays as it is: {error}") from error
    connection.execute("INSERT INTO sealed VALUES (?, ?, ?, ?)", (rows[0][0], rows[-1][0], len(rows), chunk))
    return chunk


def drop_between(connection: sqlite3.Connection, low: int, high: int) -> int:
    """Take sealed readings from one ordinal up to another away; return how many."""
    gone = 0
    for first, last, count in _hours(connection, low, high):
        left: list[Row] = []
        if first < low or last >= high:
            left = [row for row in _cut(connection, first, first, last + 1) if not low <= row[0] < high]
        connection.execute("DELETE FROM sealed WHERE first_id = ?", (first,))
        gone += count - len(left)
        # what is left on either side is an hour of its own: between them others may come to lie
        for side in ([row for row in left if row[0] < low], [row for row in left if row[0] >= high]):
            if side:
                _put(connection, side)
    return gone


def sealed_complaints(connection: sqlite3.Connection) -> list[str]:
    """Read every sealed hour and say of each that is not what its row says of it."""
    complaints = []
    for first, last, count in connection.execute("SELECT first_id, last_id, readings FROM sealed").fetchall():
        try:
            rows = _cut(connection, first, first, last + 1)
        except StoreError as error:
            complaints.append(str(error))
            continue
        if len(rows) != count or (rows[0][0], rows[-1][0]) != (first, last):
            complaints.append(f"the hour sealed from {first} on holds {len(rows)} readings, not {count}")
        elif connection.execute("SELECT 1 FROM reading WHERE id >= ? AND id <= ? LIMIT 1", (first, last)).fetchone():
            complaints.append(f"readings lie in the hour sealed from {first} on")
    return complaints


def cut_at(connection: sqlite3.Connection, at: int) -> None:
    """Make two of the sealed hour that an ordinal cuts through, so that no cook ends within one."""
    for first, last, _ in _hours(connection, at, at + 1):
        if first < at <= last:
            rows = _cut(connection, first, first, last + 1)
            connection.execute("DELETE FROM sealed WHERE first_id = ?", (first,))
            for side in ([row for row in rows if row[0] < at], [row for row in rows if row[0] >= at]):
                if side:
                    _put(connection, side)


def shift(connection: sqlite3.Connection, low: int, step_ms: int) -> None:
    """Move sealed readings from an ordinal on by a number of milliseconds; their own times stay as they were."""
    hours = _hours(connection, low, 1 << 62)
    for first, last, _ in hours if step_ms < 0 else reversed(hours):  # none is put where one is yet to move
        rows = _cut(connection, first, first, last + 1)
        connection.execute("DELETE FROM sealed WHERE first_id = ?", (first,))
        moved = [
            (row[0] + (step_ms << SEQUENCE_BITS), *row[1:4], None if row[4] is None else row[4] - step_ms, row[5])
            if row[0] >= low else row
            for row in rows
        ]  # fmt: skip
        for side in ([row for row in moved if row[0] < low], [row for row in moved if row[0] >= low]):
            if side:
                _put(connection, side)
