"""Brings a pit's store to the server, in order and each row once, whenever the server is there.

The pit's own store is written first, whatever becomes of the server: it is what waits while the server is away. What
the server holds is always a beginning of what the pit holds, because readings go in the order of their ordinals and a
transaction each; where it ends is read from the server itself, so that a connection lost in the middle of a commit
costs nothing and doubles nothing.
"""

import asyncio
import logging
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any, TypeVar

from adapters.backoff import delay_seconds
from collector.errors import KitchenError, StoreError
from collector.kitchen.address import KitchenAddress
from collector.kitchen.session import connect, prepare, said
from collector.kitchen.tables import ADDED, NAMES, RESHAPED, tables
from collector.kitchen.tail import Chunk, Move, Tail
from collector.snapshot import KitchenView
from collector.store.redate import OF_TIMES, TIMES
from collector.store.row import unix_of
from collector.store.schema import OF_ORDINALS, SEQUENCE_BITS
from collector.store.upkeep import GO_BY_TIME

if TYPE_CHECKING:
    from asyncpg import Connection

__all__ = ["Forwarder"]

log = logging.getLogger(__name__)

T = TypeVar("T")
LOOK_SECONDS = 5.0
"""It is looked after this long, told of something new or not."""


class Forwarder:
    """Keeps the server's copy of one store up to date.

    Args:
        store: path of the pit's own store.
        pit: name of the pit.
        address: of the server.
        on_settled: told of each ended cook of which the server holds everything.
        random: jitters the waits.
    """

    def __init__(
        self,
        store: Path,
        pit: str,
        address: KitchenAddress,
        *,
        on_settled: Callable[[int], None] = lambda _cook: None,
        random: Random | None = None,
    ) -> None:
        self._store = store
        self._pit = pit
        self._address = address
        self._on_settled = on_settled
        self._random = random or Random()
        self._news = asyncio.Event()
        self._thread = ThreadPoolExecutor(1, "kitchen")
        self._cooks_due = True
        self._after: dict[str, int] = {}
        self._edited = 0
        self._upto = 0
        self._fault = "not reached yet"
        self._level_unix: float | None = None
        self.rounds = 0
        """How often all that there was has been brought."""

    def view(self) -> KitchenView:
        """Show how far the server's copy goes."""
        return KitchenView(str(self._address), self._level_unix, self._fault)

    def notice(self, upto: int, *, cooks: bool) -> None:
        """Take note that something was committed.

        Args:
            upto: all up to this ordinal would outlive a power cut; it is brought, and what comes later is not yet.
            cooks: among it was something that is kept by cook, see `OF_COOKS`.
        """
        self._upto = max(self._upto, upto)
        self._cooks_due |= cooks
        self._news.set()

    async def run(self) -> None:
        """Bring what there is, for ever; a server that is away is tried again and again."""
        attempt = 0
        while True:
            try:
                await self._attend()
            except Exception as error:
                if _cancelled():
                    raise asyncio.CancelledError from error
                if not _of_the_server(error):
                    raise
                self._say(said(error))
            attempt = 0 if not self._fault else attempt + 1
            self._fault = self._fault or "the connection was lost"
            await asyncio.sleep(delay_seconds(attempt, self._random, cap=30.0))

    def _say(self, fault: str) -> None:
        if fault != self._fault:
            log.warning("the kitchen's record waits here for its server: %s", fault)
        self._fault = fault

    async def _attend(self) -> None:
        """Bring what there is until the connection is lost."""
        connection = await connect(self._address)
        try:
            await prepare(connection)
            await self._follow(connection, await self._in_thread(Tail, self._store))
        finally:
            connection.terminate()

    async def _in_thread(self, work: Callable[..., T], *arguments: Any) -> T:
        """Read the store beside the event loop, one thing after the other."""
        return await asyncio.get_running_loop().run_in_executor(self._thread, work, *arguments)

    async def _follow(self, connection: "Connection", tail: Tail) -> None:
        """Bring all there is, again and again."""
        try:
            pit = await self._enter(connection, tail)
            await self._take_up(connection, tail, pit)
            self._cooks_due = True
            async with connection.transaction():
                await _put(connection, pit, await self._in_thread(tail.names))
            while True:
                self._news.clear()
                await self._bring(connection, tail, pit)
                self.rounds += 1
                if self._fault:
                    log.info("the kitchen's record at %s is up to date", self._address)
                self._fault = ""
                try:
                    async with asyncio.timeout(LOOK_SECONDS):
                        await self._news.wait()
                except TimeoutError:
                    continue
        finally:
            self._thread.submit(tail.close)  # after whatever the thread is still at

    async def _take_up(self, connection: "Connection", tail: Tail, pit: int) -> None:
        """Find where the server's copy ends.

        Raises:
            KitchenError: it holds what this store never had, or has no more without having been told to let it go.
        """
        query = f"SELECT {tables()['edit'].listed} FROM coldside.edit WHERE pit = $1 ORDER BY number DESC LIMIT 1"  # noqa: S608 - our own names
        newest = await connection.fetchrow(query, pit)
        self._edited = newest["number"] if newest else 0
        own = await self._in_thread(tail.edit_row, self._edited)
        changes = await self._in_thread(tail.edits, self._edited)
        changed = set().union(*(change.cooks for change in changes))
        after = await _ends(connection, pit, [change.bounds for change in changes if change.bounds])
        began = dict(await connection.fetch("SELECT id, started_ms FROM coldside.cook WHERE pit = $1", pit))
        began = {number: ms for number, ms in began.items() if number not in changed}
        if (newest and own != tuple(newest)) or await self._in_thread(tail.lacks, after, began):
            raise KitchenError(
                f"{self._address} holds more of this store than the file does: was it put back from a copy? "
                "`coldside store renew` makes it a store of its own, and nothing of either is lost"
            )
        self._after = await _ends(connection, pit)

    async def _follow_edits(self, connection: "Connection", tail: Tail, pit: int) -> None:
        """Change at the server what was changed of the record here, all at once."""
        changes = await self._in_thread(tail.edits, self._edited)
        if not changes:
            return
        cooks = set().union(*(change.cooks for change in changes))
        # what the pit let go because it was old stays at the server, whatever was edited of it before
        cooks &= set().union(await self._in_thread(tail.cooks), *(change.cooks for change in changes if change.struck))
        reshaped = cooks & set().union(*(change.cooks for change in changes if change.reshaped))
        spans = [change.bounds for change in changes if change.bounds]
        async with connection.transaction():
            await _take_away(connection, pit, cooks, reshaped, spans)
            ends = await _ends(connection, pit)
            await _append(connection, pit, Chunk({"series": await self._in_thread(tail.series, ends["series"])}))
            await _put(connection, pit, await self._in_thread(tail.names))
            for cook in sorted(cooks):
                await self._put_cook(connection, tail, pit, cook, ends["trend"] if cook in reshaped else None)
            for low, high in spans:
                for name in (*OF_ORDINALS, "elsewhere"):
                    await self._put_span(connection, tail, pit, name, low, min(high, ends.get(name, high) + 1))
            await _put(connection, pit, {"edit": await self._in_thread(tail.edit_rows, self._edited)})
        self._edited = changes[-1].number
        self._after = await _ends(connection, pit)

    async def _put_cook(self, connection: "Connection", tail: Tail, pit: int, cook: int, trend_ms: int | None) -> None:
        """Bring what of a cook was taken away at the server; its trend up to a time: what comes after comes anyway."""
        for name in ADDED if trend_ms is None else (*ADDED, *(n for n in RESHAPED if n not in NAMES)):
            upto = trend_ms if name == "trend" else None
            await _put(connection, pit, {name: await self._in_thread(tail.of_cook, name, cook, upto)})
        for number in await self._in_thread(tail.photos_of, cook):
            await _put(connection, pit, {"photo": await self._in_thread(tail.photo, number)})

    async def _put_span(self, connection: "Connection", tail: Tail, pit: int, name: str, low: int, high: int) -> None:
        """Bring the rows of a table from one ordinal up to another."""
        while rows := await self._in_thread(tail.between, name, low, high):
            if name == "calibration" or name == "elsewhere":  # what a deleted cook's said is still there
                await _put(connection, pit, {name: rows})
            else:
                await _append(connection, pit, Chunk({name: rows}))
            low = rows[-1][0] + 1

    async def _bring(self, connection: "Connection", tail: Tail, pit: int) -> None:
        """Bring all there is now."""
        await self._follow_edits(connection, tail, pit)
        more = True
        while more:
            chunk = await self._in_thread(tail.chunk, dict(self._after), self._upto)
            if chunk:
                await _append(connection, pit, chunk)
                self._advance(chunk)
            more = chunk.more
        if self._cooks_due:
            self._cooks_due = False
            rows, over = await self._in_thread(tail.of_cooks)
            async with connection.transaction():
                await _put(connection, pit, rows)
            for cook in over:
                self._on_settled(cook)

    def _advance(self, chunk: Chunk) -> None:
        for name, rows in chunk.rows.items():
            if rows:
                self._after[name] = rows[-1][0]
        last = max(self._after[name] for name in OF_ORDINALS)
        self._level_unix = unix_of(last) if last else None

    async def _enter(self, connection: "Connection", tail: Tail) -> int:
        """Claim this store at the server; give its number there. What was dated anew here is dated anew there.

        Raises:
            KitchenError: another collector writes for this store.
        """
        return await _claimed(connection, tail.identity, self._pit, await self._in_thread(tail.moves))


