"""Lines of CSV that read back to the same fields, whatever is in them."""

import csv
from collections.abc import Callable, Iterator, Sequence
from typing import IO, Protocol

__all__ = ["LONGEST_LINE", "TextSink", "bounded_lines", "line_writer"]


class TextSink(Protocol):
    """What takes text: an open file, or a member of a ZIP file."""

    def write(self, text: str, /) -> object:
        """Take some text."""


FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet may run a field that begins so as a formula (OWASP, CSV Injection)."""


def line_writer(file: TextSink, *, for_spreadsheet: bool = False) -> Callable[[Sequence[object]], None]:
    """Give what writes a line. A field with a bare carriage return is quoted, which Python's writer forgets to do.

    Args:
        file: where lines go.
        for_spreadsheet: put an apostrophe before each text that a spreadsheet would run as a formula. Such a file does
            not read back to the same fields.
    """
    few = csv.writer(file, lineterminator="\n")
    every = csv.writer(file, lineterminator="\n", quoting=csv.QUOTE_ALL)

    def write(fields: Sequence[object]) -> None:
        if for_spreadsheet:
            fields = [_defused(field) for field in fields]
        bare = any(isinstance(field, str) and "\r" in field for field in fields)
        (every if bare else few).writerow(fields)

    return write


def _defused(field: object) -> object:
    """Put an apostrophe before a text that is no number and begins as a formula does."""
    if not isinstance(field, str) or not field.startswith(FORMULA_STARTS):
        return field
    try:
        float(field)
    except ValueError:
        return f"'{field}"
    return field


LONGEST_LINE = 1 << 20


def bounded_lines(file: IO[str]) -> Iterator[str]:
    """Yield the lines of a text, none of them longer than memory should hold.

    Raises:
        ValueError: a line is longer than `LONGEST_LINE` characters.
    """
    while line := file.readline(LONGEST_LINE + 1):
        if len(line) > LONGEST_LINE:
            raise ValueError(f"a line of more than {LONGEST_LINE} characters")
        yield line
