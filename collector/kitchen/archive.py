"""Reads the record of one pit from the server, in the words in which a store is read. Blocks."""

import asyncio
import datetime as dt
from collections.abc import Awaitable, Iterator, Sequence
from itertools import count
from re import sub
from typing import TYPE_CHECKING, Any

import msgspec

from collector.errors import KitchenError
from collector.kitchen.address import KitchenAddress, parse_address
from collector.kitchen.session import connect, said, version_of
from collector.store.record import Record

if TYPE_CHECKING:
    from asyncpg import Connection
    from asyncpg.cursor import Cursor as ServerCursor

__all__ = ["KitchenArchive", "PitOnRecord", "pits"]

ROWS_AT_A_TIME = 5000


class PitOnRecord(msgspec.Struct, frozen=True):
    """A store that a collector brings to the server."""

    number: int
    name: str
    since: dt.datetime
    cooks: int


class _Session:
    """The server asked by one thread; what it shows is one moment's state."""

    def __init__(self, address: KitchenAddress) -> None:
        self._address = address
        self._runner = asyncio.Runner()
        try:
            self._connection: Connection = self.wait(connect(address, {"search_path": "coldside_pit"}))
        except BaseException:
            self._runner.close()
            raise

    def wait(self, work: Awaitable[Any]) -> Any:
        """Wait for an answer.

        Raises:
            KitchenError: there is none.
        """
        import asyncpg

        try:
            return self._runner.run(_result(work))
        except (asyncpg.PostgresError, asyncpg.InterfaceError, OSError, TimeoutError) as error:
            raise KitchenError(f"{self._address}: {said(error)}") from error

    def version(self) -> int:
        """Give the version of the tables; 0 where there are none."""
        return int(self.wait(version_of(self._connection)))

    def fetch(self, query: str, *parameters: Any) -> list[Any]:
        """Give all rows of an answer."""
        return list(self.wait(self._connection.fetch(query, *parameters)))

    def show(self, pit: int) -> None:
        """Show this pit from here on, as it is now."""
        self.wait(self._connection.execute(f"SET coldside.pit = '{pit:d}'"))
        self.wait(self._connection.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"))

    def execute(self, query: str, parameters: Sequence[Any] = (), /) -> "_Rows":
        """Ask; parameters stand for question marks."""
        numbers = count(1)
        query = sub(r"\?", lambda _: f"${next(numbers)}", query)
        return _Rows(self, self.wait(self._connection.cursor(query, *parameters)))

    def close(self) -> None:
        """Let go of the server."""
        self._connection.terminate()
        self._runner.close()


async def _result(work: Awaitable[Any]) -> Any:
    return await work


class _Rows:
    """Rows of an answer, brought some thousand at a time."""

    def __init__(self, session: _Session, cursor: "ServerCursor") -> None:
        self._session = session
        self._cursor = cursor

    def fetchone(self) -> Any:
        row = self._session.wait(self._cursor.fetchrow())
        return None if row is None else tuple(row)

    def fetchall(self) -> list[Any]:
        return list(self)

    def __iter__(self) -> Iterator[Any]:
        while some := self._session.wait(self._cursor.fetch(ROWS_AT_A_TIME)):
            yield from map(tuple, some)


class KitchenArchive(Record):
    """Read-only view of one pit's record at the server.

    Args:
        where: `postgresql://USER@HOST/DATABASE#PIT`; the pit by name or number, it may be left out where there is one.

    Raises:
        KitchenError: the server is not there, or has no such pit.
    """

    def __init__(self, where: str) -> None:
        address, pit = _parsed(where)
        session = _Session(address)
        try:
            version = session.version()
            session.show(_chosen(_pits(session), pit, address))
        except BaseException:
            session.close()
            raise
        super().__init__(session, version)
        self._sealed = False  # at a server readings are rows, and stay so


def pits(where: str) -> list[PitOnRecord]:
    """List the pits that a server holds.

    Raises:
        KitchenError: the server is not there, or holds nothing of coldside.
    """
    session = _Session(_parsed(where)[0])
    try:
        return _pits(session)
    finally:
        session.close()


def _parsed(where: str) -> tuple[KitchenAddress, str]:
    try:
        return parse_address(where)
    except ValueError as error:
        raise KitchenError(str(error)) from error


def _pits(session: _Session) -> list[PitOnRecord]:
    if not session.version():
        raise KitchenError("no collector has brought anything to this database yet; `[store] server` makes one do so")
    found = session.fetch(
        "SELECT number, name, since, (SELECT count(*) FROM coldside.cook WHERE cook.pit = pit.number) "
        "FROM coldside.pit ORDER BY number"
    )
    return [PitOnRecord(*row) for row in found]


def _chosen(there: list[PitOnRecord], pit: str, address: KitchenAddress) -> int:
    """Give the number of a pit by its number, its name (the newest store of it), or because there is one only."""
    if not pit and len({p.name for p in there}) == 1:
        return there[-1].number
    named = [p for p in there if pit in (str(p.number), p.name)]
    if not named:
        listed = ", ".join(f"{p.name!r} ({p.number})" for p in there)
        what = f"there is no pit {pit!r}" if pit else "there are several pits, one has to be named"
        raise KitchenError(f"{address}: {what}; there is {listed}. It goes behind the URL: #PIT")
    exact = [p for p in named if p.name == pit]
    return (exact or named)[-1].number