async def _claimed(connection: "Connection", identity: str, name: str, moves: list[Move]) -> int:
    if not await connection.fetchval("SELECT pg_try_advisory_lock(hashtextextended($1, 0))", identity):
        raise KitchenError("another collector brings the record of this very store to the server, or just did")
    known = "UPDATE coldside.pit SET name = $2 WHERE store = $1 RETURNING number, moved"
    found = await connection.fetchrow(known, identity, name) or await connection.fetchrow(
        "INSERT INTO coldside.pit (store, name, moved) VALUES ($1, $2, $3) RETURNING number, moved",
        identity, name, moves[-1].number if moves else 0,
    )  # fmt: skip
    pit, moved = found
    for move in moves:
        if move.number > moved:
            async with connection.transaction():
                await _move(connection, pit, move)
    return int(pit)


async def _ends(connection: "Connection", pit: int, without: Sequence[tuple[int, int]] = ()) -> dict[str, int]:
    """Give the greatest id of each table that is only appended to, and time of the trend.

    Args:
        connection: to the server.
        pit: number of the pit there.
        without: ids, from and before which, that are passed over.
    """
    found = {}
    for name in ("series", *OF_ORDINALS, "trend"):
        key = tables()[name].key[0]
        left = "".join(f" AND NOT (id >= {low:d} AND id < {high:d})" for low, high in without) if key == "id" else ""
        left = "" if name == "series" else left
        query = f"SELECT max({key}) FROM coldside.{name} WHERE pit = $1{left}"  # noqa: S608 - our own names and numbers
        found[name] = int(await connection.fetchval(query, pit) or 0)
    return found


