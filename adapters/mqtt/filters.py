"""Topic filters as sets of topics (MQTT 3.1.1 and 5, section 4.7): which are well formed, which hold which."""

from collections.abc import Sequence

from adapters.errors import SourceConfigError

__all__ = ["check_filter", "check_topic", "covers", "overlaps", "to_subscribe"]

MAX_BYTES = 65_535
"""Longest string MQTT can carry."""
_WILDCARDS = ("+", "#")


def check_filter(text: str) -> None:
    """Check that a topic filter is well formed.

    Raises:
        SourceConfigError: it is not, or it is a shared subscription: the group stands elsewhere.
    """
    _check_text(text)
    levels = text.split("/")
    if "#" in levels[:-1] or any("#" in level and level != "#" for level in levels):
        raise SourceConfigError(f'{text!r} is no topic filter: "#" stands alone, as the last level')
    if any("+" in level and level != "+" for level in levels):
        raise SourceConfigError(f'{text!r} is no topic filter: "+" stands alone between the slashes')
    if levels[0] == "$share":
        raise SourceConfigError(
            f"{text!r} is a shared subscription: other clients would get part of the readings. Where that is meant, "
            'write the filter without it, and share = "GROUP" beside the host'
        )


def check_topic(text: str) -> None:
    """Check that a topic can be published to.

    Raises:
        SourceConfigError: it is empty or holds a wildcard.
    """
    _check_text(text)
    if any(mark in text for mark in _WILDCARDS):
        raise SourceConfigError(f'{text!r} is no topic: "+" and "#" are for topic filters')


def _check_text(text: str) -> None:
    if not text:
        raise SourceConfigError("a topic has at least one character")
    if "\0" in text or len(text.encode(errors="replace")) > MAX_BYTES:
        raise SourceConfigError(f"{text[:40]!r}: a topic has no NUL and at most {MAX_BYTES} bytes")


def covers(wide: str, narrow: str) -> bool:
    """Tell whether every topic that `narrow` matches is matched by `wide` too; both well formed."""
    a, b = _levels(wide), _levels(narrow)
    if a[0] == "+" and b[0].startswith("$"):
        return False
    for k, level in enumerate(a):
        if level == "#":
            return True
        if k == len(b) or b[k] == "#" or level not in ("+", b[k]):
            return False
    return len(a) == len(b)


def overlaps(one: str, other: str) -> bool:
    """Tell whether some topic is matched by both; both well formed."""
    a, b = _levels(one), _levels(other)
    if (a[0] == "+" and b[0].startswith("$")) or (b[0] == "+" and a[0].startswith("$")):
        return False
    for x, y in zip(a, b, strict=False):
        if "#" in (x, y):
            return True
        if x != y and "+" not in (x, y):
            return False
    longer, shorter = (a, b) if len(a) > len(b) else (b, a)
    return len(a) == len(b) or longer[len(shorter)] == "#"


def to_subscribe(filters: Sequence[tuple[str, int]]) -> list[tuple[str, int]]:
    """Leave out each filter that another covers, so that no broker has a reason to send a message twice.

    Args:
        filters: filters and their QoS.

    Returns:
        What remains, in order, each at the greatest QoS of those it covers.
    """
    kept: list[str] = []
    for k, (narrow, _) in enumerate(filters):
        # Of filters that cover each other (the same one twice, "#" and "+/#") the first remains.
        if not any(
            covers(wide, narrow) and (i < k or not covers(narrow, wide))
            for i, (wide, _) in enumerate(filters)
            if i != k
        ):
            kept.append(narrow)
    return [(wide, max(qos for narrow, qos in filters if covers(wide, narrow))) for wide in kept]


def _levels(text: str) -> list[str]:
    """Split into levels; `#` and `/#` with the level that no topic lacks: none is empty."""
    return {"#": ["+", "#"], "/#": ["", "+", "#"]}.get(text) or text.split("/")
