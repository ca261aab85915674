"""A pit's store brought to a real PostgreSQL: all of it, in order, once, whatever becomes of the server between."""

import asyncio
import contextlib
import dataclasses
import random
import shutil
import sqlite3

import pytest

from adapters.reading import Reading
from collector import pipeline
from collector.calls.escalation import Call
from collector.calls.record import CallRow, MessageRow
from collector.cooks import open_cook
from collector.errors import KitchenError, StoreVersionError
from collector.formats.cook_file import write_cook_file
from collector.importing.cook_file import CookFile
from collector.kitchen import tail
from collector.kitchen.address import KitchenAddress
from collector.kitchen.archive import KitchenArchive, pits
from collector.kitchen.forwarder import Forwarder
from collector.kitchen.session import connect, prepare
from collector.kitchen.tables import tables
from collector.late import Late, date_anew
from collector.model.action import Action, ActionKind
from collector.model.vitals import DeviceVitals
from collector.pipeline import Pipeline
from collector.replay import differences
from collector.snapshot import Priority
from collector.store.archive import Archive
from collector.store.database import Database
from collector.store.editor import Editor
from collector.store.schema import VERSION
from tests.collector.kitchen.postgres import PASSWORD, CuttingProxy
from tests.waiting import WAIT_SECONDS, until
from tui.nights import night_settings

START = 1_780_000_000.0
HOUR = 3600.0


class Pit:
    """A store that grows as a collector would let it grow."""

    def __init__(self, path, name="a", start=START):
        self.path = path
        self.plan = night_settings().plan
        self.database = Database(path)
        opened = open_cook(self.database, self.plan, start, name=name, coldside="test")
        self.cook = opened.number
        self.pipeline = Pipeline(opened.engine, self.database.series, opened.last_ordinal)
        self.now = start

    def cook_on(self, seconds, *, every=5):
        pipeline = self.pipeline
        for k in range(0, seconds, every):
            for i, probe in enumerate(self.plan.probes):
                at = self.now + k + i * 0.01
                pipeline.take(Reading(probe.source, probe.key, 110.0 + i + 0.1 * (k % 10), at, at - 1.5))
        self.now += seconds
        pipeline.advance(self.now)
        pipeline.note(DeviceVitals("s", -70, None, 12.5), self.now)
        pipeline.act(Action(ActionKind.MARK, "split", text="oak"), self.now)
        pipeline.keep(
            CallRow(Call(self.cook, "cold", Priority.URGENT, self.now - 60.0, 1, (("me", "bell"),)), None, "")
        )
        pipeline.keep(
            MessageRow(f"m{self.cook}", self.cook, 0, "me", "bell", "raised", self.now, "{}", "sent", 1, "", self.now)
        )
        self.commit()

    @property
    def call(self):
        return Call(self.cook, "cold", Priority.URGENT, self.now - 60.0, 1, (("me", "bell"),))

    def commit(self):
        self.database.commit(self.cook, self.pipeline.cut(), full=False)

    def end(self):
        self.pipeline.keep(CallRow(self.call, self.now, "acknowledged"))
        self.commit()
        self.database.end_cook(self.cook, round(self.now * 1000))
        self.database.close()


@pytest.fixture
def pit(tmp_path):
    made = Pit(tmp_path / "cooks.db")
    yield made
    with contextlib.suppress(sqlite3.Error):
        made.database.close()


def everything(record):
    """Tell all that can be read of a record, floats by their words: NaN equals nothing."""
    told = [record.series(), record.last_ordinal(), record.calibrations()]
    for cook in record.cooks():
        told += [
            record.notes(cook), record.photos(cook), [record.picture(p) for p in record.photos(cook)],
            record.edits(cook), record.parts(cook), record.origin(cook), record.bounds(cook),
            cook, record.plans(cook), list(record.rows(cook)), record.vitals(cook), record.alarm_log(cook),
            record.marks(cook), record.trend(cook), record.calls(cook.number), record.alive_unix(cook),
            [(n, type(h).__name__) for n, h in record.happenings(cook)],
        ]  # fmt: skip
    return repr(told)


