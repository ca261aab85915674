"""A store whose file is broken: told from other troubles, and set aside so that the night goes on in a fresh one."""

import sqlite3
from pathlib import Path

from collector.errors import StoreError

__all__ = ["is_damage", "set_aside"]


def is_damage(error: sqlite3.Error) -> bool:
    """Tell whether it is the file that is broken, rather than the disk, a lock or a permission."""
    return getattr(error, "sqlite_errorcode", None) in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def set_aside(path: Path, stamp: str) -> Path:
    """Give a damaged store and its journal another name, `…damaged-STAMP`, and return it: nothing of it is lost.

    Raises:
        StoreError: it cannot be renamed.
    """
    aside = path.with_name(f"{path.name}.damaged-{stamp}")
    try:
        for end in ("", "-wal", "-shm"):
            part = Path(f"{path}{end}")
            if part.exists():
                part.rename(Path(f"{aside}{end}"))
    except OSError as error:
        raise StoreError(f"{path}: is damaged and cannot be set aside: {error.strerror}") from error
    return aside
