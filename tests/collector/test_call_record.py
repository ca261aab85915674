"""Calls and messages on record: the newest state of each, found at the next start, dated anew, gone with their cook."""

import contextlib
import sqlite3

from msgspec.structs import replace

from collector.calls.escalation import Call
from collector.calls.record import CallRow, MessageRow
from collector.snapshot import Mark, Priority
from collector.store.archive import Archive
from collector.store.database import Batch, Database

START = 1_750_000_000.0
CALL = Call(1, "cold", Priority.URGENT, START + 60.0, 2, (("Ann", "push"), ("Ben", "mail")), ("Cyd",))
SENT = MessageRow("a", 1, 0, "Ann", "push", "raised", START + 60.0, "{}", "sent", 1, "", START + 61.0)
WAITS = MessageRow("b", 1, 1, "Ben", "mail", "again", START + 180.0, '{"x":1}', "failed", 3, "answers 500")


def written(path, *batches):
    database = Database(path)
    cook = database.begin_cook("tonight", int(START * 1000), "{}", "test")
    for batch in batches:
        database.commit(cook, batch, full=True)
    database.close()
    return cook


def batch(*rows, marks=()):
    made = Batch(marks=list(marks))
    for row in rows:
        if isinstance(row, CallRow):
            made.calls[row.call.number] = row
        else:
            made.messages[row.id] = row
    assert made
    return made


def test_what_goes_on_is_found_again_as_it_stood_last(tmp_path):
    path = tmp_path / "s.db"
    other = Call(2, "lid", Priority.SOON, START + 90.0)
    ended = CallRow(other, START + 99.0, "over")
    first = batch(CallRow(replace(CALL, rung=1)), CallRow(other), replace(SENT, state="waiting", sent_unix=None), WAITS)
    gone = replace(SENT, id="c", call=2)
    cook = written(path, first, batch(CallRow(CALL), ended, SENT, gone, marks=[Mark(START + 5.0, "wake-up", "proof")]))
    with Archive(path) as archive:
        found = archive.calls(cook)
        assert (found.open, found.left, found.last_number) == ((CALL,), (), 2)
        assert found.messages == (SENT, WAITS), "not those that went out in a call that has ended"
        assert found.proven_unix == START + 5.0
        assert archive.calls(cook + 1).left == (CALL,), "to another cook it is left over"


def test_a_clock_that_was_behind_has_them_dated_anew_and_a_cook_let_go_takes_them_along(tmp_path):
    path = tmp_path / "s.db"
    over = CallRow(replace(CALL, number=2, began_unix=START - 9.0), START + 100.0, "over")
    cook = written(path, batch(CallRow(CALL), over, SENT, WAITS))
    database = Database(path)
    assert database.redate(int(START * 1000), 120_000) == 120_000
    database.end_cook(cook, int(START * 1000) + 300_000)
    database.close()
    with Archive(path) as archive:
        found = archive.calls(cook)
        assert found.open[0].began_unix == CALL.began_unix + 120.0
        assert [m.due_unix for m in found.messages] == [SENT.due_unix + 120.0, WAITS.due_unix + 120.0]
        assert found.messages[0].sent_unix == START + 181.0
        cooks = archive.cooks()
    with contextlib.closing(sqlite3.connect(path)) as db:
        times = db.execute("SELECT began_ms, ended_ms FROM call ORDER BY number").fetchall()
    assert times[1] == (round((START - 9.0) * 1000), round((START + 220.0) * 1000)), "before it, it stays"
    database = Database(path)
    database.forget(cooks)
    database.close()
    with contextlib.closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT count(*) FROM call").fetchone() == (0,)
        assert db.execute("SELECT count(*) FROM message").fetchone() == (0,)
