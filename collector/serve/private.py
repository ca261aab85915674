"""Small files that only their owner may read, written whole or not at all."""

import contextlib
import fcntl
import os
from collections.abc import Iterator
from pathlib import Path

__all__ = ["locked", "others_may_read", "write_private"]


def write_private(file: Path, content: bytes) -> None:
    """Put a file in place at once, with mode 0600: who reads it sees the old one or the new one.

    Raises:
        OSError: it cannot be written.
    """
    fresh = file.with_name(f"{file.name}.new")
    fresh.unlink(missing_ok=True)
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, 0o600)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        fresh.replace(file)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Let no second command change the small files of a folder meanwhile.

    Raises:
        OSError: there is no such folder.
    """
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def others_may_read(file: Path) -> bool:
    """Tell whether anybody but the owner may read or write a file.

    Raises:
        OSError: it cannot be looked at.
    """
    return bool(file.stat().st_mode & 0o077)
