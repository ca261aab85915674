"""Calls and messages as rows of the store, and back."""

import sqlite3
from collections.abc import Iterable

import msgspec

from collector.calls.escalation import Call
from collector.calls.record import CallRow, CallsOnRecord, MessageRow
from collector.snapshot import Priority
from collector.store.queryable import Queryable

__all__ = ["PROVEN", "calls_on_record", "write_calls", "write_messages"]

PROVEN = "wake-up"
"""Kind of the mark that a test was acknowledged."""
_OF_MESSAGE = "id, call, rung, person, channel, word, due_ms, body, state, tries, error, sent_ms"


def write_calls(connection: sqlite3.Connection, cook: int, rows: Iterable[CallRow]) -> None:
    """Write calls in place of what was known of them."""
    connection.executemany(
        "INSERT OR REPLACE INTO call VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (c.number, cook if row.why != "another cook" else _cook_of(connection, c.number, cook), c.trouble,
             c.priority, round(c.began_unix * 1000), c.rung, msgspec.json.encode(c.told).decode(),
             msgspec.json.encode(c.held).decode(), _ms(row.ended_unix), row.why)
            for row in rows for c in [row.call]
        ],
    )  # fmt: skip


def _cook_of(connection: sqlite3.Connection, number: int, cook: int) -> int:
    found = connection.execute("SELECT cook FROM call WHERE number = ?", (number,)).fetchone()
    return int(found[0]) if found else cook


def write_messages(connection: sqlite3.Connection, cook: int, rows: Iterable[MessageRow]) -> None:
    """Write messages in place of what was known of them."""
    connection.executemany(
        f"INSERT INTO message ({_OF_MESSAGE}, cook) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) "  # noqa: S608 - our own names
        "ON CONFLICT (id) DO UPDATE SET body = excluded.body, state = excluded.state, tries = excluded.tries, "
        "error = excluded.error, "
        "sent_ms = excluded.sent_ms",
        [
            (m.id, m.call, m.rung, m.person, m.channel, m.word, round(m.due_unix * 1000), m.body, m.state, m.tries,
             m.error, _ms(m.sent_unix), cook)
            for m in rows
        ],
    )  # fmt: skip


def calls_on_record(connection: Queryable, cook: int) -> CallsOnRecord:
    """Read what a collector that starts on this cook has to know."""
    run = connection.execute
    found = [
        (of_cook, Call(number, trouble, Priority(priority), began_ms / 1000, rung,
                       tuple(tuple(pair) for pair in msgspec.json.decode(told)), tuple(msgspec.json.decode(held))))
        for of_cook, number, trouble, priority, began_ms, rung, told, held in run(
            "SELECT cook, number, trouble, priority, began_ms, rung, told, held FROM call WHERE ended_ms IS NULL "
            "ORDER BY number"
        )
    ]  # fmt: skip
    messages = tuple(
        MessageRow(id_, call, rung, person, channel, word, due_ms / 1000, body, state, tries, error, _unix(sent_ms))
        for id_, call, rung, person, channel, word, due_ms, body, state, tries, error, sent_ms in run(
            f"SELECT {_OF_MESSAGE} FROM message WHERE state IN ('waiting', 'failed') OR call IN "  # noqa: S608
            "(SELECT number FROM call WHERE ended_ms IS NULL) ORDER BY due_ms, id"
        )
    )
    last = run("SELECT max(number) FROM call").fetchone()[0] or 0
    proven_ms = run("SELECT max(time_ms) FROM mark WHERE kind = ?", (PROVEN,)).fetchone()[0]
    return CallsOnRecord(
        tuple(call for of_cook, call in found if of_cook == cook),
        tuple(call for of_cook, call in found if of_cook != cook),
        messages, last, _unix(proven_ms),
    )  # fmt: skip


def _ms(unix: float | None) -> int | None:
    return None if unix is None else round(unix * 1000)


def _unix(ms: int | None) -> float | None:
    return None if ms is None else ms / 1000
