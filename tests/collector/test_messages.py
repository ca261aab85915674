"""What is sent: words and numbers as the cook reads them, a document, and a picture that others can read."""

import datetime as dt
import io
import math

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from msgspec.structs import replace
from PIL import Image

from adapters.reading import Reading
from collector.calls.escalation import Call, Due
from collector.calls.message import Composer, digest, message_id, of_document
from collector.calls.picture import COLOURS, FIRE, WHITE, draw_map
from collector.calls.png import encode_png
from collector.engine import Engine
from collector.snapshot import AlarmState, AlarmView, Priority, TroubleView
from tui.nights import night_settings

START = 1_750_000_000.0  # 15:06:40 UTC
PLAN = night_settings().plan


def a_pit():
    engine = Engine(PLAN, "first frost", START)
    for k, probe in enumerate(PLAN.probes):
        engine.take(Reading(probe.source, probe.key, 105.0 + k, START + 60.0), START + 60.0)
    engine.advance(START + 70.0)
    return engine.snapshot()


PIT = a_pit()
COLD = TroubleView(
    "cold", Priority.URGENT, AlarmState.UNACKNOWLEDGED, True, START - 300.0, "2 zones run cold: flat side, middle",
    "look for a leak at the door", 10.0, 8.333, "kelvin", ("cold-spot/flat side", "cold-spot/middle"),
)  # fmt: skip
LEADING = AlarmView(
    "cold-spot/flat side", "cold-spot", "flat side", Priority.URGENT, AlarmState.UNACKNOWLEDGED, True, START - 300.0,
    START, 10.0, 8.333, "kelvin", "",
)  # fmt: skip
NIGHT = replace(PIT, now_unix=START, alarms=(LEADING,), troubles=(COLD,))
DUE = Due(3, 1, "cold", "Ann", "push", "again", START)
CALL = Call(3, "cold", Priority.URGENT, START - 120.0, 2)
COMPOSER = Composer(fahrenheit=True, zone=dt.timezone(dt.timedelta(hours=2)), acknowledge_topic="pit/acknowledge")


def test_a_message_says_what_where_how_much_since_when_and_what_to_do():
    message = COMPOSER.trouble(DUE, CALL, COLD, NIGHT)
    assert message.title == f"URGENT again at {PLAN.chamber.name}: 2 zones run cold: flat side, middle"
    lines = message.text.splitlines()
    assert lines[:3] == [
        "18 °F below its level's mean (limit 15 °F)", "since 17:01, for 5 min", "do: look for a leak at the door",
    ]  # fmt: skip
    assert lines[3].startswith("grate 2")
    assert lines[3].endswith("fire: nothing heard") or "fire: " in lines[3]
    assert lines[-2] == "call 3, message 2, to Ann"
    assert lines[-1].endswith("coldside alarms ack cold, or publish cold to pit/acknowledge")
    document = msgspec.json.decode(message.body)
    assert {k: document[k] for k in ("schema", "id", "key", "word", "call", "step", "priority", "person", "unit")} == {
        "schema": 1, "id": message.id, "key": "cold", "word": "again", "call": 3, "step": 2, "priority": "urgent",
        "person": "Ann", "unit": "kelvin",
    }  # fmt: skip
    assert document["alarms"] == list(COLD.alarms)
    assert of_document(message.body.decode()) == message
    celsius = Composer(zone=dt.UTC).trouble(DUE, CALL, COLD, NIGHT)
    assert celsius.text.startswith("10 °C below its level's mean (limit 8 °C)\nsince 15:01")


def test_what_is_over_and_what_is_a_test_say_so():
    over = COMPOSER.trouble(replace(DUE, word="over"), CALL, None, NIGHT, "flat side runs cold")
    assert over.title == f"over at {PLAN.chamber.name}: flat side runs cold"
    assert "acknowledge" not in over.text
    test = COMPOSER.test(Due(0, 0, "test", "Ben", "push", "test", START), NIGHT, 120.0)
    assert test.title.startswith("TEST")
    assert "Ben" in test.title
    assert "nothing is wrong" in test.text
    assert "by 17:08" in test.text
    assert "coldside alarms ack test" in test.text


def test_a_number_that_is_not_known_is_null_and_in_words():
    unknown = replace(COLD, value=math.nan)
    fire = replace(NIGHT.fire, level_celsius=math.nan)
    message = COMPOSER.trouble(DUE, CALL, unknown, replace(NIGHT, fire=fire))
    assert msgspec.json.decode(message.body)["value"] is None
    assert "nan" not in message.text
    assert "grate unknown" in message.text


def test_a_digest_has_all_of_its_messages():
    two = [COMPOSER.trouble(replace(DUE, trouble=key), CALL, replace(COLD, key=key), NIGHT) for key in ("cold", "lid")]
    folded = digest(two)
    assert folded.title.startswith("2 messages: ")
    assert [m["key"] for m in folded.document["messages"]] == ["cold", "lid"]
    assert digest(two[:1]) is two[0]


@given(st.sets(st.tuples(st.integers(0, 3), st.integers(0, 3), st.sampled_from(["Ann", "Ben"]), st.floats(0, 2e9))))
def test_no_two_messages_have_one_id(found):
    made = [
        message_id(Due(call, rung, "cold", person, "push", "again", round(unix)), 5.0)
        for call, rung, person, unix in {(c, r, p, float(round(u))) for c, r, p, u in found}
    ]
    assert len(set(made)) == len(made)
    assert message_id(DUE, 5.0) == message_id(DUE, 5.0) != message_id(DUE, 6.0)


@given(st.data())
@settings(max_examples=40, deadline=None)
def test_a_picture_is_read_by_others_pixel_by_pixel(data):
    colours = data.draw(st.lists(st.tuples(*[st.integers(0, 255)] * 3), min_size=1, max_size=256))
    shape = data.draw(st.tuples(st.integers(1, 40), st.integers(1, 40)))
    pixels = data.draw(arrays(np.uint8, shape, elements=st.integers(0, len(colours) - 1)))
    with Image.open(io.BytesIO(encode_png(pixels, colours))) as image:
        image.load()
        assert (np.asarray(image.convert("RGB")) == np.array(colours, dtype=np.uint8)[pixels]).all()


def test_what_is_no_picture_is_refused():
    for pixels, colours in ((np.zeros((1, 1), np.uint8), []), (np.ones((1, 1), np.uint8), [(0, 0, 0)])):
        with pytest.raises(ValueError, match="1 to 256 colours"):
            encode_png(pixels, colours)


def test_the_map_shows_the_pit_with_its_fire_end_where_it_stands():
    for side, column in (("left", 4), ("right", -5)):
        snapshot = replace(PIT, chamber=replace(PIT.chamber, fire_side=side))
        picture = draw_map(snapshot)
        assert len(picture) < 20_000
        with Image.open(io.BytesIO(picture)) as image:
            rgb = np.asarray(image.convert("RGB"))
        stripes = {tuple(pixel) for pixel in rgb[2:-2, column]}
        assert stripes == {COLOURS[FIRE], COLOURS[WHITE]}
        assert COLOURS[FIRE] not in {tuple(pixel) for pixel in rgb[2:-2, -1 - column]}
        assert len({tuple(p) for p in rgb.reshape(-1, 3)}) > 4, "more than one temperature"
    assert draw_map(replace(PIT, fields=())) == b""
