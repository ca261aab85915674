"""Tables of the server: those of the store, each with the number of the pit before it, made from the store's own.

What a reader of one pit asks is asked of views, in the words in which a store is asked (`coldside_pit.reading` has the
columns of the store's `reading`); `coldside.reading` holds all pits.
"""

import sqlite3
from contextlib import closing
from functools import cache

import msgspec

from collector.store.schema import MIGRATIONS, OF_ORDINALS, SEQUENCE_BITS

__all__ = [
    "ADDED", "DAY_OF_ORDINALS", "NAMES", "OF_COOKS", "RESHAPED", "Column", "Table", "statements", "tables",
]  # fmt: skip

NAMES = ("cook", "plan", "extent")
"""What a collector changes only when it begins; brought then, before all else, and with each edit of the record."""
OF_COOKS = ("alarm_log", "mark", "call", "message")
"""Some hundred rows a night, of which some change."""
ADDED = ("tag", "note")
"""What people add to a cook; brought with the edit that says so. Photos too, one at a time."""
RESHAPED = ("plan", "part", "alarm_log", "mark", "call", "message", "trend")
"""What changes its cook when cooks are merged, split, deleted or imported."""
DAY_OF_ORDINALS = 86_400_000 << SEQUENCE_BITS
_TYPES = {"INTEGER": "bigint", "REAL": "double precision", "TEXT": "text", "BLOB": "bytea"}


class Column(msgspec.Struct, frozen=True):
    """A column, as PostgreSQL calls it."""

    name: str
    type: str
    filled: bool
    """It is never NULL."""


class Table(msgspec.Struct, frozen=True):
    """A table of the store."""

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Its columns."""
        return tuple(column.name for column in self.columns)

    @property
    def listed(self) -> str:
        """Its columns as SQL lists them."""
        return ", ".join(f'"{name}"' for name in self.names)

    @property
    def insertion(self) -> str:
        """Put a row of a pit there, or in place of the one of its key."""
        places = ", ".join(f"${k}" for k in range(2, len(self.columns) + 2))
        others = [name for name in self.names if name not in self.key]
        changed = ", ".join(f'"{name}" = excluded."{name}"' for name in others)
        what = f"UPDATE SET {changed}" if changed else "NOTHING"
        keys = ", ".join(f'"{name}"' for name in self.key)
        return (
            f"INSERT INTO coldside.{self.name} (pit, {self.listed}) VALUES ($1, {places}) "  # noqa: S608 - our own names
            f"ON CONFLICT (pit, {keys}) DO {what}"
        )


@cache
def tables() -> dict[str, Table]:
    """Give the tables that a server holds, by name."""
    with closing(sqlite3.connect(":memory:")) as model:
        for script in MIGRATIONS:
            model.executescript(script)
        found = {}
        others = ("part", *ADDED, "photo", "edit", "elsewhere")
        for name in (*NAMES, "series", *OF_ORDINALS, "trend", *OF_COOKS, *others):
            told = model.execute(f"PRAGMA table_info({name})").fetchall()
            columns = tuple(Column(n, _TYPES[kind], bool(filled or key)) for _, n, kind, filled, _, key in told)
            key = tuple(n for _, n, *_, key in sorted(told, key=lambda row: row[5]) if key)
            found[name] = Table(name, columns, key)
        return found


_BASE = """
CREATE SCHEMA IF NOT EXISTS coldside;
CREATE SCHEMA IF NOT EXISTS coldside_pit;
CREATE TABLE IF NOT EXISTS coldside.version (number bigint NOT NULL);
CREATE TABLE IF NOT EXISTS coldside.pit (
    number integer GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    store text NOT NULL UNIQUE,        -- identity of the store on the pit's own machine
    name text NOT NULL,                -- of the chamber; a pit that was given a new store stands here twice
    since timestamptz NOT NULL DEFAULT now(),
    moved bigint NOT NULL DEFAULT 0    -- dated anew so often
);
"""


def statements() -> list[str]:
    """Give what makes, or adds, all that is to be there; it may be run any number of times."""
    made = [_BASE]
    for table in tables().values():
        columns = ", ".join(f'"{c.name}" {c.type}{" NOT NULL" if c.filled else ""}' for c in table.columns)
        keys = ", ".join(f'"{name}"' for name in table.key)
        made.append(
            f"CREATE TABLE IF NOT EXISTS coldside.{table.name} "
            f"(pit integer NOT NULL REFERENCES coldside.pit, {columns}, PRIMARY KEY (pit, {keys}))"
        )
        made += [
            f'ALTER TABLE coldside.{table.name} ADD COLUMN IF NOT EXISTS "{c.name}" {c.type}' for c in table.columns
        ]
        made.append(
            f"CREATE OR REPLACE VIEW coldside_pit.{table.name} AS SELECT {table.listed} FROM coldside.{table.name} "  # noqa: S608 - our own names
            "WHERE pit = current_setting('coldside.pit')::integer"
        )
    return made
