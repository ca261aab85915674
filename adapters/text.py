"""Text that comes from outside, made harmless: the one function that everything which takes or prints it uses.

A name, a mark, a payload or a file name may hold characters that move a cursor, ring a bell, start a line of their own
or turn the direction of writing. They are taken away where text enters, and again where it is printed.
"""

import re
import unicodedata
from collections.abc import Iterator

__all__ = ["REPLACEMENT", "clean_text", "is_clean", "printable"]

MOST_MARKS = 2
"""Thai and Vietnamese write two on one letter; none writes more that Unicode has not composed."""
REPLACEMENT = "�"
"""U+FFFD of Unicode: stands for a character that may not be shown."""
_NOT_PRINTED = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufff9-\ufffb]"
)
"""C0 and C1 controls but tab and line feed, DEL, line separators, and the marks of Unicode's bidirectional
algorithm (UAX #9) that turn the direction of writing."""


def clean_text(text: str, longest: int, *, instead: str = "") -> str:
    """Make one harmless line of a text from outside.

    White space of any kind becomes single spaces; control, format, private and unassigned characters go, and so do
    combining marks beyond two on a letter, which could pile up over other lines.

    Args:
        text: as received.
        longest: characters that may be left.
        instead: what stands for each character that goes. `REPLACEMENT` keeps two keys apart that differ by one.
    """
    if text.isascii() and text.isprintable():  # nearly always: dashboards clean thousands of words a second
        return " ".join(text.split())[:longest].rstrip()
    shown = unicodedata.normalize("NFC", text[: 8 * longest])
    kept = "".join(" " if c.isspace() else c if is_clean(c) else instead for c in _few_marks(shown))
    return " ".join(kept.split())[:longest].rstrip()


def is_clean(character: str) -> bool:
    """Tell whether a character may go to a screen: a letter, number, sign or space."""
    return character.isspace() or unicodedata.category(character) not in ("Cc", "Cf", "Cs", "Co", "Cn", "Me")


def _few_marks(text: str) -> Iterator[str]:
    """Leave out combining marks beyond `MOST_MARKS` on one letter, and those on none."""
    marks = MOST_MARKS
    for character in text:
        if unicodedata.category(character) != "Mn":
            marks = 0 if unicodedata.category(character)[0] in "LNM" else MOST_MARKS
        else:
            marks += 1
            if marks > MOST_MARKS:
                continue
        yield character


def printable(text: str) -> str:
    r"""Replace what a terminal would obey instead of show; lines and tabs stay.

    >>> printable("a bell \x07 and a color \x1b[31m")
    'a bell � and a color �[31m'
    """
    return text if text.isascii() and text.isprintable() else _NOT_PRINTED.sub(REPLACEMENT, text)
