"""Rows written by a clock that was wrong, moved to when they were.

A board without a battery begins at some time of the past; when the network tells the right one, all that was written
since then is late by the same step. Everything from a moment on is moved forward by it, in one transaction, so that
order stays as it was. A clock that leapt ahead by mistake and was followed is repaired the other way: what was written
since is moved back over the time that never was. The step is a whole number of minutes: the engine's looks fall on a
fixed grid of the clock, and a replay must find them where they were.
"""

import sqlite3

from collector.model.action import ActionKind
from collector.store.readings import shift
from collector.store.schema import OF_ORDINALS, SEQUENCE_BITS

__all__ = ["GRID_MS", "OF_TIMES", "ORDINALS", "TIMES", "redate"]

GRID_MS = 60_000
"""Every grid of the engine divides this."""
OF_TIMES = ("trend", "alarm_log", "mark")
"""Tables whose key holds `time_ms`."""
TIMES = (
    ("cook", "started_ms"), ("cook", "ended_ms"), ("call", "began_ms"), ("call", "ended_ms"), ("message", "due_ms"),
    ("message", "sent_ms"), ("extent", "until_ms"), ("part", "began_ms"), ("note", "time_ms"), ("photo", "time_ms"),
    ("edit", "time_ms"),
)  # fmt: skip
"""Times that are no keys."""
ORDINALS = (("plan", "from_id"), ("part", "from_id"), ("edit", "from_id"), ("edit", "until_id"))
"""Ordinals that name no row of their own table."""


def redate(connection: sqlite3.Connection, since_ms: int, step_ms: int) -> int:
    """Move all from a moment on; return by how many milliseconds, a whole number of minutes no greater.

    What a probe said of its own time is kept as it was said. A cook, and the plan it came to run under, that began
    since then are moved too.

    Args:
        connection: the open store, held against a collector.
        since_ms: milliseconds since the epoch, by the wrong clock.
        step_ms: by how much it was behind; less than nothing: by how much it was ahead. Nothing is moved back beyond
            what was recorded before.
    """
    if step_ms < 0:
        step_ms = -min(-step_ms, since_ms - _last_before(connection, since_ms) - 1)
    step = abs(step_ms) // GRID_MS * GRID_MS * (1 if step_ms > 0 else -1)
    if not step:
        return 0
    low, ordinals = since_ms << SEQUENCE_BITS, step << SEQUENCE_BITS
    run = connection.execute
    with connection:
        run("BEGIN IMMEDIATE")
        if step < 0:
            _empty(connection, since_ms, step)
        # by way of negative keys: a key moved straight onto one that is yet to move would be refused
        run("UPDATE calibration SET time = time + ? WHERE id >= ? AND time IS NOT NULL", (step / 1000, low))
        run("UPDATE reading SET source_ms = source_ms - ? WHERE id >= ? AND source_ms IS NOT NULL", (step, low))
        shift(connection, low, step)
        for table in (*OF_ORDINALS, "elsewhere"):
            run(f"UPDATE {table} SET id = -(id + ?) WHERE id >= ?", (ordinals, low))  # noqa: S608 - our own names
            run(f"UPDATE {table} SET id = -id WHERE id < 0")  # noqa: S608
        for table in OF_TIMES:
            run(f"UPDATE {table} SET time_ms = -(time_ms + ?) WHERE time_ms >= ?", (step, since_ms))  # noqa: S608
            run(f"UPDATE {table} SET time_ms = -time_ms WHERE time_ms < 0")  # noqa: S608
        for table, column in ORDINALS:
            run(f"UPDATE {table} SET {column} = {column} + ? WHERE {column} >= ?", (ordinals, low))  # noqa: S608
        for table, column in TIMES:
            run(f"UPDATE {table} SET {column} = {column} + ? WHERE {column} >= ?", (step, since_ms))  # noqa: S608
        for column in ("from_id", "until_id"):
            run(f"UPDATE going SET {column} = {column} + ? WHERE {column} >= ?", (ordinals, low))  # noqa: S608
        run("UPDATE boot SET from_ms = from_ms + ? WHERE from_ms >= ?", (step, since_ms))
        run("INSERT INTO moved (since_ms, step_ms) VALUES (?, ?)", (since_ms, step))
    return step


def _empty(connection: sqlite3.Connection, since_ms: int, step_ms: int) -> None:
    """Take away what the engine judged in a time that never was.

    The action that says how long nobody listened then says so much less.
    """
    run = connection.execute
    for table in OF_TIMES:
        run(f"DELETE FROM {table} WHERE time_ms >= ? AND time_ms < ?", (since_ms + step_ms, since_ms))  # noqa: S608
    run(
        "UPDATE action SET seconds = max(0, seconds + ?) WHERE id = "
        "(SELECT min(id) FROM action WHERE id >= ? AND kind = ? AND subject = 'clock')",
        (step_ms / 1000, since_ms << SEQUENCE_BITS, ActionKind.RESUME),
    )


def _last_before(connection: sqlite3.Connection, since_ms: int) -> int:
    """Give the newest time before a moment at which anything came from outside, milliseconds."""
    ordinals = (
        connection.execute(f"SELECT max(id) FROM {table} WHERE id < ?", (since_ms << SEQUENCE_BITS,)).fetchone()[0]  # noqa: S608
        for table in OF_ORDINALS
    )
    return max((ordinal >> SEQUENCE_BITS for ordinal in ordinals if ordinal is not None), default=0)
