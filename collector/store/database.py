"""The one writer of the store: opens, locks, migrates and commits. Used from one thread; it blocks."""

import contextlib
import fcntl
import logging
import os
import sqlite3
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import IO

import msgspec

from collector.calls.record import CallRow, MessageRow
from collector.errors import StoreBusyError, StoreDamagedError, StoreError, StoreVersionError
from collector.model.action import Action
from collector.model.alarm import Transition
from collector.model.vitals import DeviceVitals
from collector.snapshot import Mark, TrendPoint
from collector.store.calibration_row import calibration_row
from collector.store.call_row import write_calls, write_messages
from collector.store.damage import is_damage
from collector.store.extent import bound_before, next_number
from collector.store.readings import SealedHour, seal_hour
from collector.store.record import Cook, Record
from collector.store.redate import redate
from collector.store.row import Row
from collector.store.schema import MIGRATIONS, VERSION
from collector.store.sweep import sweep
from collector.store.trend import pack
from collector.store.upkeep import compact, forget, sync

__all__ = ["Batch", "Database", "hold", "parts_of"]

log = logging.getLogger(__name__)

JOURNAL_LIMIT_BYTES = 16 * 1024 * 1024
CACHE_KIBIBYTES = 256
"""Readings are appended and never read here, so the last few pages are all that is worth keeping in memory."""
ROWS_PER_STATEMENT = 512


STORE_MODE = 0o640
"""Of the files of the store, whatever the umask: others on the machine have no business in it."""


class Batch(msgspec.Struct):
    """What goes to disk in one commit."""

    series: list[tuple[int, str, str]] = msgspec.field(default_factory=list)
    """New series: number, source, key."""
    rows: list[Row] = msgspec.field(default_factory=list)
    actions: list[tuple[int, Action]] = msgspec.field(default_factory=list)
    vitals: list[tuple[int, DeviceVitals]] = msgspec.field(default_factory=list)
    transitions: list[Transition] = msgspec.field(default_factory=list)
    marks: list[Mark] = msgspec.field(default_factory=list)
    trend: list[TrendPoint] = msgspec.field(default_factory=list)
    calls: dict[int, CallRow] = msgspec.field(default_factory=dict)
    """By number, as each stands now."""
    messages: dict[str, MessageRow] = msgspec.field(default_factory=dict)
    """By id, as each stands now."""
    settled: set[int] = msgspec.field(default_factory=set)
    """Cooks of which the server holds everything."""
    receipts: dict[str, int] = msgspec.field(default_factory=dict)
    """Newest receipt of each source that this batch settles once it is on disk."""

    @property
    def last_ordinal(self) -> int:
        """The greatest ordinal in it; 0 where it has none."""
        ends = (self.rows[-1:], self.actions[-1:], self.vitals[-1:])
        return max((last[0] for end in ends for last in end), default=0)

    @property
    def writes(self) -> bool:
        """Whether anything of it goes to disk."""
        return bool(
            self.rows
            or self.actions
            or self.transitions
            or self.marks
            or self.trend
            or self.vitals
            or self.calls
            or self.messages
            or self.settled
        )

    def __bool__(self) -> bool:
        return self.writes or bool(self.receipts)


def parts_of(batch: Batch) -> Iterator[Batch]:
    """Yield batches of one row each that together are a batch, new series first; receipts are left out."""
    for field in msgspec.structs.fields(Batch):
        if field.name == "receipts":
            continue
        rows = getattr(batch, field.name)
        each = [{key: row} for key, row in rows.items()] if isinstance(rows, dict) else [type(rows)([r]) for r in rows]
        for row in each:
            part = Batch()
            setattr(part, field.name, row)
            yield part


