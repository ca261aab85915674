"""A file to be imported, opened: its bytes, unpacked where it is compressed; its text, where it is text."""

import gzip
import lzma
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, cast

from collector.errors import IntakeError
from collector.formats.lines import LONGEST_LINE

__all__ = ["opened", "text_lines"]


@contextmanager
def opened(path: Path) -> Iterator[BinaryIO]:
    """Open a file; `.gz` and `.xz` are unpacked.

    Raises:
        IntakeError: it cannot be opened, or read on.
    """
    try:
        with _open(path) as stream:
            yield stream
    except (OSError, EOFError, lzma.LZMAError, zlib.error) as error:
        what = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise IntakeError(path.name, f"cannot be read: {what}") from error


def _open(path: Path) -> BinaryIO:
    if path.suffix == ".xz":
        return cast("BinaryIO", lzma.open(path, "rb"))
    if path.suffix == ".gz":
        return cast("BinaryIO", gzip.open(path, "rb"))
    return path.open("rb")


def text_lines(path: Path) -> Iterator[str]:
    """Yield the lines of a text file with their ends, a byte order mark taken away.

    Raises:
        IntakeError: it is empty, or no UTF-8 text, or a line has no end.
    """
    number = 0
    with opened(path) as stream:
        while line := stream.readline(LONGEST_LINE + 1):
            number += 1
            if len(line) > LONGEST_LINE:
                raise IntakeError(path.name, f"longer than {LONGEST_LINE} bytes: is it a text file?", line=number)
            if number == 1:
                if line[:2] in (b"\xff\xfe", b"\xfe\xff"):
                    raise IntakeError(path.name, "is UTF-16; save it as UTF-8", line=1)
                line = line.removeprefix(b"\xef\xbb\xbf")
            if b"\0" in line:
                raise IntakeError(path.name, "holds a NUL: it is no text file", line=number)
            try:
                yield line.decode()
            except UnicodeDecodeError as error:
                raise IntakeError(
                    path.name, f"byte {error.start + 1} is not UTF-8 ({line[error.start]:#04x}); save it as UTF-8",
                    line=number,
                ) from error  # fmt: skip
    if not number:
        raise IntakeError(path.name, "is empty")
