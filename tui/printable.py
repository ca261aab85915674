"""What commands print for a person, without the characters that a terminal would obey instead of show."""

import contextlib
import sys
from collections.abc import Iterator
from typing import TextIO

from adapters.text import printable

__all__ = ["PrintableOutput", "printable_output"]


class PrintableOutput:
    """A text stream that lets only printable text, line feeds and tabs through.

    Args:
        stream: where the text goes. Styles of our own are written to it directly.
    """

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream

    def write(self, text: str) -> int:
        """Write a text, each character that may not be shown replaced."""
        return self.stream.write(printable(text))

    def __getattr__(self, name: str) -> object:
        """Do all else as the stream does."""
        return getattr(self.stream, name)


@contextlib.contextmanager
def printable_output() -> Iterator[None]:
    """Let standard output through `PrintableOutput` for as long as a command runs."""
    before = sys.stdout
    sys.stdout = PrintableOutput(before)
    try:
        yield
    finally:
        sys.stdout = before
