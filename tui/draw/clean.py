"""Texts from outside, cut to the cells they may take on a screen."""

import unicodedata

from adapters.text import clean_text

__all__ = ["clean"]


def clean(text: str | None, cells: int = 40, *, ascii_only: bool = False) -> str:
    """Make a text harmless, and cut it to length.

    Args:
        text: as received.
        cells: cells it may take.
        ascii_only: put `?` for what is not ASCII.
    """
    if not text:
        return ""
    kept = clean_text(text, 8 * cells)
    if ascii_only:
        kept = "".join(c if c.isascii() else "?" for c in kept)
    return _cut(kept, cells, "~" if ascii_only else "…")


def _cut(text: str, cells: int, sign: str) -> str:
    widths = [2 if unicodedata.east_asian_width(c) in ("W", "F") else 1 for c in text]
    if sum(widths) <= cells:
        return text
    used, kept = 0, []
    for character, width in zip(text, widths, strict=True):
        if used + width > cells - 1:
            break
        kept.append(character)
        used += width
    return "".join(kept).rstrip() + sign
