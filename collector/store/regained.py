"""What a salvaged store needs beside the rows that were read: names, cooks and set-ups, by what other rows say."""

import sqlite3
from collections.abc import Mapping, Sequence

from collector.store.btree import Value
from collector.store.record import Record
from collector.store.schema import SEQUENCE_BITS
from collector.store.upkeep import GO_BY_COOK, GO_BY_TIME

__all__ = ["mend"]

SOON_MS = 60_000
"""A cook's first reading comes so soon after it began."""


def mend(
    connection: sqlite3.Connection, names: Mapping[str, Sequence[tuple[Value, ...]]], plan_json: str, *, strays: bool,
    version: int,
) -> list[str]:  # fmt: skip
    """Make up what is missing, inside a transaction; say in words what.

    Args:
        connection: the fresh store, with all rows that could be read.
        names: what the indexes of `cook` (name, number) and `series` (source, key, number) say.
        plan_json: the set-up for a cook whose own is lost; empty: that of another cook.
        strays: whether pages may have been read that held nothing any more: rows of no cook are let go.
        version: of the tables.
    """
    by_cook = [t for t in GO_BY_COOK if _has(connection, t)]
    if version >= 8:  # a page that was used no more may still hold what was sealed since
        connection.execute(
            "DELETE FROM reading WHERE EXISTS (SELECT 1 FROM sealed WHERE first_id <= reading.id AND "
            "last_id >= reading.id AND first_id = (SELECT max(first_id) FROM sealed WHERE first_id <= reading.id))"
        )
    said = _name_series(connection, names["series"])
    said += _name_cooks(connection, names["cook"], by_cook, version)
    said += _plan_cooks(connection, plan_json)
    if strays:
        _let_go(connection, by_cook, version)
    if version >= 6 and not connection.execute("SELECT 1 FROM identity").fetchone():
        connection.execute("INSERT INTO identity VALUES (lower(hex(randomblob(16))))")
        said.append("by which a server knows it: it is another store to a server now")
    if version >= 7 and not connection.execute("SELECT 1 FROM numbered").fetchone():
        connection.execute("INSERT INTO numbered SELECT coalesce(max(id), 0) FROM cook")
    return said


def _has(connection: sqlite3.Connection, table: str) -> bool:
    return connection.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (table,)).fetchone() is not None


def _name_series(connection: sqlite3.Connection, names: Sequence[tuple[Value, ...]]) -> list[str]:
    """Name the series whose rows are lost: by the index of names, else by their number."""
    connection.executemany("INSERT OR IGNORE INTO series (source, key, id) VALUES (?, ?, ?)", names)
    lost = [
        number
        for (number,) in connection.execute(
            "SELECT DISTINCT series FROM reading WHERE series NOT IN (SELECT id FROM series)"
        )
    ]
    connection.executemany("INSERT INTO series VALUES (?, 'lost', ?)", [(n, f"series {n}") for n in lost])
    return [f"names of {len(lost)} series, which are called lost/series N now"] if lost else []


def _name_cooks(
    connection: sqlite3.Connection, names: Sequence[tuple[Value, ...]], by_cook: Sequence[str], version: int
) -> list[str]:
    """Put the cooks on record again of which only other rows tell."""
    run = connection.execute
    told = " UNION ".join(f"SELECT cook FROM {table}" for table in by_cook if table != "settled")  # noqa: S608 - our own names
    known = {number: name for name, number in names}
    lost = [n for (n,) in run(f"SELECT cook FROM ({told}) WHERE cook NOT IN (SELECT id FROM cook) ORDER BY cook")]  # noqa: S608 - our own names
    lost = sorted({*lost, *(n for n in known if not run("SELECT 1 FROM cook WHERE id = ?", (n,)).fetchone())})
    said = []
    sealed = (("sealed", "first_id"),) if version >= 8 else ()
    for number in lost:
        times = [run(f"SELECT min(time_ms), max(time_ms) FROM {table} WHERE cook = ?", (number,)).fetchone()  # noqa: S608
                 for table in ("trend", "mark", "alarm_log")]  # fmt: skip
        first = min((low for low, _ in times if low is not None), default=None)
        last = max((high for _, high in times if high is not None), default=None)
        since = run("SELECT max(coalesce(ended_ms, started_ms)) FROM cook WHERE id < ?", (number,)).fetchone()[0] or 0
        if version >= 7:  # a cook that begins bounds the one before it
            since = run("SELECT max(until_ms) FROM extent WHERE cook < ?", (number,)).fetchone()[0] or since
        ordinals = [run(f"SELECT min({key}) FROM {table} WHERE {key} >= ?", (since << SEQUENCE_BITS,)).fetchone()[0]  # noqa: S608
                    for table, key in (("reading", "id"), ("action", "id"), *sealed)]  # fmt: skip
        rows = [first, *(None if ordinal is None else ordinal >> SEQUENCE_BITS for ordinal in ordinals)]
        first = min((ms for ms in rows if ms is not None), default=None)
        if first is None:
            continue
        first = since if first - since < SOON_MS else first
        goes_on = number == max([*lost, run("SELECT coalesce(max(id), 0) FROM cook").fetchone()[0]])
        name = str(known.get(number) or f"salvaged-{number}")
        run(
            "INSERT OR IGNORE INTO cook VALUES (?, ?, ?, ?, '')",
            (number, name, first, None if goes_on else max(first, last or first)),
        )
        said.append(f"when the cook {name} began")
    return said


def _plan_cooks(connection: sqlite3.Connection, plan_json: str) -> list[str]:
    """Give each cook without a set-up the given one, or that of the cook nearest to it."""
    run, said = connection.execute, []
    lost = run("SELECT id, name FROM cook WHERE id NOT IN (SELECT cook FROM plan) ORDER BY id").fetchall()
    for number, name in lost:
        near = run("SELECT plan FROM plan ORDER BY abs(cook - ?), from_id DESC LIMIT 1", (number,)).fetchone()
        text = plan_json or (near[0] if near else "")
        if text:
            run("INSERT INTO plan VALUES (?, 0, ?)", (number, text))
            said.append(f"the set-up of the cook {name}")
        else:
            said.append(f"nothing in place of the set-up of the cook {name}: name a config (-c) to show it")
    return said


def _let_go(connection: sqlite3.Connection, by_cook: Sequence[str], version: int) -> None:
    """Let go of rows that belong to no cook."""
    for table in by_cook:
        connection.execute(f"DELETE FROM {table} WHERE cook NOT IN (SELECT id FROM cook)")  # noqa: S608 - our own names
    record = Record(connection, version)
    connection.execute("CREATE TEMP TABLE held (low INTEGER PRIMARY KEY, high INTEGER NOT NULL)")
    connection.executemany("INSERT OR REPLACE INTO held VALUES (?, ?)", [b for _, b in record.all_bounds()])
    for table in (*GO_BY_TIME, *(("sealed",) if version >= 8 else ())):
        key = "first_id" if table == "sealed" else "id"
        connection.execute(
            f"DELETE FROM {table} WHERE NOT EXISTS (SELECT 1 FROM held WHERE low <= {key} AND high > {key})"  # noqa: S608
        )
    connection.execute("DROP TABLE held")
