"""How far a long job is, in one line of a terminal that is gone again at its end."""

import sys
import time
from types import TracebackType
from typing import Self

__all__ = ["Progress"]

APART_SECONDS = 0.2


class Progress:
    """A line on standard error, where that is a terminal; elsewhere nothing.

    Args:
        quiet: say nothing there either.
    """

    def __init__(self, *, quiet: bool = False) -> None:
        self._live = not quiet and sys.stderr.isatty()
        self._said_monotonic = 0.0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._live:
            self._write("")

    def begin(self, words: str) -> None:
        """Say what is done now."""
        if self._live:
            self._write(words)

    def follow(self, words: str) -> None:
        """Say how far it is; left out where that was said a moment ago."""
        if self._live and time.monotonic() - self._said_monotonic >= APART_SECONDS:
            self._write(words)

    def _write(self, words: str) -> None:
        self._said_monotonic = time.monotonic()
        print(f"\r\x1b[K{words}", end="", file=sys.stderr, flush=True)
