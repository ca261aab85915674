"""Takes away the rows of deleted cooks, some at a time: a collector that writes beside waits for none of it long."""

import sqlite3

from collector.store.readings import drop_between, last_between
from collector.store.schema import SEQUENCE_BITS
from collector.store.upkeep import GO_BY_COOK, GO_BY_TIME

__all__ = ["doom", "sweep"]

ROWS_AT_A_TIME = 20_000


def doom(connection: sqlite3.Connection, cook: int, bounds: tuple[int, int]) -> tuple[int, int]:
    """Strike a cook from the record, inside a transaction; what `sweep` still has to take away is written down.

    Args:
        connection: the open store.
        cook: number of the cook; it must have ended.
        bounds: its first ordinal, and the first after it.

    Returns:
        The ordinals from and before which its rows lie.
    """
    low, high = bounds
    last = low
    for table in (*GO_BY_TIME, "elsewhere"):
        found = connection.execute(f"SELECT max(id) FROM {table} WHERE id >= ? AND id < ?", bounds).fetchone()[0]  # noqa: S608 - our own names
        last = max(last, found or 0)
    last = max(last, last_between(connection, *bounds) or 0)
    high = min(high, ((last >> SEQUENCE_BITS) + 1) << SEQUENCE_BITS)
    connection.execute("INSERT INTO going VALUES (?, ?)", (low, high))
    for table in GO_BY_COOK:
        connection.execute(f"DELETE FROM {table} WHERE cook = ?", (cook,))  # noqa: S608
    connection.execute("DELETE FROM cook WHERE id = ?", (cook,))
    return low, high


def sweep(connection: sqlite3.Connection) -> int:
    """Take away the rows of cooks that were deleted; return how many readings went. May be cut short and done again."""
    gone = 0
    for bounds in connection.execute("SELECT from_id, until_id FROM going").fetchall():
        run = connection.execute
        gone += _sealed(connection, bounds)
        run("DELETE FROM calibration WHERE id >= ? AND id < ? AND id IN (SELECT id FROM elsewhere)", bounds)
        for table in (*GO_BY_TIME, "elsewhere"):
            some = ROWS_AT_A_TIME
            while some == ROWS_AT_A_TIME:
                some = run(
                    f"DELETE FROM {table} WHERE id IN (SELECT id FROM {table} WHERE id >= ? AND id < ? LIMIT ?)",  # noqa: S608 - our own names
                    (*bounds, ROWS_AT_A_TIME),
                ).rowcount
                gone += some if table == "reading" else 0
        gone += _sealed(connection, bounds, over=True)  # an hour may have been sealed meanwhile
    return gone


def _sealed(connection: sqlite3.Connection, bounds: tuple[int, int], *, over: bool = False) -> int:
    """Take sealed readings away, all of them or none; with that, strike the stretch off the list where it is over."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        gone = drop_between(connection, *bounds)
        if over:
            connection.execute("DELETE FROM going WHERE from_id = ?", bounds[:1])
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    return gone
