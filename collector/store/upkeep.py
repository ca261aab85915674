"""Looking after the store: is it sound, a copy of it while it is in use, old cooks let go, unused pages given back."""

import contextlib
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec

from collector.errors import StoreError
from collector.store.archive import Archive
from collector.store.readings import drop_between, sealed_complaints
from collector.store.record import Cook, Record
from collector.store.schema import VERSION

__all__ = ["GO_BY_COOK", "GO_BY_TIME", "Health", "back_up", "check", "compact", "forget", "sync"]

PAGES_AT_A_TIME = 256
"""Copied between two looks at the clock: the collector commits in between."""
MOST_COMPLAINTS = 20
GO_BY_TIME = ("reading", "action", "vitals")
"""Tables whose rows belong to a cook by their ordinals."""
GO_BY_COOK = (
    "plan", "alarm_log", "mark", "trend", "message", "call", "settled", "extent", "part", "tag", "note", "photo",
)  # fmt: skip
"""Tables whose rows name their cook."""


class Health(msgspec.Struct, frozen=True):
    """What was found."""

    version: int
    bytes: int
    """Of the file and its journal."""
    free_bytes: int
    """Of the file that hold nothing; `compact` gives them back."""
    cooks: int
    readings: int
    complaints: tuple[str, ...]
    """What SQLite finds wrong, and what does not fit together; empty in a sound store."""


def check(path: Path) -> Health:
    """Look through the whole store, while it may be in use.

    Raises:
        StoreError: there is none, or it cannot be opened at all.
    """
    with Archive(path), _reading(path) as connection:
        one = _one(connection)
        complaints = [
            str(row[0])
            for row in connection.execute(f"PRAGMA integrity_check({MOST_COMPLAINTS})")
            if row[0] != "ok"
        ]  # fmt: skip
        complaints += [
            f"table {table}: row {row} names {parent} that is not there"
            for table, row, parent, _ in connection.execute("PRAGMA foreign_key_check").fetchmany(MOST_COMPLAINTS)
        ]
        strays = one("SELECT count(*) FROM reading WHERE series NOT IN (SELECT id FROM series)")
        if strays:
            complaints.append(f"{strays} readings of series that have no name")
        complaints += sealed_complaints(connection) if one("PRAGMA user_version") >= 8 else []
        journal = Path(f"{path}-wal")
        return Health(
            one("PRAGMA user_version"),
            path.stat().st_size + (journal.stat().st_size if journal.exists() else 0),
            one("PRAGMA freelist_count") * one("PRAGMA page_size"),
            one("SELECT count(*) FROM cook"),
            one("SELECT count(*) FROM reading")
            + (one("SELECT coalesce(sum(readings), 0) FROM sealed") if one("PRAGMA user_version") >= 8 else 0),
            tuple(complaints),
        )


def back_up(path: Path, to: Path, *, progress: Callable[[float], None] = lambda _share: None) -> int:
    """Copy the store as it is at one moment, while it may be in use; return the bytes of the copy.

    The copy is looked through before it takes its name, so what is there under that name is sound.

    Args:
        path: the store.
        to: the copy; what is there already is replaced, once the new one is sound.
        progress: told the share that is done, 0 to 1.

    Raises:
        StoreError: there is no store, no room, or the copy cannot be written or is not sound.
    """
    if to.exists() and to.samefile(path):
        raise StoreError(f"{to}: is the store itself")
    fresh = to.with_name(to.name + ".new")
    with Archive(path), _reading(path) as connection:
        try:
            to.parent.mkdir(parents=True, exist_ok=True)
            _make_sure_of_room(to.parent, path.stat().st_size)
            fresh.unlink(missing_ok=True)
            fresh.touch(0o600)
            with contextlib.closing(sqlite3.connect(fresh)) as copy:
                connection.backup(
                    copy, pages=PAGES_AT_A_TIME, sleep=0.01,
                    progress=lambda _status, left, total: progress(1.0 - left / total if total else 1.0),
                )  # fmt: skip
                copy.execute("PRAGMA journal_mode = DELETE")
                found = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
            if found != "ok":
                raise StoreError(f"{path}: the copy is not sound, it is thrown away: {found}")
            sync(fresh)
            fresh.replace(to)
        except OSError as error:
            raise StoreError(f"{to}: cannot be written: {error.strerror}") from error
        finally:
            fresh.unlink(missing_ok=True)
    return to.stat().st_size


def forget(connection: sqlite3.Connection, cooks: list[Cook]) -> int:
    """Delete ended cooks with all that was recorded in them; return how many readings went.

    What belongs to a cook by time alone (readings, actions, vitals) goes from its start to where it ends. What
    calibrations say stays: it holds for the probes, not for a cook.

    Args:
        connection: the open store, held against a collector.
        cooks: which; they must have ended.

    Raises:
        ValueError: one has not ended.
    """
    gone = 0
    for cook in cooks:
        if cook.ended_unix is None:
            raise ValueError(f"the cook {cook.name} has not ended")
        bounds = Record(connection, VERSION).bounds(cook)
        with connection:
            connection.execute("BEGIN IMMEDIATE")
            gone += drop_between(connection, *bounds)
            for table in GO_BY_TIME:
                deleted = connection.execute(f"DELETE FROM {table} WHERE id >= ? AND id < ?", bounds)  # noqa: S608 - our own names
                gone += deleted.rowcount if table == "reading" else 0
            connection.execute(
                "DELETE FROM calibration WHERE id >= ? AND id < ? AND id IN (SELECT id FROM elsewhere)", bounds
            )
            connection.execute("DELETE FROM elsewhere WHERE id >= ? AND id < ?", bounds)
            for table in GO_BY_COOK:
                connection.execute(f"DELETE FROM {table} WHERE cook = ?", (cook.number,))  # noqa: S608
            connection.execute("DELETE FROM cook WHERE id = ?", (cook.number,))
    return gone


def compact(connection: sqlite3.Connection, path: Path) -> tuple[int, int]:
    """Write the store anew without its unused pages; return its bytes before and after.

    Args:
        connection: the open store, held against a collector: nobody may write meanwhile.
        path: of the store.

    Raises:
        StoreError: no room for the second copy that this takes for a while, or the disk refuses.
    """
    before = path.stat().st_size
    _make_sure_of_room(path.parent, before)
    try:
        connection.execute("VACUUM")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    except sqlite3.Error as error:
        raise StoreError(f"{path}: cannot be compacted: {error}") from error
    return before, path.stat().st_size


def _make_sure_of_room(folder: Path, needed: int) -> None:
    free = shutil.disk_usage(folder).free
    if free < needed:
        raise StoreError(f"{folder}: {free / 1e6:.0f} MB are free, {needed / 1e6:.0f} MB are needed")


@contextlib.contextmanager
def _reading(path: Path) -> Iterator[sqlite3.Connection]:
    """Open the store for reading; a fault of SQLite is one of the store."""
    try:
        with contextlib.closing(
            sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=5.0)
        ) as connection:
            yield connection
    except sqlite3.Error as error:
        raise StoreError(f"{path}: cannot be read: {error}") from error


def _one(connection: sqlite3.Connection) -> Callable[[str], int]:
    return lambda query: int(connection.execute(query).fetchone()[0])


def sync(path: Path) -> None:
    """Bring a file, where there is one, to the device."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except FileNotFoundError:
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