async def _append(connection: "Connection", pit: int, chunk: Chunk) -> None:
    async with connection.transaction():
        for name, rows in chunk.rows.items():
            if rows:
                await connection.copy_records_to_table(
                    name, schema_name="coldside", columns=["pit", *tables()[name].names],
                    records=[(pit, *row) for row in rows],
                )  # fmt: skip


async def _put(connection: "Connection", pit: int, rows: dict[str, list[tuple[Any, ...]]]) -> None:
    for name, some in rows.items():
        if some:
            await connection.executemany(tables()[name].insertion, [(pit, *row) for row in some])


async def _take_away(
    connection: "Connection", pit: int, cooks: set[int], reshaped: set[int], spans: Sequence[tuple[int, int]]
) -> None:
    """Let go of what an edit may have changed: rows of cooks, and rows from one ordinal up to another."""
    for low, high in spans:
        await connection.execute(
            "DELETE FROM coldside.calibration WHERE pit = $1 AND id >= $2 AND id < $3 "
            "AND id IN (SELECT id FROM coldside.elsewhere WHERE pit = $1)",
            pit, low, high,
        )  # fmt: skip
        for name in (*GO_BY_TIME, "elsewhere"):
            await connection.execute(
                f"DELETE FROM coldside.{name} WHERE pit = $1 AND id >= $2 AND id < $3",  # noqa: S608 - our own names
                pit, low, high,
            )  # fmt: skip
    await connection.execute("DELETE FROM coldside.cook WHERE pit = $1 AND id = ANY($2)", pit, list(cooks))
    for name, whose in [(n, cooks) for n in (*ADDED, "photo", "extent")] + [(n, reshaped) for n in RESHAPED]:
        await connection.execute(
            f"DELETE FROM coldside.{name} WHERE pit = $1 AND cook = ANY($2)",  # noqa: S608
            pit, list(whose),
        )  # fmt: skip


