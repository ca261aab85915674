"""What a report is laid out in: sections with sentences, tables and pictures. Pure."""

import msgspec

__all__ = ["Section", "Table"]


class Table(msgspec.Struct, frozen=True):
    """A table; the first column names the row."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    folded: bool = False
    """Its page keeps it shut until somebody opens it, and its PDF leaves it out."""
    wide: tuple[int, ...] = ()
    """Columns of words, which may take several lines."""


class Section(msgspec.Struct, frozen=True):
    """A section."""

    name: str
    title: str
    charts: tuple[str, ...] = ()
    """Names of its pictures, before the tables."""
    says: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    caution: str = ""
    """What must stand with its numbers."""
    terms: tuple[tuple[str, str], ...] = ()
    """Words and what they mean here."""
