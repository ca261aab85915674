"""Cooks edited afterwards: nothing is lost but what is deleted, what rang stays, every edit is on record."""

import os
import re
import shlex
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from collector.cooks import open_cook
from collector.errors import EditError, StoreBusyError, StoreError
from collector.late import Late, date_anew
from collector.replay import cut_off, differences
from collector.store import sweep
from collector.store.archive import Archive
from collector.store.database import Database
from collector.store.editor import Editor
from collector.store.keepsake import MOST_PHOTO_BYTES, EditKind
from collector.store.schema import MIGRATIONS
from collector.store.upkeep import check
from tests.collector.stores import HOUR, START, asked, cook_one, copied, strays
from tests.waiting import WAIT_SECONDS
from tui.cli import main
from tui.nights import night_settings

PNG = b"\x89PNG\r\n\x1a\n and so on"
JPEG = b"\xff\xd8\xff\xe0 and so on"


@pytest.fixture(scope="module")
def three(tmp_path_factory):
    path = tmp_path_factory.mktemp("three") / "cooks.db"
    for k, name in enumerate(("first", "second", "third")):
        cook_one(path, name, START + k * 20 * HOUR)
    return path


@pytest.fixture
def store(three, tmp_path):
    return copied(three, tmp_path / "cooks.db")


def told(path, name):
    """Tell all that a cook holds, floats by their words: NaN equals nothing."""
    with Archive(path) as a:
        cook = a.cook(name)
        return repr(
            [list(a.rows(cook)), a.actions(cook), a.vitals(cook), a.alarm_log(cook), a.marks(cook), a.trend(cook)]
        )


def by_name(path, name):
    with Archive(path) as a:
        return a.cook(name)


def test_what_is_added_is_kept_and_every_edit_is_on_record(store):
    with Editor(store, lambda: 1_780_000_000.5) as editor:
        cook = editor.record.cook("second")
        assert editor.tag(cook, "  wet   hickory ") == "wet hickory"
        editor.tag(editor.record.cook("second"), "oak")
        editor.untag(editor.record.cook("second"), "OAK")
        editor.note(cook, "the wind turned\nat two")
        assert editor.photo(cook, "bark.jpg", JPEG, "the bark") == len(JPEG)
        assert editor.rename(cook, "windy") == "windy"
    with Archive(store) as archive:
        cook = archive.cook("windy")
        assert (cook.tags, cook.notes, cook.photos) == (("wet hickory",), ("the wind turned\nat two",), 1)
        assert archive.notes(cook)[0].time_unix == 1_780_000_000.5
        photo = archive.photos(cook)[0]
        assert (photo.kind, photo.name, photo.text, photo.bytes) == ("jpeg", "bark.jpg", "the bark", len(JPEG))
        assert archive.picture(photo) == JPEG
        assert [e.kind for e in archive.edits(cook)] == ["tag", "tag", "untag", "note", "photo", "rename"]
        assert archive.edits(cook)[-1].name == "second", "the name it had"
        assert archive.edits(archive.cook("first")) == []
        assert differences(archive, cook) == []


@pytest.mark.parametrize(
    ("do", "why"),
    [
        (lambda e, c: e.tag(c, "a,b"), "a comma"),
        (lambda e, c: e.tag(c, "x" * 41), "1 to 40 characters"),
        (lambda e, c: e.tag(c, "a\x1bb"), "cannot be printed"),
        (lambda e, c: e.untag(c, "nothing"), "has no tag 'nothing'"),
        (lambda e, c: e.note(c, "  "), "1 to 10000 characters"),
        (lambda e, c: e.photo(c, "x.txt", b"GIF89a"), "no PNG and no JPEG"),
        (lambda e, c: e.photo(c, "x.png", PNG + bytes(MOST_PHOTO_BYTES)), "8.0 MB; at most 8 MB"),
        (lambda e, c: e.rename(c, "first"), "named 'first' already"),
        (lambda e, c: e.rename(c, "last"), "is no name"),
        (lambda e, c: e.end(c), "has ended already"),
        (lambda e, c: e.merge(c, c), "name two"),
        (lambda e, c: e.merge(e.record.cook("first"), e.record.cook("third")), "between them lies second"),
        (lambda e, c: e.split(c, c.started_unix - 60.0), "no readings on one side"),
        (lambda e, c: e.split(c, c.last_unix + 1.0), "no readings on one side"),
        (lambda e, c: e.split(c, c.started_unix + 60.0, "third"), "named 'third' already"),
    ],
)
def test_what_cannot_be_done_is_refused_and_changes_nothing(store, do, why):
    before = asked(store, "SELECT count(*) FROM edit"), told(store, "second")
    with Editor(store) as editor, pytest.raises(EditError, match=re.escape(why)):
        do(editor, editor.record.cook("second"))
    assert (asked(store, "SELECT count(*) FROM edit"), told(store, "second")) == before


