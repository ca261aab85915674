"""Which line of a TOML file each key stands on, so that a mistake can be pointed at.

The standard parser tells no lines. This scanner only finds keys and table headers; what they hold is the parser's
business, so a file that the parser refuses never gets here.
"""

import re

__all__ = ["key_lines"]

_KEY = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')"""
_DOTTED = rf"{_KEY}(?:\s*\.\s*{_KEY})*"
_HEADER = re.compile(rf"^\s*(\[\[?)\s*({_DOTTED})\s*\]\]?")
_ASSIGN = re.compile(rf"^\s*({_DOTTED})\s*=")
_PART = re.compile(_KEY)


def key_lines(text: str) -> dict[tuple[str | int, ...], int]:
    """Map each key path, array tables numbered from 0, to its line, from 1."""
    lines: dict[tuple[str | int, ...], int] = {}
    counts: dict[tuple[str | int, ...], int] = {}
    table: tuple[str | int, ...] = ()
    inside = _Inside()
    for number, line in enumerate(text.split("\n"), start=1):
        if inside.skips(line):
            continue
        header = _HEADER.match(line)
        if header:
            path = _resolve(_parts(header[2]), counts)
            if header[1] == "[[":
                index = counts.get(path, -1) + 1
                counts[path] = index
                path = (*path, index)
            table = path
            lines.setdefault(table, number)
            continue
        assign = _ASSIGN.match(line)
        if assign:
            path = table
            for part in _parts(assign[1]):
                path = (*path, part)
                lines.setdefault(path, number)
            inside.opens(line[assign.end() :])
    return lines


def _parts(dotted: str) -> list[str]:
    return [part[1:-1] if part[0] in "\"'" else part for part in _PART.findall(dotted)]


def _resolve(parts: list[str], counts: dict[tuple[str | int, ...], int]) -> tuple[str | int, ...]:
    """Put the number of the newest array table behind each part that names one, except the last."""
    path: tuple[str | int, ...] = ()
    for k, part in enumerate(parts):
        path = (*path, part)
        if k < len(parts) - 1 and path in counts:
            path = (*path, counts[path])
    return path


class _Inside:
    """Remembers being inside a value that goes on over several lines."""

    def __init__(self) -> None:
        self._quote = ""
        self._depth = 0

    def opens(self, rest: str) -> None:
        """Read the part of a line after its equals sign."""
        self._depth = 0
        self._read(rest)

    def skips(self, line: str) -> bool:
        """Tell whether this line still belongs to an open value, and read on in it."""
        if not self._quote and self._depth <= 0:
            return False
        self._read(line)
        return True

    def _read(self, text: str) -> None:
        at = 0
        while at < len(text):
            if self._quote:
                end = text.find(self._quote, at)
                if end < 0:
                    return
                at, self._quote = end + 3, ""
                continue
            three = text[at : at + 3]
            if three in ('"""', "'''"):
                self._quote, at = three, at + 3
                continue
            char = text[at]
            if char == "#":
                return
            if char in "\"'":
                at = _end_of_string(text, at)
                continue
            self._depth += (char in "[{") - (char in "]}")
            at += 1


def _end_of_string(text: str, at: int) -> int:
    quote = text[at]
    at += 1
    while at < len(text) and text[at] != quote:
        at += 2 if text[at] == "\\" and quote == '"' else 1
    return at + 1
