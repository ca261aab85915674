"""A damaged store is read page by page, and what can be read goes to a fresh one with its ids, ordinals and receipts.

Pages are read as SQLite's trees lead to them. A page that no tree leads to any more, since the page above it is lost,
is known by its rows: no two tables of a store have columns of the same kinds. The damaged file is never written.
"""

import contextlib
import shutil
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from collector.errors import StoreError
from collector.store.btree import Child, Leaf, Value, children, kind_of, leaf
from collector.store.pages import Image
from collector.store.regained import mend
from collector.store.schema import MIGRATIONS, OF_ORDINALS, SEQUENCE_BITS, VERSION
from collector.store.tables import Table, tables
from collector.store.upkeep import sync

__all__ = ["Lost", "Salvaged", "said_of", "salvage"]

EVERY_KEY = -(1 << 63), (1 << 63) - 1
DEEPEST = 20
"""Pages above a page; a store of a thousand nights has four."""
ROWS_AT_A_TIME = 5000


class Lost(msgspec.Struct, frozen=True):
    """Rows of a table that cannot be read."""

    table: str
    rows: int
    """How many; of a page of which nothing can be read, about as many as on the others."""
    after_unix: float | None
    """They came after this time; None where the table has no times."""
    until_unix: float | None
    """And not after this one; None: to the end of the record, or the table has no times."""


class Salvaged(msgspec.Struct, frozen=True):
    """What came of it."""

    rows: dict[str, int]
    """Rows read, by table."""
    lost: tuple[Lost, ...]
    broken_pages: int
    """Pages of which some or all cannot be read."""
    pages: int
    mended: tuple[str, ...]
    """What had to be made up, in words."""


def salvage(path: Path, to: Path, *, plan_json: str = "") -> Salvaged:
    """Read what can be read of a damaged store, and write a sound one.

    Args:
        path: the damaged store, with its journal beside it; only read.
        to: the fresh one; there must be none.
        plan_json: the set-up for a cook whose own is lost; empty: that of another cook.

    Raises:
        StoreError: nothing can be read, there is no room, or `to` cannot be written.
    """
    if to.exists():
        raise StoreError(f"{to}: is there already")
    fresh = to.with_name(to.name + ".new")
    try:
        free = shutil.disk_usage(to.parent).free
        if free < 2 * path.stat().st_size:
            raise StoreError(
                f"{to.parent}: {free / 1e6:.0f} MB are free, {2 * path.stat().st_size / 1e6:.0f} are needed"
            )
        fresh.unlink(missing_ok=True)
        fresh.touch(0o600)
        with contextlib.closing(Image(path)) as image, contextlib.closing(sqlite3.connect(fresh)) as into:
            found = _Reader(image, into, plan_json).read()
        sync(fresh)
        fresh.replace(to)
    except OSError as error:
        raise StoreError(f"{path}: cannot be salvaged: {error.strerror}") from error
    except sqlite3.Error as error:
        raise StoreError(f"{to}: cannot be written: {error}") from error
    finally:
        fresh.unlink(missing_ok=True)
    return found


def said_of(found: Salvaged) -> list[str]:
    """Say what was read and what is lost, in lines; the first sums it up."""
    lost = sum(loss.rows for loss in found.lost)
    read = sum(found.rows.values())
    lines = [f"{read} rows read, about {lost} lost" if lost else f"{read} rows read, none known to be lost"]
    lines[0] += f": {found.broken_pages} of {found.pages} pages cannot be read" if found.broken_pages else ""
    lines += [f"{table}: {rows} rows read" for table, rows in found.rows.items()]
    for loss in sorted(found.lost, key=lambda loss: (loss.table, loss.after_unix or 0.0)):
        lines.append(f"{loss.table}: about {loss.rows} rows lost{_when(loss)}")
    lines += [f"lost: {words}" for words in found.mended]
    return lines


def _when(loss: Lost) -> str:
    if loss.after_unix is None:
        return ""
    after = datetime.fromtimestamp(loss.after_unix, UTC)
    until = f"to {datetime.fromtimestamp(loss.until_unix, UTC):%Y-%m-%d %H:%M:%S}" if loss.until_unix else "on"
    return f", from {after:%Y-%m-%d %H:%M:%S} {until} UTC"