@contextlib.asynccontextmanager
async def forwarding(path, address, pit="yard", **more):
    forwarder = Forwarder(path, pit, address, random=random.Random(1), **more)
    task = asyncio.create_task(forwarder.run())
    try:
        yield forwarder
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def level(forwarder, ordinal):
    """Wait until the server has all up to an ordinal, and what changes beside."""
    rounds = None
    async with asyncio.timeout(WAIT_SECONDS):
        while rounds is None or forwarder.rounds < rounds:
            if rounds is None and not forwarder.view().fault and max(forwarder._after.values()) >= ordinal:
                rounds = forwarder.rounds + 2
            forwarder.notice(ordinal, cooks=False)
            await asyncio.sleep(0.02)


def last(path):
    with Archive(path) as archive:
        return archive.last_ordinal()


async def compare(path, url):
    """Hold the server's record against the store's own, in a thread: a reader blocks."""

    def both():
        with KitchenArchive(url) as there, Archive(path) as here:
            assert everything(there) == everything(here)
            for cook in there.cooks():
                assert differences(there, cook) == differences(here, cook)

    await asyncio.to_thread(both)


async def test_what_a_pit_records_is_at_the_server_to_the_digit_and_replays(kitchen, pit):
    pit.cook_on(900)
    async with forwarding(pit.path, kitchen.address) as forwarder:
        await level(forwarder, last(pit.path))
        pit.cook_on(1800)  # and it goes on while the collector does
        forwarder.notice(last(pit.path), cooks=True)
        await level(forwarder, last(pit.path))
        shown = forwarder.view()
    assert shown.fault == ""
    assert shown.level_unix == pytest.approx(pit.now, abs=0.01)
    await compare(pit.path, kitchen.url)
    with Archive(pit.path) as here:
        assert differences(here, here.cook("last")) == [], "so the server's copy replays"


async def test_a_store_that_is_sealed_already_is_brought_whole_and_goes_on(kitchen, pit):
    pit.cook_on(1800)
    pit.database.end_cook(pit.cook, round(pit.now * 1000))
    while pit.database.seal(pit.now + 10.0) is not None:
        pass
    with contextlib.closing(sqlite3.connect(pit.path)) as db:
        assert db.execute("SELECT count(*) FROM reading").fetchone() == (0,)
    async with forwarding(pit.path, kitchen.address) as forwarder:
        await level(forwarder, last(pit.path))
    await compare(pit.path, kitchen.url)
    async with forwarding(pit.path, kitchen.address) as forwarder:  # it is not taken for one put back from a copy
        await level(forwarder, last(pit.path))
        assert forwarder.view().fault == ""


async def test_tables_of_the_server_have_the_columns_of_the_store(kitchen, pit):
    connection = await connect(kitchen.address)
    await prepare(connection)
    await prepare(connection)
    await connection.close()
    with contextlib.closing(sqlite3.connect(pit.path)) as db:
        for name in tables():
            own = [row[1] for row in db.execute(f"PRAGMA table_info({name})")]
            for schema, more in (("coldside", ["pit"]), ("coldside_pit", [])):
                found = await kitchen.ask(
                    "SELECT column_name FROM information_schema.columns WHERE table_schema = $1 AND table_name = $2 "
                    "ORDER BY ordinal_position",
                    schema, name,
                )  # fmt: skip
                assert [row[0] for row in found] == more + own