def test_an_open_cook_is_added_to_and_not_reshaped(store):
    cook_one(store, "tonight", START + 80 * HOUR, ended=False)
    with Editor(store) as editor:
        cook = editor.record.cook("tonight")
        editor.tag(cook, "oak")
        editor.note(cook, "begun late")
        editor.photo(cook, "x.png", PNG)
        third = editor.record.cook("third")
        for do in (lambda: editor.rename(cook, "x"), lambda: editor.delete(cook), lambda: editor.merge(third, cook),
                   lambda: editor.split(cook, cook.started_unix + 60)):  # fmt: skip
            with pytest.raises(EditError, match=r"goes on and cannot be .* `coldside cook end`"):
                do()
    database = Database(store)
    with Editor(store) as editor, pytest.raises(StoreBusyError):
        editor.end(editor.record.cook("tonight"))
    database.close()
    with Editor(store) as editor:
        editor.end(editor.record.cook("tonight"))
        assert editor.rename(editor.record.cook("tonight"), "x") == "x"
    database = Database(store)
    opened = open_cook(database, night_settings().plan, START + 80 * HOUR + 1500, coldside="test")
    assert not opened.resumed, "it was ended"
    database.close()


def test_two_cooks_made_one_hold_all_of_both_and_replay_as_they_rang(store):
    with Archive(store) as a:
        both = [a.cook(name) for name in ("first", "second")]
        rows = [row for cook in both for row in a.rows(cook)]
        steps = [step for cook in both for step in a.alarm_log(cook)]
        marks = [mark for cook in both for mark in a.marks(cook)]
        trend = [point for cook in both for point in a.trend(cook)]
    assert steps
    with Editor(store) as editor:
        editor.tag(editor.record.cook("second"), "oak")
        editor.note(editor.record.cook("second"), "good")
        merged = editor.merge(editor.record.cook("second"), editor.record.cook("first"))
    assert (merged.name, merged.tags, merged.notes) == ("first", ("oak",), ("good",))
    with Archive(store) as a:
        cook = a.cook("first")
        assert list(a.rows(cook)) == rows
        assert repr(a.alarm_log(cook)) == repr(steps)
        assert repr(a.marks(cook)) == repr(marks)
        assert repr(a.trend(cook)) == repr(trend)
        assert len(a.parts(cook)) == 2
        assert differences(a, cook) == []
        assert cut_off(a, cook) == []
        assert [e.kind for e in a.edits(cook)] == ["tag", "note", "merge"]
        assert [c.name for c in a.cooks()] == ["first", "third"]
    assert (check(store).complaints, strays(store)) == ((), 0)


def test_every_way_to_a_cook_gives_the_same_of_it(store):
    """Whether all are listed, some, or one is asked for; and its bounds are those by which its rows are read."""
    with Editor(store) as editor:
        editor.split(editor.record.cook("second"), START + 20 * HOUR + 600.0, "later")
        editor.merge(editor.record.cook("later"), editor.record.cook("third"))
    with sqlite3.connect(store) as db:  # two that began at one moment, and one that ends before all time
        db.execute("INSERT INTO cook SELECT max(id) + 1, 'twin', max(started_ms), max(ended_ms), '' FROM cook")
        db.execute("UPDATE extent SET until_ms = 0 WHERE cook = (SELECT id FROM cook WHERE name = 'first')")
    with Archive(store) as a:
        every = a.cooks()
        assert [c.name for c in every] == a.names()
        assert every == [a.cook(name) for name in a.names()]
        assert a.cooks(newest=2) == every[-2:]
        assert a.cook("last") == every[-1]
        assert a.cooks(before_unix=every[1].started_unix) == every[:1]
        assert [c.readings for c in every] == [a.readings_between(*a.bounds(c)) for c in every]
        assert a.ended_bounds(4e9) == [(c.number, a.bounds(c)) for c in every if c.ended_unix is not None]


