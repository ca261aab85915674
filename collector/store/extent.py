"""Where the rows of a cook end, and which number a new cook gets. Works on an open connection, in its transaction."""

import sqlite3

__all__ = ["bound_before", "next_number", "set_extent"]


def next_number(connection: sqlite3.Connection) -> int:
    """Give the number of a new cook: none is given twice, so that no copy takes one cook for another."""
    found = connection.execute(
        "SELECT 1 + max((SELECT coalesce(max(cooks), 0) FROM numbered), (SELECT coalesce(max(id), 0) FROM cook))"
    )
    number = int(found.fetchone()[0])
    connection.execute("DELETE FROM numbered")
    connection.execute("INSERT INTO numbered VALUES (?)", (number,))
    return number


def bound_before(connection: sqlite3.Connection, started_ms: int) -> None:
    """Let the cook before a new one end where that begins, if it goes on further or without end."""
    before = connection.execute(
        "SELECT id FROM cook WHERE started_ms < ? ORDER BY started_ms DESC LIMIT 1", (started_ms,)
    ).fetchone()
    if before is not None:
        connection.execute(
            "INSERT INTO extent VALUES (?, ?, '') ON CONFLICT (cook) DO UPDATE SET until_ms = excluded.until_ms "
            "WHERE until_ms IS NULL OR until_ms > excluded.until_ms",
            (before[0], started_ms),
        )


def set_extent(connection: sqlite3.Connection, cook: int, until_ms: int | None) -> None:
    """Let the rows of a cook end before a time; None: where the next cook begins."""
    connection.execute(
        "INSERT INTO extent VALUES (?, ?, '') ON CONFLICT (cook) DO UPDATE SET until_ms = excluded.until_ms",
        (cook, until_ms),
    )
