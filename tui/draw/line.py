"""A line of text in parts, each with the role it plays; the widget turns roles into the colours of its theme."""

import re
from typing import Literal

__all__ = ["Line", "Part", "Role", "fit", "plain", "width", "wrapped"]

Role = Literal["plain", "faint", "strong", "good", "warn", "alarm"]
Part = tuple[str, Role]
Line = tuple[Part, ...]


def plain(line: Line) -> str:
    """Give the bare text of a line."""
    return "".join(text for text, _ in line)


def width(line: Line) -> int:
    """Count the cells of a line; every character we write is one cell wide."""
    return sum(len(text) for text, _ in line)


def wrapped(line: Line, cells: int, indent: int) -> list[Line]:
    """Break a line between words into as many as it takes, all but the first moved in; a long word stays whole."""
    if width(line) <= cells:
        return [line]
    rows: list[list[Part]] = [[]]
    used = 0
    for text, role in line:
        for word in re.findall(r"\s*\S+|\s+$", text):
            if used + len(word) > cells and used > indent:
                rows.append([(" " * indent, "plain")])
                rows[-1].append((word.lstrip(), role))
                used = width(tuple(rows[-1]))
            else:
                rows[-1].append((word, role))
                used += len(word)
    return [tuple(row) for row in rows]


def fit(text: str, cells: int, *, ascii_only: bool = False) -> str:
    """Cut a text to a number of cells, with a sign that something is missing, or pad it."""
    if len(text) <= cells:
        return text.ljust(cells)
    sign = "~" if ascii_only else "…"
    return text[: max(0, cells - 1)] + sign if cells > 0 else ""