async def test_the_server_is_killed_again_and_again_and_nothing_is_lost_or_doubled(cluster, kitchen, pit, monkeypatch):
    monkeypatch.setattr(tail, "MOST_READINGS", 200)
    monkeypatch.setattr(tail.Tail.chunk, "__defaults__", (200,))
    pit.cook_on(3600)
    chance = random.Random(5)
    async with forwarding(pit.path, kitchen.address) as forwarder:
        for _ in range(4):
            pit.cook_on(600)
            forwarder.notice(last(pit.path), cooks=True)
            await asyncio.sleep(chance.uniform(0.0, 0.25))
            await asyncio.to_thread(cluster.kill)
            pit.cook_on(300)
            forwarder.notice(last(pit.path), cooks=True)
            await asyncio.to_thread(cluster.start)
        await level(forwarder, last(pit.path))
    await compare(pit.path, kitchen.url)


async def test_connections_are_cut_in_the_middle_of_whatever_and_nothing_is_lost_or_doubled(kitchen, pit, monkeypatch):
    monkeypatch.setattr(tail.Tail.chunk, "__defaults__", (300,))
    pit.cook_on(3600)
    chance = random.Random(7)
    async with CuttingProxy(kitchen.cluster.port) as proxy:
        address = KitchenAddress(kitchen.cluster.url(kitchen.name, proxy.port), PASSWORD)
        for _ in range(12):
            proxy.cut_after = chance.randint(500, 60_000)
            before = proxy.cuts
            async with forwarding(pit.path, address) as forwarder:
                done = asyncio.create_task(level(forwarder, last(pit.path)))
                await until(lambda before=before, done=done: proxy.cuts > before or done.done())
                done.cancel()
        assert proxy.cuts >= 8
        proxy.cut_after = None
        async with forwarding(pit.path, address) as forwarder:
            await level(forwarder, last(pit.path))
    await compare(pit.path, kitchen.url)


async def test_what_was_dated_anew_here_is_dated_anew_there(kitchen, tmp_path):
    path = tmp_path / "cooks.db"
    first = Pit(path, "evening before")
    first.cook_on(900)
    first.end()
    second = Pit(path, "tonight", START + 3 * HOUR)
    second.cook_on(900)
    async with forwarding(path, kitchen.address) as forwarder:
        await level(forwarder, last(path))
    second.cook_on(600)  # not brought before the clock is found to be wrong
    second.end()
    for minutes in (7, 600):
        date_anew(path, Late(round((START + 3 * HOUR) * 1000), minutes * 60_000 + 31_000, "the clock was set"))
    async with forwarding(path, kitchen.address) as forwarder:
        await level(forwarder, last(path))
    await compare(path, kitchen.url)


async def test_a_store_begun_long_before_the_server_is_brought_whole(kitchen, tmp_path):
    """What was dated anew before the server knew of it is not dated anew a second time."""
    path = tmp_path / "cooks.db"
    only = Pit(path)
    only.cook_on(300)
    only.end()
    date_anew(path, Late(round(START * 1000), 60_000, "the clock was set"))
    async with forwarding(path, kitchen.address) as forwarder:
        await level(forwarder, last(path))
    await compare(path, kitchen.url)


async def test_pits_are_told_apart_by_name_and_number(kitchen, tmp_path):
    for name, pit in (("yard", "yard pit"), ("trailer", "trailer"), ("again", "yard pit")):
        made = Pit(tmp_path / f"{name}.db", name)
        made.cook_on(60)
        made.database.close()
        async with forwarding(made.path, kitchen.address, pit) as forwarder:
            await level(forwarder, last(made.path))
    found = await asyncio.to_thread(pits, kitchen.url)
    assert [(p.number, p.name, p.cooks) for p in found] == [(1, "yard pit", 1), (2, "trailer", 1), (3, "yard pit", 1)]

    def names(pit):
        with KitchenArchive(f"{kitchen.url}{pit}") as there:
            return [cook.name for cook in there.cooks()]

    assert await asyncio.to_thread(names, "#trailer") == ["trailer"]
    assert await asyncio.to_thread(names, "#yard%20pit") == ["again"], "of two stores of a pit the newest"
    assert await asyncio.to_thread(names, "#1") == ["yard"]
    for pit, why in (("", "several pits"), ("#roof", "no pit 'roof'; there is 'yard pit' \\(1\\), 'trailer' \\(2\\)")):
        with pytest.raises(KitchenError, match=why):
            await asyncio.to_thread(names, pit)


