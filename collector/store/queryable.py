"""What a record is asked through: SQLite's own connection, or a server's that is asked in the same words."""

from collections.abc import Iterator, Sequence
from typing import Any, Protocol

__all__ = ["Cursor", "Queryable"]


class Cursor(Protocol):
    """Rows of an answer."""

    def fetchone(self) -> Any:
        """Give the next row; None after the last."""

    def fetchall(self) -> list[Any]:
        """Give all rows that are left."""

    def __iter__(self) -> Iterator[Any]: ...


class Queryable(Protocol):
    """What answers queries: SQLite, or a server that is asked in the same words."""

    def execute(self, query: str, parameters: Sequence[Any] = (), /) -> Cursor:
        """Ask; parameters stand for question marks."""

    def close(self) -> None:
        """Let go."""
