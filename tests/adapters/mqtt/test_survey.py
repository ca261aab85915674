"""Topics and the shapes of their payloads; the bounds, and payloads that mean no good."""

import json

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.decode.mqtt_payload import MAX_PAYLOAD_BYTES
from adapters.mqtt import survey as module
from adapters.mqtt.survey import TopicSurvey
from adapters.reading import Unit


def one(*payloads, topic="pit/probe/1", **more):
    survey = TopicSurvey()
    for n, payload in enumerate(payloads):
        payload = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
        survey.take(topic, payload, 100.0 + 2 * n, **more)
    (found,) = survey.topics()
    return found


def test_a_number():
    topic = one(b"107.2", b" 108.5 ", b"106")
    assert (topic.kind, topic.messages, topic.interval_median, topic.interval_longest) == ("number", 3, 2.0, 2.0)
    (leaf,) = topic.leaves
    assert (leaf.pointer, leaf.value, leaf.low, leaf.high) == ("", 106.0, 106.0, 108.5)
    assert leaf.likely
    assert leaf.named


def test_retained_messages_say_nothing_of_the_interval():
    topic = one(b"1", b"2", retained=True)
    assert (topic.retained, topic.interval_median) == (2, None)


def test_json_with_its_units_and_what_is_no_temperature():
    topic = one(
        {"temperature": 21.5, "unit": "F", "battery": 88, "a/b~c": "70.5", "deep": [{"t": 1, "on": True}], "x": None}
    )
    leaves = {leaf.pointer: leaf for leaf in topic.leaves}
    assert set(leaves) == {"/temperature", "/battery", "/a~1b~0c", "/deep/0/t"}
    assert (leaves["/temperature"].unit, leaves["/temperature"].unit_pointer) == (Unit.FAHRENHEIT, "/unit")
    assert leaves["/temperature"].likely
    assert not leaves["/battery"].likely
    assert leaves["/a~1b~0c"].value == 70.5


def test_senml_in_both_forms():
    pack = [{"bn": "box:", "n": "t1", "u": "Cel", "v": 107.2}, {"n": "rh", "u": "%RH", "v": 40}]
    for payload in (pack, cbor2.dumps([{-2: "box:", 0: "t1", 1: "Cel", 2: 107.2}, {0: "rh", 1: "%RH", 2: 40}])):
        topic = one(payload)
        assert topic.kind in ("senml", "senml-cbor")
        assert [(leaf.pointer, leaf.likely) for leaf in topic.leaves] == [("box:t1", True), ("box:rh", False)]


@pytest.mark.parametrize(
    "payload, kind",
    [
        (b"", "empty"), (b"online", "text"), (b"\xff\xfe\x00", "bytes"), (b"{broken", "text"), (b"nan", "text"),
        (b"inf", "text"), (b"1_000", "text"), (b"1" * 50, "text"), (b"9" * (MAX_PAYLOAD_BYTES + 1), "too long"),
        (b"[" * 60_000, "text"), (b"\x81" * 60_000, "bytes"), (b'{"a":1e999}', "text"), (b"\x1b[2J", "bytes"),
        (b'{"a":' + b"9" * 5000 + b"}", "text"),
    ],
)  # fmt: skip
def test_odd_payloads(payload, kind):
    topic = one(payload)
    assert topic.kind == kind
    assert not any(leaf.likely for leaf in topic.leaves)


@pytest.mark.parametrize("value, likely", [(-50, False), (-40, True), (842, True), (843, False), (20_000, False)])
def test_what_can_be_a_temperature(value, likely):
    assert one({"probe": value}).leaves[0].likely is likely


def test_topics_and_leaves_are_bounded(monkeypatch):
    monkeypatch.setattr(module, "MAX_TOPICS", 10)
    survey = TopicSurvey()
    for n in range(30):
        survey.take(f"t/{n}", json.dumps({str(k): k for k in range(1000)}).encode(), 0.0)
    assert (len(survey.topics()), survey.left_out, survey.messages) == (10, 20, 30)
    assert max(len(t.leaves) for t in survey.topics()) <= module.MAX_LEAVES
    assert one({"a": [[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]}).leaves == ()


@given(st.lists(st.binary(max_size=80) | st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=5) | st.integers(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3), max_leaves=8,
).map(lambda document: json.dumps(document).encode()), min_size=1, max_size=4))  # fmt: skip
def test_any_payload_is_borne(payloads):
    assert one(*payloads).messages == len(payloads)
