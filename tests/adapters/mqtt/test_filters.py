"""Topic filters: against the standard's examples, and against what an MQTT client matches topic by topic."""

import itertools
import json
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from adapters.errors import SourceConfigError
from adapters.mqtt.filters import check_filter, check_topic, covers, overlaps, to_subscribe

STANDARD = json.loads((Path(__file__).parents[2] / "reference/data/mqtt.json").read_text(encoding="utf-8"))
TOPICS = ["/".join(t) for n in (1, 2, 3, 4) for t in itertools.product(("a", "$s", "", "z"), repeat=n)]
TOPICS.remove("")
LEVEL = st.sampled_from(["a", "$s", "", "+"])
FILTERS = st.one_of(
    st.lists(LEVEL, min_size=1, max_size=3).map("/".join).filter(bool),
    st.lists(LEVEL, max_size=2).map(lambda levels: "/".join([*levels, "#"])),
)


def matched(text):
    return {topic for topic in TOPICS if topic_matches_sub(text, topic)}


@pytest.mark.parametrize("text", STANDARD["valid_filters"])
def test_what_the_standard_allows(text):
    check_filter(text)


@pytest.mark.parametrize("text", [*STANDARD["invalid_filters"], "a/#/b", "a/b+", "a\0b", "é" * 40_000, "$share/g/a"])
def test_what_is_no_filter(text):
    with pytest.raises(SourceConfigError):
        check_filter(text)


@pytest.mark.parametrize("text", ["", "a/+", "#", "a+b"])
def test_what_is_no_topic(text):
    with pytest.raises(SourceConfigError):
        check_topic(text)


@pytest.mark.parametrize("case", STANDARD["match"], ids=lambda case: f"{case['filter']} {case['topic']}")
def test_a_topic_is_the_filter_of_itself(case):
    assert covers(case["filter"], case["topic"]) == overlaps(case["filter"], case["topic"]) == case["match"]


@given(FILTERS, FILTERS)
@example("+", "/#")
@example("/+/#", "/#")
@example("+/#", "#")
@settings(max_examples=200, deadline=None)
def test_covering_and_overlapping_are_those_of_the_sets_of_topics(one, other):
    a, b = matched(one), matched(other)
    assert covers(one, other) == (b <= a)
    assert overlaps(one, other) == bool(a & b)
    assert overlaps(one, other) == overlaps(other, one)
    assert covers(one, one)


@given(st.lists(st.tuples(FILTERS, st.integers(0, 1)), min_size=1, max_size=5))
@settings(max_examples=80, deadline=None)
def test_what_is_subscribed_hears_the_same_at_the_same_quality(filters):
    kept = to_subscribe(filters)
    before, after = ({q: set() for q in (0, 1)} for _ in range(2))
    for found, pairs in ((before, filters), (after, kept)):
        for text, qos in pairs:
            found[qos] |= matched(text)
    assert before[0] | before[1] == after[0] | after[1]
    assert before[1] <= after[1]
    assert not any(covers(a, b) for (a, _), (b, _) in itertools.permutations(kept, 2))


def test_the_wider_one_takes_over_the_quality():
    assert to_subscribe([("pit/+", 0), ("pit/1", 1), ("+/#", 0), ("#", 0), ("$SYS/x", 1)]) == [
        ("+/#", 1),
        ("$SYS/x", 1),
    ]
