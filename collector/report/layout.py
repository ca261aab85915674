"""What a report is laid out in: sections with sentences, tables and pictures. Pure."""

from dataclasses import dataclass, field

__all__ = ["Section", "Table"]


@dataclass(frozen=True, slots=True)
class Table:
    """A table; the first column names the row."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    folded: bool = False
    """Its page keeps it shut until somebody opens it, and its PDF leaves it out."""
    wide: tuple[int, ...] = ()
    """Columns of words, which may take several lines."""


@dataclass(frozen=True, slots=True)
class Section:
    """A section."""

    name: str
    title: str
    charts: tuple[str, ...] = ()
    """Names of its pictures, before the tables."""
    says: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    caution: str = ""
    """What must stand with its numbers."""
    terms: tuple[tuple[str, str], ...] = field(default=())
    """Words and what they mean here."""
