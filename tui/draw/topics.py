"""What a broker was heard to send, in lines and as a document: each topic, its shape, and what may be a temperature."""

from collections.abc import Sequence
from typing import Any

from adapters.mqtt.survey import Leaf, Topic
from adapters.reading import Unit
from tui.draw.clean import clean
from tui.draw.line import Line
from tui.draw.scan import seconds_words
from tui.draw.view import View

__all__ = ["topic_lines", "topics_document"]

MOST_TOPICS = 512
MOST_LEAVES = 8
_KINDS = {"senml": "SenML", "senml-cbor": "SenML in CBOR", "json": "JSON"}
_UNIT_WORDS = {Unit.CELSIUS: "C", Unit.FAHRENHEIT: "F", Unit.KELVIN: "K"}


def topic_lines(topics: Sequence[Topic], view: View) -> list[Line]:
    """Draw all topics."""
    lines: list[Line] = []
    for topic in topics[:MOST_TOPICS]:
        lines += _topic(topic, view)
    if len(topics) > MOST_TOPICS:
        lines.append(((f"and {len(topics) - MOST_TOPICS} more topics; narrow them with --filter", "faint"),))
    return lines


def _topic(topic: Topic, view: View) -> list[Line]:
    likely = any(leaf.likely for leaf in topic.leaves)
    kind = _KINDS.get(topic.kind, topic.kind)
    often = f", every {seconds_words(topic.interval_median)}" if topic.interval_median is not None else ""
    kept = f", {topic.retained} retained" if topic.retained else ""
    name = clean(topic.topic, 44, ascii_only=view.ascii_only) or "(a topic without a letter)"
    count = f"{topic.messages} message{'' if topic.messages == 1 else 's'}"
    said = f"  {kind}, {count}{often}{kept}"
    lines: list[Line] = [((name, "strong" if likely else "plain"), (said, "faint"))]
    shown = sorted(topic.leaves, key=lambda leaf: (not leaf.likely, not leaf.named))[:MOST_LEAVES]
    lines += [_leaf(leaf, view) for leaf in shown]
    if len(topic.leaves) > len(shown):
        lines.append(((f"    and {len(topic.leaves) - len(shown)} more numbers", "faint"),))
    if topic.kind == "text":
        text = topic.excerpt.decode("utf-8", "replace")
        lines.append(((f"    {clean(text, 60, ascii_only=view.ascii_only)}", "faint"),))
    if topic.kind in ("bytes", "too long"):
        lines.append(((f"    {topic.size} bytes", "faint"),))
    return lines


def _leaf(leaf: Leaf, view: View) -> Line:
    where = clean(leaf.pointer, 32, ascii_only=view.ascii_only) or "the payload"
    moved = f" ({leaf.low:g} to {leaf.high:g})" if leaf.low != leaf.high else ""
    unit = f" {_UNIT_WORDS[leaf.unit]}" if leaf.unit is not None else ""
    remark = "  looks like a temperature" if leaf.likely and leaf.named else "  may be one" if leaf.likely else ""
    return ((f"    {where:24} {leaf.value:g}{unit}{moved}", "plain" if leaf.likely else "faint"), (remark, "good"))


def topics_document(topics: Sequence[Topic], seconds: float) -> dict[str, Any]:
    """Put all topics into one document."""
    return {
        "schema": 1,
        "seconds": round(seconds, 1),
        "topics": [
            {
                "topic": t.topic, "messages": t.messages, "retained": t.retained,
                "interval_seconds": {"median": t.interval_median, "longest": t.interval_longest},
                "kind": t.kind, "size": t.size,
                "numbers": [
                    {
                        "pointer": leaf.pointer, "value": leaf.value, "low": leaf.low, "high": leaf.high,
                        "unit": None if leaf.unit is None else _UNIT_WORDS[leaf.unit],
                        "unit_pointer": leaf.unit_pointer or None, "likely": leaf.likely, "named": leaf.named,
                    }
                    for leaf in t.leaves
                ],
            }
            for t in topics
        ],
    }  # fmt: skip