async def test_a_store_put_back_from_a_copy_is_not_mixed_with_what_came_after(kitchen, pit):
    pit.cook_on(60)
    copy = pit.path.with_name("copy.db")
    with contextlib.closing(sqlite3.connect(pit.path)) as db, contextlib.closing(sqlite3.connect(copy)) as other:
        db.backup(other)
    pit.cook_on(60)
    async with forwarding(pit.path, kitchen.address) as forwarder:
        await level(forwarder, last(pit.path))
        async with forwarding(copy, kitchen.address) as second:  # at the same time: it is not even let in
            await until_fault(second, "another collector")
    async with forwarding(copy, kitchen.address) as second:
        await until_fault(second, "store renew")
    later = Pit(copy, "b", START + 7 * HOUR)
    later.cook_on(300)  # it goes on recording, past what the server has
    later.database.close()
    async with forwarding(copy, kitchen.address) as second:
        second.notice(last(copy), cooks=True)
        await until_fault(second, "store renew")
        await asyncio.sleep(0.5)
        assert "store renew" in second.view().fault
        assert second.rounds == 0
    back = Database(copy)
    back.renew()
    back.close()
    async with forwarding(copy, kitchen.address) as second:
        await level(second, last(copy))
    await compare(copy, f"{kitchen.url}#2")
    await compare(pit.path, f"{kitchen.url}#1")


async def test_rows_that_a_power_cut_could_still_take_are_not_brought_yet(kitchen, pit):
    pit.cook_on(60)
    durable = last(pit.path)
    pit.cook_on(60)
    async with forwarding(pit.path, kitchen.address) as forwarder:
        await level(forwarder, durable)
        found = await kitchen.ask("SELECT max(id) FROM coldside.reading")
        assert found[0][0] <= durable
        await level(forwarder, last(pit.path))
    await compare(pit.path, kitchen.url)


async def test_a_cook_let_go_here_does_not_look_like_a_store_put_back(kitchen, tmp_path):
    path = tmp_path / "cooks.db"
    old = Pit(path, "old")
    old.cook_on(120)
    old.end()
    async with forwarding(path, kitchen.address) as forwarder:
        await level(forwarder, last(path))
    with Editor(path) as editor:  # the server does not hear of it before the cook is let go
        editor.tag(editor.record.cook("old"), "oak")
    new = Pit(path, "new", START + 30 * 24 * HOUR)
    with Archive(path) as here:
        new.database.forget([here.cook("old")])
    new.cook_on(60)
    async with forwarding(path, kitchen.address) as forwarder:
        await level(forwarder, last(path))

    def names():
        with KitchenArchive(kitchen.url) as there:
            return [cook.name for cook in there.cooks()]

    new.database.close()
    assert await asyncio.to_thread(names) == ["old", "new"], "the server keeps what the pit let go"


async def until_fault(forwarder, word):
    await until(lambda: word in forwarder.view().fault)


async def test_cooks_are_settled_once_all_of_them_is_there_and_only_those_are_let_go(kitchen, tmp_path):
    path = tmp_path / "cooks.db"
    for k, name in enumerate(("first", "second", "third")):
        made = Pit(path, name, START + 6 * k * HOUR)
        made.cook_on(60)
        if name == "first":  # a message that is still to go out
            row = MessageRow("late", 1, 0, "me", "bell", "raised", made.now, "{}", "waiting", 0, "", None)
            made.pipeline.keep(row)
            made.commit()
        made.end()
    settled = set()
    async with forwarding(path, kitchen.address, on_settled=settled.add) as forwarder:
        await level(forwarder, last(path))
    assert settled == {2}, "the newest may go on; the first has a message on its way"
    await compare(path, kitchen.url)


