"""Two neighbouring cooks made one, one made two. Readings stay where they are: only whose they are changes.

Which engine judged which stretch is kept (table `part`), so that a replay of an edited cook does what was done then.
Works on an open connection, inside a transaction.
"""

import sqlite3

from collector.store.extent import next_number, set_extent
from collector.store.keepsake import Part
from collector.store.readings import cut_at
from collector.store.record import Cook, Record
from collector.store.schema import SEQUENCE_BITS, VERSION

__all__ = ["merge", "split"]

HOLE_MS = 600_000
"""A collector that runs writes a row of the trend every ten seconds: after so long without any, none ran."""
OF_TIMES = ("alarm_log", "mark", "trend")
FOLLOW = (*OF_TIMES, "call", "message", "note", "photo")
"""Tables whose rows go with their cook into another."""


def merge(connection: sqlite3.Connection, first: Cook, second: Cook) -> None:
    """Put all of a cook into the one before it.

    Args:
        connection: the open store.
        first: the cook that stays; ended.
        second: the next one; ended.
    """
    run = connection.execute
    record = Record(connection, VERSION)
    low = record.bounds(second)[0]
    parts = _joined(record, record.parts(first), record.parts(second))
    until = run("SELECT until_ms, origin FROM extent WHERE cook = ?", (second.number,)).fetchone() or (None, "")
    run("UPDATE plan SET cook = ?, from_id = max(from_id, ?) WHERE cook = ?", (first.number, low, second.number))
    for table in FOLLOW:
        run(f"UPDATE {table} SET cook = ? WHERE cook = ?", (first.number, second.number))  # noqa: S608 - our own names
    run("INSERT OR IGNORE INTO tag SELECT ?, tag FROM tag WHERE cook = ?", (first.number, second.number))
    for table in ("tag", "part", "settled", "extent"):
        run(f"DELETE FROM {table} WHERE cook = ?", (second.number,))  # noqa: S608
    ended = run("SELECT ended_ms FROM cook WHERE id = ?", (second.number,)).fetchone()[0]
    run("DELETE FROM cook WHERE id = ?", (second.number,))
    run("UPDATE cook SET ended_ms = ? WHERE id = ?", (ended, first.number))
    set_extent(connection, first.number, until[0])
    run("UPDATE extent SET origin = ? WHERE cook = ? AND origin = ''", (until[1], first.number))
    _write_parts(connection, first.number, parts)


def split(connection: sqlite3.Connection, cook: Cook, at_ms: int, name: str) -> int:
    """Make a cook of its own of what a cook holds from a time on; return its number.

    Tags are kept by both, notes and photos by the first.

    Args:
        connection: the open store.
        cook: what is split; ended.
        at_ms: where, milliseconds since the epoch, within it.
        name: of the new cook.
    """
    run = connection.execute
    record = Record(connection, VERSION)
    at = at_ms << SEQUENCE_BITS
    parts = record.parts(cook)
    cut_at(connection, at)
    until = run("SELECT until_ms, origin FROM extent WHERE cook = ?", (cook.number,)).fetchone() or (None, "")
    fresh = next_number(connection)
    run(
        "INSERT INTO cook SELECT ?, ?, ?, ended_ms, coldside FROM cook WHERE id = ?",
        (fresh, name, at_ms, cook.number),
    )
    run("UPDATE cook SET ended_ms = ? WHERE id = ?", (_end_before(record, cook, at_ms), cook.number))
    run("INSERT INTO extent VALUES (?, ?, ?)", (fresh, *until))
    set_extent(connection, cook.number, at_ms)
    run(
        "INSERT INTO plan SELECT ?, 0, plan FROM plan WHERE cook = ? AND from_id <= ? ORDER BY from_id DESC LIMIT 1",
        (fresh, cook.number, at),
    )
    run("DELETE FROM plan WHERE cook = ? AND from_id = ?", (cook.number, at))
    run("UPDATE plan SET cook = ? WHERE cook = ? AND from_id > ?", (fresh, cook.number, at))
    for table in OF_TIMES:
        run(f"UPDATE {table} SET cook = ? WHERE cook = ? AND time_ms >= ?", (fresh, cook.number, at_ms))  # noqa: S608 - our own names
    run("UPDATE call SET cook = ? WHERE cook = ? AND began_ms >= ?", (fresh, cook.number, at_ms))
    run(
        "UPDATE message SET cook = ?1 WHERE cook = ?2 AND (call IN (SELECT number FROM call WHERE cook = ?1) "
        "OR call = 0 AND due_ms >= ?3)",
        (fresh, cook.number, at_ms),
    )
    run("INSERT INTO tag SELECT ?, tag FROM tag WHERE cook = ?", (fresh, cook.number))
    _write_parts(connection, cook.number, [p for p in parts if p.from_id < at])
    holding = next(p for p in reversed(parts) if p.from_id <= at)
    before = holding.readings + record.readings_between(holding.from_id, at)
    later = [p for p in parts if p.from_id > at]
    _write_parts(connection, fresh, [Part(at, holding.until_id, holding.began_unix, before), *later])
    return fresh


def _end_before(record: Record, cook: Cook, at_ms: int) -> int:
    """Say when a cook ended that is cut at a time: there, or where what was heard of it broke off long before."""
    alive_ms = round(1000 * record.alive_unix(cook, at_ms))
    return at_ms if at_ms - alive_ms < HOLE_MS else alive_ms


def _joined(record: Record, earlier: list[Part], later: list[Part]) -> list[Part]:
    """Put stretches of two cooks together; one engine's that were split apart are one again."""
    last, following = earlier[-1], later[0]
    taken = last.readings + record.readings_between(last.from_id, following.from_id)
    if following.began_unix == last.began_unix and following.readings == taken:
        return [*earlier, *later[1:]]
    return earlier + later


def _write_parts(connection: sqlite3.Connection, cook: int, parts: list[Part]) -> None:
    """Write the stretches of a cook down, unless they say no more than that one engine judged it from its start."""
    connection.execute("DELETE FROM part WHERE cook = ?", (cook,))
    began = [(p.from_id, round(p.began_unix * 1000), p.readings) for p in parts]
    if len(began) == 1 and began[0][0] == began[0][1] << SEQUENCE_BITS:
        return
    connection.executemany("INSERT INTO part VALUES (?, ?, ?, ?)", [(cook, *row) for row in began])
