"""A connection to the server: opened, its tables made, faults said in a cook's words."""

from typing import TYPE_CHECKING

from collector.errors import CollectorError, KitchenError, StoreVersionError
from collector.kitchen.address import KitchenAddress
from collector.kitchen.tables import DAY_OF_ORDINALS, statements
from collector.store.schema import VERSION

if TYPE_CHECKING:
    from asyncpg import Connection

__all__ = ["connect", "prepare", "said", "version_of"]

CONNECT_SECONDS = 10.0
COMMAND_SECONDS = 60.0
LOCK = 0x636F6C64
"""Number of the advisory lock under which tables are made."""
SETTINGS = {
    "application_name": "coldside",
    # a pit that lost its power must not hold its lock for the two hours that TCP would wait
    "tcp_keepalives_idle": "20",
    "tcp_keepalives_interval": "10",
    "tcp_keepalives_count": "3",
}


async def connect(address: KitchenAddress, settings: dict[str, str] | None = None) -> "Connection":
    """Open a connection.

    Args:
        address: of the server.
        settings: more settings of the session.

    Raises:
        KitchenError: asyncpg is not installed, or the server is not there, or does not let us in.
    """
    try:
        import asyncpg
    except ImportError as error:
        raise KitchenError("a PostgreSQL server needs the extra: pip install 'coldside[postgresql]'") from error
    try:
        return await asyncpg.connect(
            address.url, password=address.password, timeout=CONNECT_SECONDS, command_timeout=COMMAND_SECONDS,
            server_settings={**SETTINGS, **(settings or {})},
        )  # fmt: skip
    except (asyncpg.PostgresError, asyncpg.InterfaceError, OSError, TimeoutError, ValueError) as error:
        raise KitchenError(f"{address}: {said(error)}") from error


def said(error: Exception) -> str:
    """Say in a few words what went wrong."""
    if isinstance(error, CollectorError):
        return str(error)
    if isinstance(error, TimeoutError):
        return "the server does not answer"
    if isinstance(error, ConnectionRefusedError):
        return "no server answers there"
    return (str(error).splitlines() or [type(error).__name__])[0][:200]


async def version_of(connection: "Connection") -> int:
    """Give the version of the tables; 0 where there are none yet.

    Raises:
        StoreVersionError: they are of a later coldside.
    """
    there = await connection.fetchval("SELECT to_regclass('coldside.version')")
    version = 0 if there is None else await connection.fetchval("SELECT max(number) FROM coldside.version") or 0
    if version > VERSION:
        raise StoreVersionError(f"the server's tables are of version {version}, this coldside knows up to {VERSION}")
    return int(version)


async def prepare(connection: "Connection") -> None:
    """Make the tables, or bring them to this version; of many collectors that come at once, one does.

    Raises:
        StoreVersionError: they are of a later coldside.
    """
    if await version_of(connection) == VERSION:
        return
    async with connection.transaction():
        await connection.execute("SELECT pg_advisory_xact_lock($1)", LOCK)
        if await version_of(connection) == VERSION:
            return
        for statement in statements():
            await connection.execute(statement)
        await _partition(connection)
        await connection.execute("DELETE FROM coldside.version")
        await connection.execute("INSERT INTO coldside.version VALUES ($1)", VERSION)


async def _partition(connection: "Connection") -> None:
    """Let TimescaleDB keep readings by the day, where the database has it; a plain table does the same more slowly."""
    if not await connection.fetchval("SELECT EXISTS (SELECT 1 FROM pg_proc WHERE proname = 'create_hypertable')"):
        return
    for table in ("reading", "vitals"):
        await connection.execute(
            f"SELECT create_hypertable('coldside.{table}', 'id', chunk_time_interval => {DAY_OF_ORDINALS}, "
            "create_default_indexes => false, if_not_exists => true, migrate_data => true)"
        )
