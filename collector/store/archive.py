"""Reads the store beside the collector that writes it."""

import sqlite3
from pathlib import Path

from collector.errors import StoreDamagedError, StoreError, StoreVersionError
from collector.store.damage import is_damage
from collector.store.record import Record
from collector.store.schema import VERSION

__all__ = ["Archive"]

_TABLES = {"cook", "plan", "series", "reading", "action", "alarm_log", "mark", "trend"}


class Archive(Record):
    """Read-only view of a store.

    Raises:
        StoreError: there is no store there, or it cannot be read.
    """

    def __init__(self, path: Path) -> None:
        if not path.exists():
            raise StoreError(f"{path}: there is no store here yet; `coldside collect` makes it")
        self.path = path
        try:
            connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=2.0)
        except sqlite3.Error as error:
            raise StoreError(f"{path}: cannot be opened: {error}") from error
        try:
            super().__init__(connection, self._own(connection))
        except sqlite3.Error as error:
            connection.close()
            raise self._fault(error) from error
        except StoreError:
            connection.close()
            raise

    def _own(self, connection: sqlite3.Connection) -> int:
        """Give the version; refuse what is no store of ours, or of a later coldside."""
        version = int(connection.execute("PRAGMA user_version").fetchone()[0])
        tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if version > VERSION and "cook" in tables:
            raise StoreVersionError(f"{self.path}: version {version}, this coldside reads up to {VERSION}")
        if version < 1 or not tables >= _TABLES:
            raise StoreError(f"{self.path}: is no store of coldside")
        return version

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        super().__exit__(kind, error, trace)
        if isinstance(error, sqlite3.Error):
            raise self._fault(error) from error

    def _fault(self, error: sqlite3.Error) -> StoreError:
        kind = StoreDamagedError if is_damage(error) else StoreError
        return kind(f"{self.path}: cannot be read: {error}")