class _Reader:
    """Reads one damaged store into a fresh one."""

    def __init__(self, image: Image, into: sqlite3.Connection, plan_json: str) -> None:
        self._image, self._into, self._plan_json = image, into, plan_json
        self._version = image.version if 1 <= image.version <= VERSION else VERSION
        into.isolation_level = None
        into.execute("PRAGMA journal_mode = OFF")
        into.execute("PRAGMA synchronous = OFF")
        for number in range(self._version):
            into.executescript(f"{MIGRATIONS[number]} PRAGMA user_version = {number + 1};")
        self._tables = tables(into)
        self._seen: set[int] = image.free()
        """Pages that are read, or hold nothing."""
        self._rows: dict[str, int] = dict.fromkeys(self._tables, 0)
        self._leaves: dict[str, int] = dict.fromkeys(self._tables, 0)
        self._lost: list[tuple[Table, int | None, Child]] = []
        self._partly: set[int] = set()
        """Pages of which some rows cannot be read."""
        self._names: dict[str, list[tuple[Value, ...]]] = {"cook": [], "series": []}
        """What the indexes of names still say where the tables are lost."""

    def read(self) -> Salvaged:
        """Read all of it."""
        self._into.execute("BEGIN")
        for name in ("identity", "numbered"):  # the fresh store was given its own
            if name in self._tables:
                self._into.execute(f"DELETE FROM {name}")  # noqa: S608 - our own names
        for name, root in self._roots().items():
            if name in self._tables:
                self._follow(self._tables[name], root)
            elif name.startswith("sqlite_autoindex_"):
                self._follow(self._index(name), root)
        self._gather()
        if not any(self._rows.values()):
            raise StoreError("nothing in it can be read")
        mended = mend(self._into, self._names, self._plan_json, strays=not self._image.headed, version=self._version)
        self._into.execute("COMMIT")
        rows = {name: count for name, count in self._rows.items() if count}
        unread = set(range(1, self._image.pages + 1)) - self._seen
        unread |= {1} if not self._image.headed or not kind_of(self._image, 1) else set()
        return Salvaged(rows, tuple(self._told()), len(unread | self._partly), self._image.pages, tuple(mended))

    def _roots(self) -> dict[str, int]:
        """Give the first page of each table and index, as far as the list of them can be read."""
        found: dict[str, int] = {}
        self._seen.add(1)
        pages = [1]
        for number in pages:
            below = list(children(self._image, number, *EVERY_KEY))
            pages += [child.number for child in below if child.number not in pages]
            for _, row in leaf(self._image, number).rows:
                if (
                    len(row) == 5
                    and row[0] in ("table", "index")
                    and isinstance(row[1], str)
                    and isinstance(row[3], int)
                ):
                    found[row[1]] = row[3]
        self._seen |= {number for number in pages if kind_of(self._image, number)}
        return found

    def _index(self, name: str) -> Table:
        return Table.index(name.removeprefix("sqlite_autoindex_").rpartition("_")[0])

    def _follow(self, table: Table, root: int) -> None:
        """Read a table from its first page down, in the order of its keys."""
        lost: list[tuple[int, Child]] = []
        deepest = 0
        for depth, child, page in self._walk(table, Child(root, *EVERY_KEY), 0):
            if page is None:
                lost.append((depth, child))
            elif page.rows or not page.broken:
                deepest = max(deepest, depth)
        for depth, child in lost:
            whole = self._image.page(child.number) is None or depth >= deepest
            self._lost.append((table, None if whole else 0, child))

    def _walk(self, table: Table, child: Child, depth: int) -> Iterator[tuple[int, Child, Leaf | None]]:
        """Yield the pages of a table that hold rows, in order, with their depth; None for one that cannot be read."""
        number = child.number
        kind = kind_of(self._image, number)
        fits = number not in self._seen and depth < DEEPEST and kind in table.kinds
        if not fits:
            yield depth, child, None
            return
        if kind in table.inner:
            self._seen.add(number)
            if table.in_index:
                yield depth, child, self._take(table, child)
            for below in children(self._image, number, child.low, child.high):
                yield from self._walk(table, below, depth + 1)
            return
        taken = self._take(table, child)
        yield depth, child, taken

    def _take(self, table: Table, child: Child, found: Leaf | None = None) -> Leaf | None:
        """Take the rows of a page; None where not one of them is of this table."""
        found = leaf(self._image, child.number) if found is None else found
        within = (table.row(n, values) for n, values in found.rows if child.low < n <= child.high or not n)
        good = [row for row in within if row is not None]
        bad = found.broken + len(found.rows) - len(good)
        if not good and bad:
            return None
        self._seen |= {child.number, *found.chained}
        if bad:
            self._partly.add(child.number)
            keys = [row[0] for row in good if isinstance(row[0], int)]
            low = child.low if child.low > EVERY_KEY[0] or not keys else min(keys) - 1
            high = child.high if child.high < EVERY_KEY[1] or not keys else max(keys)
            self._lost.append((table, bad, Child(child.number, low, high)))
        if table.name in self._names and table.in_index:
            self._names[table.name] += good
        elif good and not table.index_only:
            many = ", ".join("?" * len(good[0]))
            done = self._into.executemany(f"INSERT OR IGNORE INTO {table.name} VALUES ({many})", good)  # noqa: S608
            self._rows[table.name] += done.rowcount
            self._leaves[table.name] += 1
        return found

    def _gather(self) -> None:
        """Read the pages that no tree leads to any more, each by what its rows are."""
        for number in range(1, self._image.pages + 1):
            if number in self._seen or not kind_of(self._image, number):
                continue
            found = leaf(self._image, number)
            fitting = [
                (sum(table.row(n, values) is not None for n, values in found.rows), table)
                for table in (*self._tables.values(), Table.index("cook"), Table.index("series"))
                if kind_of(self._image, number) in table.kinds
            ]
            most, table = max(fitting, key=lambda fit: fit[0], default=(0, None))
            if most and table is not None:
                self._take(table, Child(number, *EVERY_KEY), found)

    def _told(self) -> Iterator[Lost]:
        """Say what is lost, and when that was."""
        for table, rows, child in self._lost:
            if table.in_index and table.name in self._names:
                continue
            if rows == 0 or (rows is None and child.number in self._seen):
                continue  # no tree led to what it holds, the rows themselves did
            if rows is None and (child.low, child.high) == EVERY_KEY and self._leaves[table.name]:
                continue  # the page above all others
            usual = max(1, round(self._rows[table.name] / max(1, self._leaves[table.name])))
            yield Lost(table.name, usual if rows is None else rows, *_times(table.name, child))


def _times(table: str, child: Child) -> tuple[float | None, float | None]:
    """Give the times between which rows lay; None where there is none."""
    if table in OF_ORDINALS or table == "sealed":
        step = 1000 << SEQUENCE_BITS
    elif table == "trend":
        step = 1000
    else:
        return None, None
    low, high = EVERY_KEY
    return 0.0 if child.low == low else child.low / step, None if child.high == high else child.high / step