@pytest.mark.parametrize("word", ["wrong password", "no such database", "nobody there", "later tables"])
async def test_what_stands_in_the_way_is_said_and_tried_again(kitchen, pit, word):
    pit.cook_on(60)
    address, said = kitchen.address, ""
    if word == "wrong password":
        address, said = dataclasses.replace(address, password="not it"), "password authentication failed"
    elif word == "no such database":
        address, said = dataclasses.replace(address, url=kitchen.cluster.url("nowhere")), '"nowhere" does not exist'
    elif word == "nobody there":
        address, said = KitchenAddress("postgresql://cook@127.0.0.1:1/x", "p"), "no server answers there"
    else:
        connection = await connect(address)
        await prepare(connection)
        await connection.execute("UPDATE coldside.version SET number = number + 1")
        await connection.close()
        said = f"version {VERSION + 1}, this coldside knows up to {VERSION}"
    async with forwarding(pit.path, address) as forwarder:
        await until_fault(forwarder, said)
        assert PASSWORD not in forwarder.view().fault
        if word == "later tables":
            await kitchen.ask("UPDATE coldside.version SET number = number - 1")
            await level(forwarder, last(pit.path))


async def test_a_reader_is_refused_what_it_does_not_know_and_what_is_not_there(kitchen):
    with pytest.raises(KitchenError, match="no collector has brought anything"):
        await asyncio.to_thread(KitchenArchive, kitchen.url)
    connection = await connect(kitchen.address)
    await prepare(connection)
    await connection.execute("UPDATE coldside.version SET number = number + 1")
    await connection.close()
    with pytest.raises(StoreVersionError):
        await asyncio.to_thread(KitchenArchive, kitchen.url)


async def test_a_name_that_the_server_cannot_keep_does_not_hold_up_the_rest(kitchen, pit, monkeypatch):
    monkeypatch.setattr(pipeline, "_cleaned", str)  # of a store that older code wrote
    pit.pipeline.take(Reading("s", "left\0over", 20.0, START + 1.0))
    pit.pipeline.take(Reading("s", "left\ufffdover", 21.0, START + 2.0))
    pit.cook_on(30)
    async with forwarding(pit.path, kitchen.address) as forwarder:
        await level(forwarder, last(pit.path))
    found = await kitchen.ask("SELECT count(*) FROM coldside.series WHERE key = $1", "left\ufffdover")
    assert found[0][0] == 2


async def test_many_collectors_may_come_to_an_empty_server_at_once(kitchen, tmp_path):
    made = [Pit(tmp_path / f"{k}.db", str(k)) for k in range(4)]
    for pit in made:
        pit.cook_on(30)
    async with contextlib.AsyncExitStack() as stack:
        at_work = [
            await stack.enter_async_context(forwarding(p.path, kitchen.address, f"pit {p.path.stem}")) for p in made
        ]
        for pit, forwarder in zip(made, at_work, strict=True):
            await level(forwarder, last(pit.path))
    for pit in made:
        await compare(pit.path, f"{kitchen.url}#pit%20{pit.path.stem}")
        pit.database.close()


async def test_time_series_tables_are_asked_for_by_the_day_where_the_extension_has_them(kitchen):
    """By a function that takes what TimescaleDB documents of `create_hypertable`: there is no package of it."""
    await kitchen.ask("CREATE TABLE asked (relation text, key text, ordinals bigint)")
    await kitchen.ask(
        "CREATE FUNCTION create_hypertable(relation regclass, time_column_name name, partitioning_column name = NULL, "
        "number_partitions integer = NULL, associated_schema_name name = NULL, associated_table_prefix name = NULL, "
        "chunk_time_interval anyelement = NULL::bigint, create_default_indexes boolean = TRUE, "
        "if_not_exists boolean = FALSE, partitioning_func regproc = NULL, migrate_data boolean = FALSE) "
        "RETURNS integer LANGUAGE SQL AS $$ INSERT INTO asked VALUES ($1, $2, $7) RETURNING 1 $$"
    )
    connection = await connect(kitchen.address)
    await prepare(connection)
    await connection.close()
    found = await kitchen.ask("SELECT * FROM asked ORDER BY 1")
    day = 24 * 3600 * 1000 << 12
    assert [tuple(row) for row in found] == [("coldside.reading", "id", day), ("coldside.vitals", "id", day)]


