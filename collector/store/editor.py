"""Changes what is on record afterwards: tags, notes, photos, names, cooks deleted, merged, split. Blocks.

It works beside a collector that has the store open: each change is one short transaction, and none touches the cook
that runs but to add to it. Every change is a row of the table `edit`; what rang stays on record as it rang.
"""

import contextlib
import sqlite3
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Self

from adapters.text import printable
from collector.errors import EditError, StoreBusyError, StoreError
from collector.store.archive import Archive
from collector.store.database import Database, hold
from collector.store.extent import bound_before
from collector.store.keepsake import (
    MOST_NOTE_CHARACTERS,
    MOST_PHOTO_BYTES,
    MOST_PHOTOS,
    MOST_TAG_CHARACTERS,
    EditKind,
    picture_kind,
)
from collector.store.record import Cook, Record
from collector.store.reshape import merge, split
from collector.store.schema import SEQUENCE_BITS, VERSION
from collector.store.sweep import doom, sweep

__all__ = ["Editor", "checked_name", "checked_note", "checked_tag", "log_edit"]

BUSY_SECONDS = 10.0
MOST_NAME_CHARACTERS = 80


class Editor:
    """A store that is changed.

    Raises:
        StoreError: there is none, or it cannot be changed now.
    """

    def __init__(self, path: Path, clock: Callable[[], float] = time.time) -> None:
        with Archive(path) as archive:
            version = archive.version
        if version < VERSION:
            _migrate(path)
        self.path = path
        self._clock = clock
        try:
            self._connection = sqlite3.connect(
                f"{path.absolute().as_uri()}?mode=rw", uri=True, isolation_level=None, timeout=BUSY_SECONDS
            )
            self._connection.execute("PRAGMA foreign_keys = ON")
            self._connection.execute("PRAGMA synchronous = FULL")
        except sqlite3.Error as error:
            raise StoreError(f"{path}: cannot be opened: {error}") from error
        self.record = Record(self._connection, VERSION)
        """What is on record, as this connection sees it."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._connection.close()

    @contextlib.contextmanager
    def _changing(self, *cooks: Cook) -> Iterator[sqlite3.Connection]:
        """Change cooks in one transaction, as they were when they were looked up.

        Raises:
            EditError: they were changed meanwhile.
            StoreBusyError: somebody else writes all the time.
            StoreError: the disk refuses.
        """
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            for cook in cooks:
                self._unchanged(cook)
            yield self._connection
            self._connection.execute("COMMIT")
        except sqlite3.Error as error:
            raise self._fault(error) from error
        finally:
            if self._connection.in_transaction:
                with contextlib.suppress(sqlite3.Error):
                    self._connection.execute("ROLLBACK")

    def _fault(self, error: sqlite3.Error) -> StoreError:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            return StoreBusyError(f"{self.path}: somebody else is writing; try again in a moment")
        return StoreError(f"{self.path}: cannot be changed: {error}")

    def _unchanged(self, cook: Cook) -> None:
        found = self._connection.execute(
            "SELECT name, started_ms, ended_ms FROM cook WHERE id = ?", (cook.number,)
        ).fetchone()
        ended_ms = None if cook.ended_unix is None else round(cook.ended_unix * 1000)
        if found != (cook.name, round(cook.started_unix * 1000), ended_ms):
            raise EditError(f"the cook {cook.name!r} was changed by somebody else just now; look again")

    def _log(self, kind: EditKind, cook: Cook, text: str, *, other: int | None = None) -> None:
        log_edit(self._connection, kind, cook.number, cook.name, text, self._clock(), other=other)

    def tag(self, cook: Cook, tag: str) -> str:
        """Give a cook a tag; return it as it is kept.

        Raises:
            EditError: it is no tag, or the cook has it.
        """
        tag = checked_tag(tag)
        if tag.casefold() in (t.casefold() for t in cook.tags):
            raise EditError(f"the cook {cook.name!r} has the tag {tag!r} already")
        with self._changing(cook) as connection:
            connection.execute("INSERT OR IGNORE INTO tag VALUES (?, ?)", (cook.number, tag))
            self._log(EditKind.TAG, cook, tag)
        return tag

    def untag(self, cook: Cook, tag: str) -> str:
        """Take a tag away from a cook; return it as it was.

        Raises:
            EditError: the cook has no such tag.
        """
        found = next((t for t in cook.tags if t.casefold() == tag.strip().casefold()), None)
        if found is None:
            there = ", ".join(cook.tags) or "none"
            raise EditError(f"the cook {cook.name!r} has no tag {tag!r}; it has {there}")
        with self._changing(cook) as connection:
            connection.execute("DELETE FROM tag WHERE cook = ? AND tag = ?", (cook.number, found))
            self._log(EditKind.UNTAG, cook, found)
        return found

    def note(self, cook: Cook, text: str) -> None:
        """Write something about a cook.

        Raises:
            EditError: it says nothing, or is too long.
        """
        text = checked_note(text)
        with self._changing(cook) as connection:
            connection.execute(
                "INSERT INTO note (cook, time_ms, text) VALUES (?, ?, ?)",
                (cook.number, round(self._clock() * 1000), text),
            )
            self._log(EditKind.NOTE, cook, text)

    def photo(self, cook: Cook, name: str, content: bytes, text: str = "") -> int:
        """Keep a photo with a cook; return its bytes.

        Args:
            cook: which.
            name: of the file.
            content: of the file.
            text: what is to be seen.

        Raises:
            EditError: it is no PNG or JPEG, or too large, or one too many.
        """
        kind = picture_kind(content)
        if not kind:
            raise EditError(f"{name}: is no PNG and no JPEG by its first bytes; save it as one of them")
        if len(content) > MOST_PHOTO_BYTES:
            raise EditError(
                f"{name}: {len(content) / 1e6:.1f} MB; at most {MOST_PHOTO_BYTES / 1e6:.0f} MB are kept, shrink it"
            )
        if cook.photos >= MOST_PHOTOS:
            raise EditError(f"the cook {cook.name!r} has {cook.photos} photos; more are not kept")
        text = _line(text, "caption", 1000) if text.strip() else ""
        with self._changing(cook) as connection:
            connection.execute(
                "INSERT INTO photo (cook, time_ms, kind, name, text, bytes) VALUES (?, ?, ?, ?, ?, ?)",
                (cook.number, round(self._clock() * 1000), kind, name, text, content),
            )
            self._log(EditKind.PHOTO, cook, f"{name}, {len(content):,} bytes")
        return len(content)

    def rename(self, cook: Cook, name: str) -> str:
        """Give an ended cook another name; return it.

        Raises:
            EditError: it is no name, or taken, or the cook goes on.
        """
        _must_have_ended(cook, "renamed")
        name = checked_name(name, self.record)
        with self._changing(cook) as connection:
            connection.execute("UPDATE cook SET name = ? WHERE id = ?", (name, cook.number))
            self._log(EditKind.RENAME, cook, name)
        return name

    def end(self, cook: Cook) -> float:
        """End a cook that no collector goes on with, at its last sign of life; return that time.

        Raises:
            EditError: it has ended.
            StoreBusyError: a collector is at it.
        """
        if cook.ended_unix is not None:
            raise EditError(f"the cook {cook.name!r} has ended already")
        ended = max(self.record.alive_unix(cook), cook.started_unix)
        with contextlib.closing(hold(self.path)), self._changing(cook) as connection:
            connection.execute("UPDATE cook SET ended_ms = ? WHERE id = ?", (round(ended * 1000), cook.number))
            self._log(EditKind.END, cook, "")
        return ended

    def delete(self, cook: Cook) -> int:
        """Delete an ended cook with all that was recorded in it; return how many readings went.

        It is off the record at once; its rows are taken away some at a time. Should that be cut short, the next change
        of the record, or the next collector, goes on with it.

        Raises:
            EditError: it goes on.
        """
        _must_have_ended(cook, "deleted")
        with self._changing(cook) as connection:
            bound_before(connection, round(cook.started_unix * 1000))
            bounds = doom(connection, cook.number, self.record.bounds(cook))
            log_edit(
                connection, EditKind.DELETE, cook.number, cook.name, f"{cook.readings} readings", self._clock(),
                bounds=bounds,
            )  # fmt: skip
        return self.sweep()

    def sweep(self) -> int:
        """Take away what is still there of deleted cooks; return how many readings went."""
        try:
            return sweep(self._connection)
        except sqlite3.Error as error:
            raise self._fault(error) from error

    def merge(self, one: Cook, other: Cook) -> Cook:
        """Make one cook of two neighbours; the earlier one's name stays. Return it.

        Raises:
            EditError: they are no neighbours, or one goes on.
        """
        first, second = sorted((one, other), key=lambda cook: cook.started_unix)
        if first.number == second.number:
            raise EditError(f"{first.name!r} is one cook; name two")
        for cook in (first, second):
            _must_have_ended(cook, "merged")
        between = [
            c.name for c in self.record.cooks() if first.started_unix < c.started_unix < second.started_unix
        ]  # fmt: skip
        if between:
            raise EditError(
                f"{first.name!r} and {second.name!r} are no neighbours: between them lies {', '.join(between)}; "
                "merge neighbours, one after the other"
            )
        with self._changing(first, second) as connection:
            merge(connection, first, second)
            self._log(EditKind.MERGE, first, f"with {second.name}", other=second.number)
        return self.record.cook(first.name)

    def split(self, cook: Cook, at_unix: float, name: str = "") -> Cook:
        """Make a cook of its own of what an ended cook holds from a time on; return it.

        Raises:
            EditError: there is nothing on one side of that time, or the cook goes on.
        """
        _must_have_ended(cook, "split")
        at_ms = round(at_unix * 1000)
        at = at_ms << SEQUENCE_BITS
        low, high = self.record.bounds(cook)
        if not low < at < high or not all(self.record.readings_between(*sides) for sides in ((low, at), (at, high))):
            raise EditError(f"the cook {cook.name!r} has no readings on one side of that time")
        taken = set(self.record.names())
        name = (
            checked_name(name, self.record)
            if name
            else next(f"{cook.name}-{k}" for k in range(2, 10_000) if f"{cook.name}-{k}" not in taken)
        )
        with self._changing(cook) as connection:
            number = split(connection, cook, at_ms, name)
            self._log(EditKind.SPLIT, cook, f"into {cook.name} and {name}", other=number)
        return self.record.cook(name)


def log_edit(
    connection: sqlite3.Connection,
    kind: EditKind,
    cook: int,
    name: str,
    text: str,
    now_unix: float,
    *,
    other: int | None = None,
    bounds: tuple[int, int] | tuple[None, None] = (None, None),
) -> None:
    """Put an edit on record, inside its transaction; what a server holds of the cook counts as not all of it."""
    connection.execute(
        "INSERT INTO edit (time_ms, kind, cook, other, name, text, from_id, until_id) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (round(now_unix * 1000), kind, cook, other, name, text, *bounds),
    )
    connection.execute("DELETE FROM settled WHERE cook IN (?, ?)", (cook, other))


def checked_name(name: str, record: Record) -> str:
    """Give the name of a cook as it is kept.

    Raises:
        EditError: it is no name, or taken.
    """
    name = _line(name, "name", MOST_NAME_CHARACTERS)
    if name == "last":
        raise EditError("'last' means the newest cook and is no name; take another")
    if name in record.names():
        raise EditError(f"there is a cook named {name!r} already; take another name")
    return name


def checked_tag(text: str) -> str:
    """Give a tag as it is kept.

    Raises:
        EditError: it is none.
    """
    tag = _line(text, "tag", MOST_TAG_CHARACTERS)
    if "," in tag:
        raise EditError(f"the tag {tag!r}: a comma ends a tag in lists; give two tags, or leave it out")
    return tag


def checked_note(text: str) -> str:
    """Give a note as it is kept.

    Raises:
        EditError: it says nothing, or is too long.
    """
    text = printable(text).strip()
    if not text or len(text) > MOST_NOTE_CHARACTERS:
        raise EditError(f"a note has 1 to {MOST_NOTE_CHARACTERS} characters, this one {len(text)}")
    return text


def _line(text: str, what: str, most: int) -> str:
    text = " ".join(text.split())
    if not text or len(text) > most:
        raise EditError(f"a {what} has 1 to {most} characters, this one {len(text)}")
    if not text.isprintable():
        raise EditError(f"the {what} {text!r} holds what cannot be printed")
    return text


def _must_have_ended(cook: Cook, what: str) -> None:
    if cook.ended_unix is None:
        raise EditError(
            f"the cook {cook.name!r} goes on and cannot be {what}; a collector ends it when another begins "
            "(`coldside collect --cook NAME`), and where none runs `coldside cook end` does"
        )


def _migrate(path: Path) -> None:
    """Bring a store to this version.

    Raises:
        StoreBusyError: an earlier coldside holds it.
    """
    try:
        Database(path).close()
    except StoreBusyError as error:
        raise StoreBusyError(
            f"{path}: a collector of an earlier coldside has it open; start the collector anew first"
        ) from error
