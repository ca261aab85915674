"""Topics that carry temperatures as tables of a config: one source a broker, topics that differ in one level as one."""

from collections.abc import Sequence
from typing import Any

from adapters.mqtt.filters import covers, overlaps
from adapters.mqtt.survey import Leaf, Topic
from adapters.reading import Unit
from tui.draw.blocks import Block, Names

__all__ = ["topic_blocks"]

MOST_SOURCES = 8
_UNITS = {Unit.CELSIUS: "C", Unit.FAHRENHEIT: "F", Unit.KELVIN: "K"}
_Settings = tuple[tuple[str, Any], ...]


def topic_blocks(topics: Sequence[Topic], broker: _Settings, names: Names, *, unit: str) -> list[Block]:
    """Make the blocks.

    Args:
        topics: as heard.
        broker: keys of the source that say which broker.
        names: gives names to sources and probes.
        unit: what to write, `C` or `F`, where a payload does not tell.

    Returns:
        One block; further ones where a topic carries several temperatures, since a subscription reads one of each.
    """
    wanted = [(topic, _wanted(topic)) for topic in topics]
    wanted = [(topic, leaves) for topic, leaves in wanted if leaves]
    blocks = []
    for turn in range(MOST_SOURCES):
        here = [(topic, leaves[turn]) for topic, leaves in wanted if len(leaves) > turn]
        packs = [topic for topic, _ in here if topic.kind.startswith("senml")]
        here = [(topic, leaf) for topic, leaf in here if not topic.kind.startswith("senml")]
        if not here and not (packs and turn == 0):
            break
        blocks.append(_block(here, packs if turn == 0 else [], topics, broker, names, unit))
    return blocks


def _wanted(topic: Topic) -> list[Leaf]:
    """Pick what to read: what is named a temperature, else the only number that could be one."""
    likely = [leaf for leaf in topic.leaves if leaf.likely]
    named = [leaf for leaf in likely if leaf.unit is not None or "temp" in leaf.pointer.lower()]
    return named or ([leaf for leaf in likely if leaf.named] or likely)[:1]


def _block(
    here: list[tuple[Topic, Leaf]],
    packs: list[Topic],
    topics: Sequence[Topic],
    broker: _Settings,
    names: Names,
    unit: str,
) -> Block:
    source = names.unique("broker")
    subscriptions: list[_Settings] = [(("filter", t.topic), ("payload", t.kind)) for t in packs]
    channels = [(names.unique(leaf.pointer), leaf.pointer) for t in packs for leaf in t.leaves if leaf.likely]
    used = [t.topic for t in packs]
    guessed = False
    for group, level in _groups(here, topics):
        topic, leaf = group[0]
        levels = topic.topic.split("/")
        text = topic.topic if level is None else "/".join([*levels[:level], "+", *levels[level + 1 :]])
        if any(overlaps(text, other) and not covers(text, other) and not covers(other, text) for other in used):
            continue
        used.append(text)
        guessed = guessed or leaf.unit is None
        keys = [t.topic if level is None else t.topic.split("/")[level] for t, _ in group]
        key = "topic" if level is None else f"level {level + 1}"
        if not {probe_key for _, probe_key in channels}.isdisjoint(keys):
            keys, key = [t.topic for t, _ in group], "topic"
        more: list[tuple[str, Any]] = [("value", leaf.pointer)] if topic.kind == "json" else []
        more.append(("unit", _UNITS[leaf.unit] if leaf.unit is not None else unit))
        more += [("unit_pointer", leaf.unit_pointer)] if leaf.unit_pointer else []
        subscriptions.append((("filter", text), ("payload", topic.kind), *more, ("key", key)))
        channels += [(names.unique(t.topic.replace("/", " ")), k) for (t, _), k in zip(group, keys, strict=True)]
    notes = ("the unit is a guess where the payload does not tell it",) if guessed else ()
    return Block(source, (("kind", "mqtt"), *broker), tuple(channels), notes=notes, subscriptions=tuple(subscriptions))


def _groups(
    here: list[tuple[Topic, Leaf]], topics: Sequence[Topic]
) -> list[tuple[list[tuple[Topic, Leaf]], int | None]]:
    """Put topics together that differ in one level alone and are read alike; that level is their key.

    A level is a wildcard only if no topic that was heard would slip in beside them.
    """
    left, groups = list(here), []
    while left:
        topic, leaf = left[0]
        best: tuple[list[tuple[Topic, Leaf]], int | None] = ([left[0]], None)
        levels = topic.topic.split("/")
        for level in range(len(levels)):
            text = "/".join([*levels[:level], "+", *levels[level + 1 :]])
            group = [(t, x) for t, x in left if covers(text, t.topic) and _alike((t, x), (topic, leaf))]
            heard = sum(covers(text, t.topic) for t in topics)
            if len(group) > len(best[0]) and heard == len(group) and all(t.topic.split("/")[level] for t, _ in group):
                best = (group, level)
        groups.append(best)
        taken = {t.topic for t, _ in best[0]}
        left = [(t, x) for t, x in left if t.topic not in taken]
    return groups


def _alike(one: tuple[Topic, Leaf], other: tuple[Topic, Leaf]) -> bool:
    (a, x), (b, y) = one, other
    return (a.kind, x.pointer, x.unit, x.unit_pointer) == (b.kind, y.pointer, y.unit, y.unit_pointer)