async def test_what_is_edited_and_imported_here_is_so_there(kitchen, tmp_path, monkeypatch):
    monkeypatch.setattr(tail.Tail.between, "__defaults__", (100,))
    path = tmp_path / "cooks.db"
    for k, name in enumerate(("first", "second", "third", "fourth")):
        made = Pit(path, name, START + 20 * k * HOUR)
        made.cook_on(300)
        made.end()
    tonight = Pit(path, "tonight", START + 80 * HOUR)
    tonight.cook_on(60)
    async with forwarding(path, kitchen.address) as forwarder:
        await level(forwarder, last(path))
        with Editor(path) as editor:  # beside the collector that records
            named = editor.record.cook
            whole = tmp_path / "second.zip"
            write_cook_file(editor.record, named("second"), whole)
            editor.tag(named("tonight"), "oak")
            editor.photo(named("first"), "x.png", b"\x89PNG\r\n\x1a\n")
            editor.rename(named("first"), "windy")
            editor.split(named("third"), named("third").started_unix + 150.0)
            editor.delete(named("second"))
            editor.merge(named("third-2"), named("fourth"))
        tonight.cook_on(60)
        forwarder.notice(last(path), cooks=True)
        await level(forwarder, last(path))
    await compare(path, kitchen.url)
    tonight.end()
    CookFile(whole).take_in(path, name="back again", origin="{}")  # no collector runs; the server hears of it later
    with Editor(path) as editor:
        editor.delete(named_in(editor, "tonight"))
    Pit(path, "next", START + 120 * HOUR).database.close()
    async with forwarding(path, kitchen.address) as forwarder:
        await level(forwarder, last(path))
    await compare(path, kitchen.url)
    with Archive(path) as here:
        assert [cook.name for cook in here.cooks()] == ["windy", "back again", "third", "third-2", "next"]
        assert here.cook("next").number == 8, "no number is given twice"
    told = await kitchen.ask("SELECT kind FROM coldside.edit ORDER BY number")
    kinds = ["tag", "photo", "rename", "split", "delete", "merge", "import", "delete"]
    assert [row[0] for row in told] == kinds


async def test_an_edited_store_put_back_from_a_copy_is_not_mixed_with_what_came_after(kitchen, pit):
    pit.cook_on(60)
    copy = pit.path.with_name("copy.db")
    with contextlib.closing(sqlite3.connect(pit.path)) as db, contextlib.closing(sqlite3.connect(copy)) as other:
        db.backup(other)
    for path, words in ((pit.path, "one"), (copy, "another")):
        with Editor(path) as editor:
            editor.note(editor.record.cook("a"), words)
    async with forwarding(pit.path, kitchen.address) as forwarder:
        await level(forwarder, last(pit.path))
    async with forwarding(copy, kitchen.address) as second:
        await until_fault(second, "store renew")
    assert [row[0] for row in await kitchen.ask("SELECT text FROM coldside.note")] == ["one"]


def named_in(editor, name):
    return editor.record.cook(name)


def test_a_store_of_the_version_before_gets_an_identity_of_its_own(tmp_path):
    for name in ("a", "b"):
        Database(tmp_path / f"{name}.db").close()
    identities = set()
    for name in ("a", "b", "b"):
        shutil.copy(tmp_path / f"{name}.db", tmp_path / "c.db")
        found = tail.Tail(tmp_path / "c.db")
        identities.add(found.identity)
        found.close()
    assert len(identities) == 2
