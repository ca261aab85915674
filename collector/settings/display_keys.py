"""Keys of the dashboard in the config: which action each belongs to, which are keys at all, which are taken twice."""

import string
import unicodedata
from collections.abc import Mapping

from collector.settings.check import Mistake, Where
from collector.settings.nearest import nearest

__all__ = ["ACTIONS", "NAMED", "RESERVED", "check_display_keys", "key_name"]

ACTIONS: tuple[tuple[str, str, str], ...] = (
    ("help", "question_mark", "board"), ("quit", "q", "board"), ("mark-split", "s", "board"),
    ("mark-lid", "i", "board"), ("mark-spritz", "r", "board"), ("mark-wrap", "w", "board"),
    ("mark-turned", "t", "board"), ("mark-moved", "m", "board"), ("note", "n", "board"),
    ("acknowledge", "k", "board"), ("acknowledge-all", "K", "board"), ("shelve-short", "h", "board"),
    ("shelve-long", "H", "board"), ("unshelve", "u", "board"), ("remove", "X", "alarms"), ("restore", "R", "alarms"),
    ("level", "l", "board"), ("difference", "d", "board"), ("chart", "v", "board"), ("hours-1", "1", "board"),
    ("hours-3", "3", "board"), ("hours-12", "2", "board"), ("ahead", "V", "board"), ("chamber", "c", "board"),
    ("zones", "z", "board"), ("trend", "g", "board"), ("alarms", "a", "board"), ("marks", "j", "board"),
    ("meat", "e", "board"), ("pieces", "E", "board"), ("piece", "W", "board"), ("spot", "S", "board"),
    ("fire", "f", "board"), ("sources", "o", "board"), ("confirm", "y", "marks"), ("delete", "x", "marks"),
    ("back", "escape", "board"), ("bed", "b", "board"), ("unit", "F", "board"), ("pause", "p", "board"),
    ("bell", "B", "board"), ("theme", "T", "board"), ("commands", "ctrl+p", "board"), ("next-pit", "N", "board"),
    ("last-pit", "P", "board"), ("pit-1", "f1", "board"), ("pit-2", "f2", "board"), ("pit-3", "f3", "board"),
    ("pit-4", "f4", "board"), ("pit-5", "f5", "board"), ("pit-6", "f6", "board"), ("pit-7", "f7", "board"),
    ("pit-8", "f8", "board"), ("pit-9", "f9", "board"), ("play", "space", "replay"), ("later", "right", "replay"),
    ("earlier", "left", "replay"), ("much-later", "shift+right", "replay"), ("much-earlier", "shift+left", "replay"),
    ("next-happening", "right_square_bracket", "replay"), ("last-happening", "left_square_bracket", "replay"),
    ("start", "home", "replay"), ("end", "end", "replay"), ("faster", "plus", "replay"), ("slower", "minus", "replay"),
    ("moment", "G", "replay"),
)  # fmt: skip
"""Id, key and place of what can be done on the dashboard, whose own table it repeats: that may not be imported here."""

NAMED = (
    "escape", "enter", "tab", "space", "backspace", "left", "right", "up", "down", "home", "end", "insert", "delete",
    "pageup", "pagedown", *(f"f{number}" for number in range(1, 25)),
)  # fmt: skip
"""Keys that are no character, as the terminal library calls them."""

RESERVED = {"ctrl+c": "quit", "ctrl+q": "quit"}
"""What a key does whatever the config says."""

_MODIFIERS = ("ctrl", "shift", "alt", "super", "hyper", "meta")
_SHORTER = {
    "solidus": "slash", "reverse_solidus": "backslash", "commercial_at": "at", "hyphen_minus": "minus",
    "plus_sign": "plus", "low_line": "underscore",
}  # fmt: skip


def key_name(character: str) -> str:
    """Name the key of a character as the terminal library does.

    >>> key_name("?"), key_name("k")
    ('question_mark', 'k')
    """
    if character.isalnum():
        return character
    name = unicodedata.name(character, character).lower().replace("-", "_").replace(" ", "_")
    return _SHORTER.get(name, name)


_PUNCTUATION = {key_name(character) for character in string.punctuation}


def check_display_keys(keys: Mapping[str, str], found: list[Mistake]) -> None:
    """Add to `found` what is no action, what is no key, and what two actions would share.

    Args:
        keys: key, or several with commas, by action.
        found: gets the mistakes.
    """
    bound = {id_: [key] for id_, key, _ in ACTIONS}
    for id_, text in keys.items():
        where: Where = ("display", "keys", id_)
        if id_ not in bound:
            found.append(
                (where, f"there is no such action{nearest(id_, list(bound))}; `?` in the dashboard lists them")
            )
            continue
        names = [_full(part.strip()) for part in text.split(",")]
        if strange := [part.strip() for part, name in zip(text.split(","), names, strict=True) if not _is_key(name)]:
            found.append((where, f"{strange[0]!r} is no key{nearest(strange[0], list(NAMED))}; {_ALLOWED}"))
        bound[id_] = names
    for id_ in keys:
        if id_ in bound:
            _check_taken(id_, bound, found)


def _check_taken(id_: str, bound: Mapping[str, list[str]], found: list[Mistake]) -> None:
    places = {one: place for one, _, place in ACTIONS}
    for key in bound[id_]:
        others = [other for other, taken in bound.items() if other != id_ and key in taken]
        # Two lists may share a key, as only one of them is gone to.
        others = [one for one in others if places[one] == places[id_] or "board" in (places[one], places[id_])]
        if key in RESERVED and id_ != RESERVED[key]:
            others = [RESERVED[key]]
        if others:
            what = f"{key!r} is the key of {others[0]!r} already; take another, or give {others[0]!r} another"
            found.append((("display", "keys", id_), what))


def _full(key: str) -> str:
    """Write a key in full, as the terminal library does: `?` is `question_mark`."""
    return key_name(key) if len(key) == 1 else key


def _is_key(name: str) -> bool:
    *modifiers, last = name.split("+")
    if not all(modifier in _MODIFIERS for modifier in modifiers):
        return False
    return last in NAMED or last in _PUNCTUATION or (len(last) == 1 and last.isprintable() and last != " ")


_ALLOWED = 'a character, such as "k" or "?", or a name, such as "f5", "ctrl+k", "space" or "pageup"'