def test_cooks_far_apart_that_were_merged_are_parted_again_by_the_words_that_are_said(store, capsys):
    before = [told(store, name) for name in ("first", "second")]
    ended = [by_name(store, name).ended_unix for name in ("first", "second")]
    assert main(["cook", "merge", "first", "second", "--store", str(store)]) == 0
    said = capsys.readouterr().out
    assert "20 hours lie between them" in said
    words = shlex.split(said[said.index("`coldside") + 1 : said.rindex("`")])
    assert main([*words[1:], "--store", str(store)]) == 0
    assert "Nothing was recorded just before that, so first ends " in capsys.readouterr().out
    assert [told(store, name) for name in ("first", "second")] == before
    assert [by_name(store, name).ended_unix for name in ("first", "second")] == pytest.approx(ended, abs=10.0)
    assert main(["cook", "merge", "second", "first", "--store", str(store)]) == 0
    assert "20 hours lie between them" in capsys.readouterr().out, "and so again"
    assert main([*words[1:], "--store", str(store)]) == 0
    with Archive(store) as a:
        assert len(a.parts(a.cook("second"))) == 1
        assert len(a.plans(a.cook("second"))) == 1


@pytest.mark.parametrize("seconds", [600.0, 777.7])
def test_a_cook_split_is_judged_as_it_was_and_put_together_is_what_it_was(store, seconds):
    before = told(store, "second")
    with Editor(store) as editor:
        cook = editor.record.cook("second")
        later = editor.split(cook, cook.started_unix + seconds)
        assert later.name == "second-2"
    with Archive(store) as a:
        halves = [a.cook("second"), a.cook("second-2")]
        assert halves[0].ended_unix == halves[1].started_unix == pytest.approx(cook.started_unix + seconds)
        assert sum(half.readings for half in halves) == cook.readings
        for half in halves:
            assert differences(a, half) == []
            assert cut_off(a, half) == []
            assert a.plans(half)[0][0] == 0
        assert [e.kind for e in a.edits(halves[1])] == ["split"]
    assert (check(store).complaints, strays(store)) == ((), 0)
    with Editor(store) as editor:
        editor.merge(editor.record.cook("second"), editor.record.cook("second-2"))
    assert told(store, "second") == before
    with Archive(store) as a:
        assert len(a.parts(a.cook("second"))) == 1
        assert asked(store, "SELECT count(*) FROM part") == [(0,)]
        assert by_name(store, "second").ended_unix == cook.ended_unix


def test_a_replay_says_what_it_cannot_tell_again_and_calls_it_no_fault(store):
    with Editor(store) as editor:
        cook = editor.record.cook("second")
        editor.split(cook, cook.started_unix + 600.0)
        editor.delete(editor.record.cook("second"))
    with Archive(store) as a:
        rest = a.cook("second-2")
        assert a.alarm_log(rest), "what rang stays on record"
        assert len(cut_off(a, rest)) == 1
        assert differences(a, rest) == []


def test_a_replay_of_an_edited_cook_still_finds_a_fault(store):
    with Editor(store) as editor:
        editor.merge(editor.record.cook("first"), editor.record.cook("second"))
    with closing(sqlite3.connect(store)) as connection, connection:
        connection.execute(
            "UPDATE alarm_log SET value = 0.5 WHERE time_ms = (SELECT max(time_ms) FROM alarm_log WHERE "
            "event = 'condition true' AND time_ms < ?)", (round((START + 20 * HOUR) * 1000),),
        )  # fmt: skip
    with Archive(store) as a:
        assert differences(a, a.cook("first"))


@pytest.mark.parametrize("name", ["first", "second", "third"])
def test_a_deleted_cook_is_gone_and_its_time_falls_to_nobody(store, name):
    others = [n for n in ("first", "second", "third") if n != name]
    before = {other: told(store, other) for other in others}
    gone = by_name(store, name)
    with Editor(store) as editor:
        editor.note(gone, "x")
        assert editor.delete(editor.record.cook(name)) == gone.readings
        with pytest.raises(StoreError, match="no cook named"):
            editor.record.cook(name)
        assert [e.kind for e in editor.record.edits()] == [EditKind.NOTE, EditKind.DELETE]
    assert {other: told(store, other) for other in others} == before
    low, high = (round(t * 1000) << 12 for t in (gone.started_unix, gone.started_unix + 19 * HOUR))
    for table in ("reading", "action", "vitals"):
        assert asked(store, f"SELECT count(*) FROM {table} WHERE id >= ? AND id < ?", low, high) == [(0,)]
    for table in ("alarm_log", "mark", "trend", "plan", "note", "extent"):
        assert asked(store, f"SELECT count(*) FROM {table} WHERE cook = ?", gone.number) == [(0,)]
    assert (check(store).complaints, strays(store)) == ((), 0)
    cook_one(store, "next", START + 100 * HOUR, seconds=60)
    assert by_name(store, "next").number == 4, "no number is given twice"
    assert {other: told(store, other) for other in others} == before


def test_a_time_that_nobody_has_is_not_given_to_the_cook_before(store):
    with Editor(store) as editor:
        editor.delete(editor.record.cook("second"))
        merged = editor.merge(editor.record.cook("first"), editor.record.cook("third"))
    with Archive(store) as a:
        assert differences(a, merged) == []


