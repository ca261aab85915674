"""The roles of a line as styles of the theme."""

from textual.content import Content

from adapters.text import printable
from tui.draw.line import Line, Role

__all__ = ["content", "contents"]

STYLES: dict[Role, str] = {
    "plain": "",
    "faint": "$text-muted",
    "strong": "bold",
    "good": "$text-success",
    "warn": "bold $text-warning",
    "alarm": "bold reverse $text-error",
}
OLD = "dim $text-disabled"


def content(line: Line, *, old: bool = False) -> Content:
    """Colour a line; an old one is dim all over."""
    return Content.assemble(*((printable(text), OLD if old else STYLES[role]) for text, role in line))


def contents(lines: list[Line], *, old: bool = False) -> Content:
    """Colour several lines."""
    return Content("\n").join([content(line, old=old) for line in lines])
