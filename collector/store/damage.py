"""A store whose file is broken: told from other troubles, and set aside so that the night goes on in a fresh one."""

import sqlite3
import tempfile
from pathlib import Path

from collector.errors import StoreError

__all__ = ["is_broken", "is_damage", "set_aside"]


def is_damage(error: sqlite3.Error) -> bool:
    """Tell whether it is the file that is broken, rather than the disk, a lock or a permission."""
    if getattr(error, "sqlite_errorcode", None) in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return True
    return str(error).startswith("Could not decode to UTF-8")  # Python says this itself, without a code


def is_broken(path: Path) -> bool:
    """Tell whether a store holds pages or rows that cannot be read; all of it is looked through, nothing changed.

    Raises:
        StoreError: there is no room to do so, or nothing can be read at all.
    """
    from collector.store.salvage import salvage

    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".coldside-") as folder:
        found = salvage(path, Path(folder) / "looked-through.db")
    return bool(found.broken_pages or found.lost)


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