KILLED = """
import os, signal, sys
from pathlib import Path
from collector.store import sweep
from collector.store.editor import Editor
sweep.ROWS_AT_A_TIME = 20
with Editor(Path(sys.argv[1])) as editor:
    cook = editor.record.cook("second")
    left = int(sys.argv[2])
    def count(statement):
        global left
        left -= 1
        if left < 0:
            os.kill(os.getpid(), signal.SIGKILL)
    editor._connection.set_trace_callback(count)
    editor.delete(cook)
"""


@pytest.mark.parametrize(("statements", "struck"), [(20, False), (52, True)])
def test_killed_in_the_middle_of_a_deletion_the_rest_goes_later(store, statements, struck):
    others = {name: told(store, name) for name in ("first", "third")}
    done = subprocess.run(
        [sys.executable, "-c", KILLED, store, str(statements)], timeout=WAIT_SECONDS, capture_output=True
    )
    assert done.returncode == -signal.SIGKILL, done.stderr.decode()
    with Archive(store) as a:
        names = [cook.name for cook in a.cooks()]
    assert names == (["first", "third"] if struck else ["first", "second", "third"])
    assert bool(asked(store, "SELECT * FROM going")) is struck
    assert {name: told(store, name) for name in others} == others
    with Editor(store) as editor:
        if len(names) == 3:
            editor.delete(editor.record.cook("second"))
    Database(store).close()  # the next collector goes on with it
    assert asked(store, "SELECT count(*) FROM going") == [(0,)]
    assert strays(store) == 0
    assert {name: told(store, name) for name in others} == others


def test_what_is_taken_away_in_steps_is_all_taken_away(store, monkeypatch):
    monkeypatch.setattr(sweep, "ROWS_AT_A_TIME", 7)
    with Editor(store) as editor:
        cook = editor.record.cook("third")
        assert editor.delete(cook) == cook.readings
    assert strays(store) == 0


def test_a_store_of_version_6_becomes_one_of_this(store):
    before = {name: told(store, name) for name in ("first", "second", "third")}
    with closing(sqlite3.connect(store)) as older:
        later = re.findall(r"CREATE TABLE (\w+)", "".join(MIGRATIONS[6:]))
        older.executescript(";".join(f"DROP TABLE {table}" for table in later) + "; PRAGMA user_version = 6")
    with Archive(store) as a:
        cook = a.cook("second")
        assert (cook.tags, a.notes(cook), a.photos(cook), a.edits(cook), a.origin(cook)) == ((), [], [], [], "")
        assert differences(a, cook) == []
    assert {name: told(store, name) for name in before} == before
    held = Database(store)  # brings it to this version; another collector may not
    held.close()
    assert asked(store, "SELECT cook, until_ms FROM extent") == [
        (1, round((START + 20 * HOUR) * 1000)), (2, round((START + 40 * HOUR) * 1000)),
    ]  # fmt: skip
    with Editor(store) as editor:
        editor.delete(editor.record.cook("second"))
    assert told(store, "first") == before["first"]


def test_an_older_store_in_use_is_left_alone(store):
    with closing(sqlite3.connect(store)) as older:
        later = re.findall(r"CREATE TABLE (\w+)", "".join(MIGRATIONS[6:]))
        older.executescript(";".join(f"DROP TABLE {table}" for table in later) + "; PRAGMA user_version = 6")
    lock = os.open(f"{store}.lock", os.O_RDWR | os.O_CREAT)
    import fcntl

    fcntl.flock(lock, fcntl.LOCK_EX)
    with pytest.raises(StoreBusyError, match="earlier coldside"):
        Editor(store)
    os.close(lock)


def test_what_a_wrong_clock_wrote_moves_with_its_edits(store):
    with Editor(store) as editor:
        editor.delete(editor.record.cook("third"))
    cook_one(store, "third", START + 40 * HOUR, own_times=False)
    with Editor(store, lambda: START + 41 * HOUR) as editor:
        third = editor.record.cook("third")
        editor.note(third, "x")
        editor.split(third, third.started_unix + 777.7)
    date_anew(store, Late(round((START + 40 * HOUR) * 1000), 90 * 60_000, "the clock was set"))
    with Archive(store) as a:
        for name in ("third", "third-2"):
            assert differences(a, a.cook(name)) == []
            assert cut_off(a, a.cook(name)) == []
        assert a.cook("third-2").started_unix == pytest.approx(START + 41.5 * HOUR + 777.7)
        assert a.notes(a.cook("third"))[0].time_unix == pytest.approx(START + 42.5 * HOUR)
    assert strays(store) == 0