class Database:
    """An open store, held against a second collector.

    Raises:
        StoreBusyError: another collector holds it.
        StoreVersionError: it was written by a later coldside.
        StoreDamagedError: the file is broken.
        StoreError: it cannot be opened, or is no store.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(f"{path.parent}: cannot be made: {error.strerror}") from error
        self._lock = hold(path)
        try:
            os.close(os.open(path, os.O_RDWR | os.O_CREAT, STORE_MODE))
        except OSError as error:
            self._lock.close()
            raise StoreError(f"{path}: cannot be opened: {error.strerror}") from error
        try:
            sync(Path(f"{path}-wal"))  # what a writer that was killed did not get to: its receipts will be acknowledged
            self._connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=2.0)
            self._prepare()
            series = {(source, key): number for number, source, key in self._all("SELECT id, source, key FROM series")}
        except OSError as error:
            self._lock.close()
            raise StoreError(f"{path}: its journal cannot be synced: {error.strerror}") from error
        except UnicodeDecodeError as error:  # what SQLite says is wrong quotes the damaged bytes
            self._let_go()
            raise StoreDamagedError(f"{path}: cannot be used as a store: {error}") from error
        except sqlite3.Error as error:
            self._let_go()
            kind = StoreDamagedError if is_damage(error) else StoreError
            raise kind(f"{path}: cannot be used as a store: {error}") from error
        except StoreError:
            self._let_go()
            raise
        opened = path.stat()
        self._identity = (opened.st_dev, opened.st_ino)
        self.series: dict[tuple[str, str], int] = series
        """Number of each series on disk when the store was opened."""

    def _let_go(self) -> None:
        """Close what was opened: a file that is given another name may not be written by an earlier link to it."""
        with contextlib.suppress(AttributeError, sqlite3.Error):
            self._connection.close()
        self._lock.close()

    def _all(self, query: str) -> list[tuple[int, str, str]]:
        return self._connection.execute(query).fetchall()

    def _prepare(self) -> None:
        run = self._connection.execute
        run("PRAGMA journal_mode = WAL")
        run("PRAGMA synchronous = NORMAL")
        self._full = False
        run(f"PRAGMA journal_size_limit = {JOURNAL_LIMIT_BYTES}")
        run(f"PRAGMA cache_size = -{CACHE_KIBIBYTES}")
        run("PRAGMA foreign_keys = ON")
        version = run("PRAGMA user_version").fetchone()[0]
        if version > VERSION:
            raise StoreVersionError(
                f"{self.path}: version {version}, this coldside reads up to {VERSION}; take a newer coldside"
            )
        for number in range(version, VERSION):
            self._connection.executescript(f"BEGIN; {MIGRATIONS[number]} PRAGMA user_version = {number + 1}; COMMIT;")
        try:
            sweep(self._connection)  # what a deletion that was cut short has left
        except StoreError as error:  # a damaged hour is no reason to record nothing tonight
            log.warning("what was deleted is not all taken away: %s", error)

    def boot_began_ms(self, name: str, now_ms: int) -> int:
        """Give from when on what is on record was written since the machine started: from now on, the first time.

        Args:
            name: of this start of the machine; empty where the system has none.
            now_ms: milliseconds since the epoch.
        """
        if not name:
            return now_ms
        with self._transaction(full=False):
            self._connection.execute("INSERT OR IGNORE INTO boot VALUES (?, ?)", (name, now_ms))
            found = self._connection.execute("SELECT from_ms FROM boot WHERE name = ?", (name,)).fetchone()
        return int(found[0])

    def redate(self, since_ms: int, step_ms: int) -> int:
        """Move all from a moment on; return by how many milliseconds, whole minutes; see `collector.store.redate`.

        Raises:
            StoreError: the disk refuses; nothing was moved.
        """
        try:
            return redate(self._connection, since_ms, step_ms)
        except sqlite3.Error as error:
            raise StoreError(f"{self.path}: cannot be dated anew: {error}") from error

    def begin_cook(self, name: str, started_ms: int, plan_json: str, coldside: str) -> int:
        """Open a cook; return its number.

        Raises:
            StoreError: the name is taken, or the disk refuses.
        """
        try:
            with self._transaction(full=True):
                cook = next_number(self._connection)
                bound_before(self._connection, started_ms)
                self._connection.execute(
                    "INSERT INTO cook (id, name, started_ms, coldside) VALUES (?, ?, ?, ?)",
                    (cook, name, started_ms, coldside),
                )
                self._connection.execute(
                    "INSERT INTO plan (cook, from_id, plan) VALUES (?, ?, ?)", (cook, 0, plan_json)
                )
        except sqlite3.IntegrityError as error:
            raise StoreError(f"there is a cook named {name!r} already") from error
        except sqlite3.Error as error:
            raise StoreError(f"{self.path}: {error}") from error
        return cook

    def change_plan(self, cook: int, from_id: int, plan_json: str) -> None:
        """Record that a cook goes on under another plan."""
        with self._transaction(full=True):
            self._connection.execute(
                "INSERT OR REPLACE INTO plan (cook, from_id, plan) VALUES (?, ?, ?)",
                (cook, from_id, plan_json),
            )

    def end_cook(self, cook: int, ended_ms: int) -> None:
        """Close a cook."""
        with self._transaction(full=True):
            self._connection.execute("UPDATE cook SET ended_ms = ? WHERE id = ?", (ended_ms, cook))

    def commit(self, cook: int, batch: Batch, *, full: bool) -> None:
        """Write a batch in one transaction.

        Args:
            cook: number of the cook it belongs to.
            batch: what to write; rows may already be there from a commit whose end was not seen.
            full: sync to the device before returning; without it a power cut may take what came since the last
                full commit, `kill -9` takes nothing.

        Raises:
            StoreError: nothing of the batch was written.
        """
        if full and not self._still_there():
            raise StoreError(f"{self.path}: the file was taken away or replaced; put it back, or start coldside anew")
        try:
            with self._transaction(full=full):
                self.write(cook, batch)
        except sqlite3.Error as error:
            raise StoreError(f"{self.path}: {error}") from error

    def _still_there(self) -> bool:
        """Tell whether the name still leads to the file that is open: writes to a removed file fail nowhere."""
        try:
            found = self.path.stat()
        except OSError:
            return False
        return (found.st_dev, found.st_ino) == self._identity

    @contextlib.contextmanager
    def together(self) -> Iterator[sqlite3.Connection]:
        """Write several things in one transaction, synced to the device: all of them, or nothing.

        Raises:
            StoreError: the disk refuses, or something of it was there already; nothing was written.
        """
        try:
            with self._transaction(full=True):
                yield self._connection
        except sqlite3.Error as error:
            raise StoreError(f"{self.path}: {error}; nothing was written") from error

    def write(self, cook: int, batch: Batch) -> None:
        """Write a batch inside a transaction; what is there already stays as it is."""
        many = self._connection.executemany
        if batch.series:
            many("INSERT OR IGNORE INTO series VALUES (?, ?, ?)", batch.series)
        self._write_rows(batch.rows)
        if batch.actions:
            many(
                "INSERT OR IGNORE INTO action VALUES (?, ?, ?, ?, ?)",
                [(ordinal, a.kind, a.subject, a.seconds, a.text) for ordinal, a in batch.actions],
            )
            many(
                "INSERT OR IGNORE INTO calibration VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [calibration_row(ordinal, a.calibration) for ordinal, a in batch.actions if a.calibration],
            )
        if batch.vitals:
            many(
                "INSERT OR IGNORE INTO vitals VALUES (?, ?, ?, ?, ?)",
                [(n, v.source, v.rssi_dbm, v.battery_percent, v.packets_per_minute) for n, v in batch.vitals],
            )
        if batch.transitions:
            many(
                "INSERT OR IGNORE INTO alarm_log VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [
                    (cook, round(t.time_unix * 1000), t.key, t.event, t.before, t.after, t.value, t.limit, t.message,
                     t.priority)
                    for t in batch.transitions
                ],
            )  # fmt: skip
        if batch.marks:
            many(
                "INSERT OR IGNORE INTO mark VALUES (?, ?, ?, ?)",
                [(cook, round(m.time_unix * 1000), m.kind, m.text) for m in batch.marks],
            )
        if batch.trend:
            many(
                "INSERT OR IGNORE INTO trend VALUES (?, ?, ?)",
                [(round(p.time_unix * 1000), cook, pack(p)) for p in batch.trend],
            )

        if batch.calls:
            write_calls(self._connection, cook, batch.calls.values())
        if batch.messages:
            write_messages(self._connection, cook, batch.messages.values())
        if batch.settled:
            many("INSERT OR IGNORE INTO settled SELECT id FROM cook WHERE id = ?", [(n,) for n in batch.settled])

    def settled(self) -> set[int]:
        """Give the numbers of the cooks of which the server holds everything."""
        return {number for (number,) in self._connection.execute("SELECT cook FROM settled")}

    def renew(self) -> str:
        """Give the store another identity, so that a server takes it for one of its own; return it."""
        with self._transaction(full=True):
            self._connection.execute("UPDATE identity SET store = lower(hex(randomblob(16)))")
            self._connection.execute("DELETE FROM settled")
        return str(self._connection.execute("SELECT store FROM identity").fetchone()[0])

    def _write_rows(self, rows: list[Row]) -> None:
        """Insert readings, many a statement.

        Each statement lets go of the interpreter once, and an event loop busy with a burst gives it back only after
        5 ms: row by row, the commit of a burst would take as long as the burst. Their sizes are powers of two, since
        each text that differs is kept prepared: a hundred of them would be megabytes.
        """
        at = 0
        while at < len(rows):
            some = rows[at : at + min(ROWS_PER_STATEMENT, 1 << (len(rows) - at).bit_length() - 1)]
            at += len(some)
            places = ", (?, ?, ?, ?, ?, ?)" * (len(some) - 1)
            self._connection.execute(
                f"INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?, ?, ?){places}",  # noqa: S608 - only question marks
                list(chain.from_iterable(some)),
            )

    @contextlib.contextmanager
    def _transaction(self, *, full: bool) -> Iterator[None]:
        run = self._connection.execute
        if full is not self._full:
            run(f"PRAGMA synchronous = {'FULL' if full else 'NORMAL'}")
            self._full = full
        run("BEGIN IMMEDIATE")
        try:
            yield
            run("COMMIT")
        except BaseException:
            if self._connection.in_transaction:
                run("ROLLBACK")
            raise

    def seal(self, before_unix: float, *, settled_only: bool = False) -> SealedHour | None:
        """Seal the next hour of the cooks that ended before a time; None where all of them are.

        Args:
            before_unix: a cook that ended later is left as it is.
            settled_only: leave cooks of which a server does not hold everything.

        Raises:
            StoreError: the disk refuses; nothing was changed.
        """
        try:
            if self._to_seal(before_unix, settled_only=settled_only) is None:
                return None  # nobody waits for us to find out that there is nothing to do
            with self._transaction(full=False):
                bounds = self._to_seal(before_unix, settled_only=settled_only)  # the record may have been edited
                return None if bounds is None else seal_hour(self._connection, *bounds)
        except sqlite3.Error as error:
            raise StoreError(f"{self.path}: cannot be sealed: {error}") from error

    def _to_seal(self, before_unix: float, *, settled_only: bool) -> tuple[int, int] | None:
        """Give the bounds of the first cook that has readings to be sealed; None where there is none."""
        run = self._connection.execute
        if run("SELECT 1 FROM reading LIMIT 1").fetchone() is None:
            return None
        may = self.settled() if settled_only else None
        for number, bounds in Record(self._connection, VERSION).ended_bounds(before_unix):
            may_be = may is None or number in may
            if may_be and run("SELECT 1 FROM reading WHERE id >= ? AND id < ? LIMIT 1", bounds).fetchone():
                return bounds
        return None

    def forget(self, cooks: list[Cook]) -> int:
        """Delete ended cooks with all that was recorded in them; return how many readings went.

        Raises:
            StoreError: the disk refuses.
        """
        try:
            return forget(self._connection, cooks)
        except sqlite3.Error as error:
            raise StoreError(f"{self.path}: {error}") from error

    def compact(self) -> tuple[int, int]:
        """Give unused room back to the disk; return the bytes before and after.

        Raises:
            StoreError: no room for it, or the disk refuses.
        """
        return compact(self._connection, self.path)

    def close(self) -> None:
        """Fold the journal into the file and let go of the store."""
        with contextlib.suppress(sqlite3.Error):
            self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self._connection.close()
        self._lock.close()


def hold(path: Path) -> IO[bytes]:
    """Lock the store against a second collector; the lock goes with the process, however it ends.

    Raises:
        StoreBusyError: another collector holds it.
        StoreError: it cannot be locked.
    """
    try:
        handle = os.open(f"{path}.lock", os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, STORE_MODE)
        lock = os.fdopen(handle, "wb")
    except OSError as error:
        raise StoreError(f"{path}: cannot be locked: {error.strerror}") from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        lock.close()
        raise StoreBusyError(f"{path}: another collector is writing here (its lock is {path}.lock)") from error
    lock.truncate(0)
    lock.write(f"{os.getpid()}\n".encode())
    lock.flush()
    return lock
