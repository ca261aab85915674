"""A config whose mistakes of shape are taken out, so that what is left can be asked whether it holds together.

Nothing ever runs by it: it only lets mistakes of both kinds be told in one go.
"""

from typing import Any

import msgspec

from collector.settings.check import Mistake, Where, mistakes
from collector.settings.shape import Config

__all__ = ["depends", "mended"]

ROUNDS = 6
"""Taking one thing out may leave another missing."""
_STANDS_FOR: dict[tuple[str, str], Any] = {
    ("chamber", "length"): 1e6, ("chamber", "width"): 1e6, ("chamber", "unit"): "cm", ("cook", "target"): "235 F",
    ("zone", "x"): [0.0, 1.0], ("zone", "y"): [0.0, 1.0],
}  # fmt: skip
"""In place of what must be there and is not, or cannot be read."""
_KEPT = ("chamber", "cook", "source", "probe", "zone")
"""Tables that others are held against; any other goes as a whole where something is missing in it."""


def mended(document: dict[str, Any], found: list[Mistake]) -> Config | None:
    """Give the config with every mistake taken out or something harmless in its place; None where that fails.

    Places in arrays stay as they are.

    Args:
        document: as it was read; it is changed.
        found: what its shape does not allow.
    """
    for _ in range(ROUNDS):
        for where, _ in sorted(found, key=lambda mistake: len(mistake[0]), reverse=True):
            _mend(document, where)
        found = mistakes(document)
        if not found:
            return msgspec.convert(document, Config)
    return None


def depends(where: Where, broken: list[Where]) -> bool:
    """Tell whether a mistake found in a mended config may come from what was mended."""
    if any(where[: len(one)] == one or one[: len(where)] == where for one in broken):
        return True
    top, keys = _NAMES.get((where[0], where[-1]), ("", ()))
    return any(one[0] == top and (len(one) <= 2 or one[-1] in keys) for one in broken if one)


_NAMES: dict[tuple[str | int, str | int], tuple[str, tuple[str, ...]]] = {
    ("zone", "level"): ("probe", ("level", "duty")),
    ("probe", "source"): ("source", ("name",)),
    ("source", "layout"): ("layout", ()),
    ("person", "channels"): ("channel", ("name", "url_file", "command", "host", "topic")),
    ("ladder", "steps"): ("person", ("name", "channels")),
}
"""What a key names of another table: nothing can be said of it while that is broken."""


def _mend(document: dict[str, Any], where: Where) -> None:
    """Take one thing out, or put something in its place."""
    holder: Any = document
    for part in where[:-1]:
        holder = _within(holder, part)
    top, last = (where[0], where[-1]) if where else ("", "")
    known = isinstance(holder, dict) and last in holder
    if top == "source" and len(where) >= 2 and not (known and len(where) == 3 and last != "kind"):
        _stand_in(document, where)
    elif top == "layout" and len(where) >= 2:
        document["layout"].pop(where[1], None)
    elif isinstance(holder, list) and isinstance(last, int) and last < len(holder):
        holder[last] = {}
    elif isinstance(holder, dict) and isinstance(last, str):
        if known:
            del holder[last]
        elif len(where) > 1 and top not in _KEPT:
            del document[str(top)]
        else:
            holder[last] = _stand_in_for(document, where)


def _within(holder: Any, part: str | int) -> Any:
    if isinstance(holder, dict):
        return holder.get(part)
    return holder[part] if isinstance(holder, list) and isinstance(part, int) and part < len(holder) else None


def _stand_in(document: dict[str, Any], where: Where) -> None:
    """Put a simulated source in the place of one that cannot be read, under its name."""
    sources, at = document["source"], where[1]
    if isinstance(sources, list) and isinstance(at, int) and at < len(sources):
        name = sources[at].get("name") if isinstance(sources[at], dict) else None
        sources[at] = {"kind": "rehearsal", "name": name if isinstance(name, str) and name else f"source {at + 1}"}


def _stand_in_for(document: dict[str, Any], where: Where) -> Any:
    top, last = str(where[0]), str(where[-1])
    if (top, last) in _STANDS_FOR:
        return _STANDS_FOR[top, last]
    if last == "name":
        return f"{top} {where[1] + 1 if isinstance(where[1], int) else 1}"
    if len(where) == 1:
        return [{}] if top in ("source", "probe") else {}
    if (top, last) == ("probe", "source"):
        sources = document.get("source")
        first = sources[0] if isinstance(sources, list) and sources and isinstance(sources[0], dict) else {}
        return first.get("name", "source 1")
    return {}