async def _move(connection: "Connection", pit: int, move: Move) -> None:
    """Date anew what the server holds, as `collector.store.redate` did with the store.

    Rows are taken out and put in again: a row of a partitioned table cannot be moved where it is.
    """
    step, since = move.step_ms, move.since_ms
    ordinals, low = step << SEQUENCE_BITS, since << SEQUENCE_BITS
    changes: dict[str, tuple[int, dict[str, float]]] = {
        **{name: (low, {"id": ordinals}) for name in OF_ORDINALS},
        **{name: (since, {"time_ms": step}) for name in OF_TIMES},
        "elsewhere": (low, {"id": ordinals}),
        "plan": (low, {"from_id": ordinals}),
        "part": (low, {"from_id": ordinals}),
    }
    for name in OF_TIMES if step < 0 else ():  # what was judged in a time that never was
        await connection.execute(
            f"DELETE FROM coldside.{name} WHERE pit = $1 AND time_ms >= $2 AND time_ms < $3",  # noqa: S608
            pit, since + step, since,
        )  # fmt: skip
    changes["reading"][1]["source_ms"] = -step
    changes["calibration"][1]["time"] = step / 1000
    for name, (least, by) in changes.items():
        table, key = tables()[name], next(iter(by))
        listed = ", ".join(f'"{c}" + ({by[c]}) AS "{c}"' if c in by else f'"{c}"' for c in table.names)
        await connection.execute(
            f"CREATE TEMP TABLE moving ON COMMIT DROP AS SELECT pit, {listed} FROM coldside.{name} "  # noqa: S608 - our own names and numbers
            f"WHERE pit = {pit:d} AND {key} >= {least:d}"
        )
        await connection.execute(f"DELETE FROM coldside.{name} WHERE pit = {pit:d} AND {key} >= {least:d}")  # noqa: S608
        await connection.execute(f"INSERT INTO coldside.{name} (pit, {table.listed}) SELECT * FROM moving")  # noqa: S608
        await connection.execute("DROP TABLE moving")
    later = [(*where, step, since) for where in TIMES]
    later += [("edit", column, ordinals, low) for column in ("from_id", "until_id")]
    for name, column, by_so_much, least in later:
        await connection.execute(
            f"UPDATE coldside.{name} SET {column} = {column} + {by_so_much:d} "  # noqa: S608
            f"WHERE pit = {pit:d} AND {column} >= {least:d}"
        )
    await connection.execute("UPDATE coldside.pit SET moved = $2 WHERE number = $1", pit, move.number)


def _cancelled() -> bool:
    """Tell whether we are to end: a transaction that cannot be rolled back raises that in place of our end."""
    task = asyncio.current_task()
    return task is not None and task.cancelling() > 0


def _of_the_server(error: Exception) -> bool:
    """Tell whether a fault is to be expected of a server that goes away, or of the store, and no fault of ours."""
    if isinstance(error, StoreError | OSError | TimeoutError):
        return True
    import asyncpg

    return isinstance(error, asyncpg.PostgresError | asyncpg.InterfaceError | asyncpg.InternalClientError)
