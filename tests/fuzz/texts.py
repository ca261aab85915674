"""Texts as people and strangers send them: plain, long, foreign, and such as move a terminal's cursor."""

import random
import re
import unicodedata

from tests.fuzz.failures import BrokenInvariant

__all__ = ["check_text", "hostile", "name", "plain_name"]

PLAIN = (
    "flat", "point", "fire end", "middle", "stack end", "brisket", "pork butt", "left ribs", "door side", "back",
    "öak", "Räucherkammer", "牛胸肉", "a", "probe 7", "x" * 60,
)  # fmt: skip
HOSTILE = (
    "", " ", "\r", "\a", "oak\rsplit", "bell\arings", "two\nlines", "\x1b[2J\x1b[H", "\x1b]0;title\a", "\x9b31m",
    "a\0b", "\x7f", "tab\tbed", "\u202eesrever", "\u2066isolate", "\u2028", "\x85", "\ufeff", "e" + "\u0301" * 40,
    "[bold red]markup[/]", "[/]", "$accent", "{braces}", "{0.__class__}", "%s%n", "=1+1", "<script>alert(1)</script>",
    "a/b", "../../etc", "probe-silent/flat", "fire", "👨‍👩‍👧‍👦", "𝕘", "ﷺ", "長" * 120, "w" * 500, "0", "-1", "1e309",
    "None", "null", "'; DROP TABLE cook; --", "\\", '"', "🥩" * 30, "\u200b", "\U000e0041",
)  # fmt: skip


def plain_name(dice: random.Random) -> str:
    return f"{dice.choice(PLAIN[:-1])} {dice.randrange(1000)}"


def hostile(dice: random.Random) -> str:
    """Give a text that nobody should send: one of a list, or made up."""
    if dice.random() < 0.8:
        return dice.choice(HOSTILE)
    letters = (dice.choice((dice.randrange(0x20), dice.randrange(0x20, 0x300), dice.randrange(0x2000, 0x2070),
                            dice.randrange(0x20, 0xD800), dice.randrange(0x1F000, 0x1FA00)))
               for _ in range(dice.randrange(1, 40)))  # fmt: skip
    return "".join(map(chr, letters))


def name(dice: random.Random, taken: set[str], *, odd: float) -> str:
    """Give a name that is not taken yet, of 1 to 60 characters, odd with a probability."""
    while True:
        made = (hostile(dice) + dice.choice(("", plain_name(dice))))[:60] if dice.random() < odd else plain_name(dice)
        if made and made not in taken:
            taken.add(made)
            return made


_TURNS = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\u2028\u2029]")
_NUMBER = re.compile(r"(?<![\w-])[-+±]?(?:nan|inf|infinity)(?![\w-])", re.IGNORECASE)


def check_text(where: str, text: str, *, lines: bool = True, quotes: bool = False) -> None:
    """See whether a text may go to a person: nothing that moves the cursor or turns the writing, no "nan".

    Args:
        where: names it in the failure.
        text: what is shown.
        lines: it may be several.
        quotes: it may say "nan", for it quotes what somebody wrote.

    Raises:
        BrokenInvariant: it may not.
    """
    for character in text:
        if unicodedata.category(character) in ("Cc", "Cs") and not (lines and character == "\n"):
            raise BrokenInvariant(f"{where}: control character", repr(text[:300]))
    if _TURNS.search(text):
        raise BrokenInvariant(f"{where}: turns the writing", repr(text[:300]))
    if not quotes and _NUMBER.search(text):
        raise BrokenInvariant(f"{where}: says nan or inf", repr(text[:300]))
