"""What can go wrong in the collector.

CollectorError
├── SettingsError   the config file: every mistake in it, each with line, key and mend
├── StoreError      the record on disk cannot be used
│   ├── StoreBusyError     another collector holds it
│   ├── StoreDamagedError  its file is broken
│   ├── StoreVersionError  written by a later coldside
│   ├── UnknownCookError   it holds no cook of that name
│   └── KitchenError       the server that holds many pits cannot be used now
├── EditError       the record cannot be changed in this way
├── IntakeError     a file cannot be imported
├── ServeError      the socket for dashboards cannot be opened
└── TokenError      the tokens for other machines cannot be used, or not so
"""

from pathlib import Path
from typing import NamedTuple

__all__ = [
    "CollectorError",
    "EditError",
    "IntakeError",
    "KitchenError",
    "Problem",
    "ServeError",
    "SettingsError",
    "StoreBusyError",
    "StoreDamagedError",
    "StoreError",
    "StoreVersionError",
    "TokenError",
    "UnknownCookError",
]


class CollectorError(Exception):
    """Base of everything this package raises on purpose."""


class Problem(NamedTuple):
    """One mistake in the config file."""

    line: int
    """Line of the file, from 1; 0 when the mistake is something that is not there."""
    key: str
    """Dotted name of the key, tables of an array numbered from 1: `probe.2.source`."""
    what: str
    """What is wrong and how to mend it."""


class SettingsError(CollectorError):
    """The config file cannot be used; carries every mistake found."""

    def __init__(self, path: Path | str, problems: list[Problem]) -> None:
        super().__init__(path, problems)
        self.path = path
        self.problems = problems

    def __str__(self) -> str:
        return "\n".join(
            f"{self.path}:{p.line}: {p.key}: {p.what}" if p.line else f"{self.path}: {p.key}: {p.what}"
            for p in self.problems
        )


class StoreError(CollectorError):
    """The record on disk cannot be used."""


class StoreBusyError(StoreError):
    """Another collector holds the store."""


class UnknownCookError(StoreError):
    """No cook on record has this name."""


class StoreDamagedError(StoreError):
    """The file of the store is broken."""


class StoreVersionError(StoreError):
    """The store was written by a later coldside."""


class KitchenError(StoreError):
    """The server that holds the records of many pits cannot be used now."""


class EditError(CollectorError):
    """What is on record cannot be changed in this way; nothing was."""


class IntakeError(CollectorError):
    """A file cannot be imported; nothing of it was.

    Args:
        file: its name.
        what: what is wrong and how to mend it.
        line: of the file, from 1; 0 where it is none of its lines.
        column: name of the column; empty where it is none.
    """

    def __init__(self, file: str, what: str, *, line: int = 0, column: str = "") -> None:
        super().__init__(file, what, line, column)
        self.file, self.what, self.line, self.column = file, what, line, column

    def __str__(self) -> str:
        where = f":{self.line}" if self.line else ""
        return f"{self.file}{where}: {f'column {self.column!r}: ' if self.column else ''}{self.what}"


class ServeError(CollectorError):
    """The socket for dashboards cannot be opened."""


class TokenError(CollectorError):
    """The tokens for other machines cannot be used, or not in this way."""
