"""A line of text in parts, each with the role it plays; the widget turns roles into the colours of its theme."""

from typing import Literal

__all__ = ["Line", "Part", "Role", "fit", "plain", "width"]

Role = Literal["plain", "faint", "strong", "good", "warn", "alarm"]
Part = tuple[str, Role]
Line = tuple[Part, ...]


def plain(line: Line) -> str:
    """Give the bare text of a line."""
    return "".join(text for text, _ in line)


def width(line: Line) -> int:
    """Count the cells of a line; every character we write is one cell wide."""
    return sum(len(text) for text, _ in line)


def fit(text: str, cells: int, *, ascii_only: bool = False) -> str:
    """Cut a text to a number of cells, with a sign that something is missing, or pad it."""
    if len(text) <= cells:
        return text.ljust(cells)
    sign = "~" if ascii_only else "…"
    return text[: max(0, cells - 1)] + sign if cells > 0 else ""
