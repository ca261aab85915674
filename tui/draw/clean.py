"""Texts that strangers sent, made fit for a screen: a name must neither move the cursor nor turn the writing."""

import unicodedata

__all__ = ["clean", "is_clean"]


def clean(text: str | None, cells: int = 40, *, ascii_only: bool = False) -> str:
    """Make a text harmless: one line, no control, format or private characters, no marks piled up, cut to length.

    Args:
        text: as received.
        cells: cells it may take.
        ascii_only: put `?` for what is not ASCII.
    """
    if not text:
        return ""
    shown = unicodedata.normalize("NFC", text[: 8 * cells])
    kept = "".join(" " if c.isspace() else c for c in shown if is_clean(c))
    kept = " ".join(kept.split())
    if ascii_only:
        kept = "".join(c if c.isascii() else "?" for c in kept)
    return _cut(kept, cells, "~" if ascii_only else "…")


def is_clean(character: str) -> bool:
    """Tell whether a character may go to a screen: a letter, number, sign or space."""
    return character.isspace() or unicodedata.category(character) not in (
        "Cc", "Cf", "Cs", "Co", "Cn", "Mn", "Me",
    )  # fmt: skip


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
