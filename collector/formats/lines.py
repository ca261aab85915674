"""Lines of CSV that read back to the same fields, whatever is in them."""

import csv
from collections.abc import Callable, Sequence
from typing import Protocol

__all__ = ["TextSink", "line_writer"]


class TextSink(Protocol):
    """What takes text: an open file, or a member of a ZIP file."""

    def write(self, text: str, /) -> object:
        """Take some text."""


def line_writer(file: TextSink) -> Callable[[Sequence[object]], None]:
    """Give what writes a line. A field with a bare carriage return is quoted, which Python's writer forgets to do."""
    few = csv.writer(file, lineterminator="\n")
    every = csv.writer(file, lineterminator="\n", quoting=csv.QUOTE_ALL)

    def write(fields: Sequence[object]) -> None:
        bare = any(isinstance(field, str) and "\r" in field for field in fields)
        (every if bare else few).writerow(fields)

    return write
