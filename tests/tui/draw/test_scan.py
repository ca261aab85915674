"""What a scan prints: the ruler, the signs, candidates; nothing hostile reaches the terminal; blocks a config takes."""

import struct
import tomllib

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.ble.advert import Advert
from adapters.ble.options import Match
from adapters.ble.recognise import recognise
from adapters.ble.survey import Survey
from adapters.decode.gatt import uuid16
from adapters.mqtt.survey import TopicSurvey
from collector.settings.check import mistakes
from collector.settings.shape import Config
from tui.commands.init import TEMPLATE
from tui.draw.blocks import Names, block_text, glob_of, toml_key, toml_value
from tui.draw.clean import clean
from tui.draw.line import plain, width
from tui.draw.scan import Heard, payload_lines, scan_lines
from tui.draw.scan_blocks import alike, scan_blocks
from tui.draw.topic_blocks import topic_blocks
from tui.draw.topics import topic_lines
from tui.draw.two_point import bathed, two_point_lines
from tui.draw.view import View

BOX = "C0:1D:51:DE:00:01"
HOSTILE = "\x1b]0;owned\x07\x1b[2J\u202egnp\u200b\x00\x9bm\u2066\ufeff\U000e0041\r\n a\u0301\u0301\u0301"
CELSIUS = View()


def box_payload(n, celsius=21.0):
    return struct.pack("<BBhh", 0x10, n % 256, round(10 * (celsius + 0.04 * n)), 0x7FFF)


def heard(name="box", *, random=False, payloads=None, uuid=0xFFF0, address=BOX, company=None):
    survey = Survey()
    for n, payload in enumerate(payloads or [box_payload(n) for n in range(20)]):
        data = {} if company is not None else {uuid16(uuid): payload}
        makers = {} if company is None else {company: payload}
        survey.take(Advert(address, float(n), -60 + n % 3, name, random, data, makers, (uuid16(0x1809),)))
    (device,) = survey.devices()
    return Heard(device, recognise(device))


def text(lines):
    return "\n".join(plain(line) for line in lines)


def test_a_device_with_its_ruler_signs_and_candidates():
    shown = text(scan_lines([heard()], CELSIUS)).splitlines()
    assert shown[0].startswith(f"{BOX}  box ")
    assert "dBm  (-60 to -58)" in shown[0]
    at = next(i for i, line in enumerate(shown) if line.startswith("    at  "))
    assert shown[at] == "    at   0  1  2  3  4  5"
    assert shown[at + 1] == "    hex 10 13 da 00 ff 7f"
    assert shown[at + 2] == "           ^^ ^^"
    whole = "\n".join(shown)
    assert "byte 1 counts, by 1: a counter, no temperature" in whole
    assert "21.8 °C  at 2 sint16 x 0.1 degC" in whole
    assert "every 1.0 s, at most 1.0 s apart" in whole


def test_a_changed_byte_is_marked_by_a_sign_and_by_style():
    _, (_, *parts), marks = payload_lines(b"\x01\x02\x03", (1,))
    assert [role for _, role in parts] == ["plain", "strong", "plain"]
    assert plain(marks) == "           ^^"


def test_long_payloads_are_broken_and_cut():
    shown = text(payload_lines(bytes(range(200)), (17,)))
    assert "    at  16 17 18" in shown
    assert "and 136 bytes more" in shown
    assert all(len(line) <= 80 for line in shown.splitlines())


def test_a_standard_needs_no_layout():
    plain_bthome = [bytes([0x40, 0x00, n, 0x02]) + struct.pack("<h", 2137) for n in range(3)]
    shown = text(scan_lines([heard(payloads=plain_bthome, uuid=0xFCD2)], CELSIUS))
    assert "BTHome: no layout needed" in shown
    assert "temperature 21.4 °C" in shown
    locked = text(scan_lines([heard(payloads=[bytes([0x41, *range(12)])], uuid=0xFCD2)], CELSIUS))
    assert "BTHome, but an encrypted" in locked


@pytest.mark.parametrize("address, when", [(BOX, "with a new battery"), ("4" + BOX[1:], "every few minutes")])
def test_random_addresses_are_warned_of(address, when):
    assert f"random address, may change {when}" in text(scan_lines([heard(random=True, address=address)], CELSIUS))


def test_a_crowd_is_cut():
    crowd = [heard(address=f"00:00:00:00:{n // 256:02X}:{n % 256:02X}", payloads=[b"\x01"]) for n in range(60)]
    shown = text(scan_lines(crowd, CELSIUS))
    assert "and 20 weaker devices" in shown


def test_nothing_wider_than_the_screen():
    everything = [heard(name="W" * 200), heard(random=True, payloads=[bytes(64)] * 3), heard(company=0xFFFF)]
    assert all(width(line) <= 84 for line in scan_lines(everything, CELSIUS))


def is_harmless(shown, *, newlines=False):
    return all(c.isprintable() or (newlines and c == "\n") for c in shown)


def test_a_hostile_name_moves_nothing():
    for view in (CELSIUS, View(ascii_only=True)):
        shown = text(scan_lines([heard(name=HOSTILE)], view))
        assert is_harmless(shown, newlines=True)
        if view.ascii_only:
            assert shown.isascii()


@given(st.text(max_size=100), st.integers(1, 40), st.booleans())
def test_any_text_becomes_one_harmless_line(words, cells, ascii_only):
    shown = clean(words, cells, ascii_only=ascii_only)
    assert is_harmless(shown)
    assert len(shown) <= cells
    assert "\u202e" not in shown
    assert not ascii_only or shown.isascii()


def test_good_texts_stay():
    for words in ("box four", "Grüße", "肉", "e\u0301"):
        assert clean(words)
    assert clean("Grüße") == "Grüße"
    assert clean("e\u0301") == "é"
    assert len(clean("肉" * 30, 10)) <= 5
    assert clean(None) == ""


@given(st.text(max_size=60))
def test_any_text_survives_toml(words):
    document = f"{toml_key(words)} = {toml_value(words)}\n"
    try:
        document.encode()
    except UnicodeEncodeError:
        return
    assert tomllib.loads(document) == {words: words}


@given(st.text(min_size=1, max_size=40))
def test_a_name_matches_its_own_glob(name):
    assert Match(name=glob_of(name))(Advert(BOX, 0.0, -60, name))


def config_with(blocks):
    document = tomllib.loads(TEMPLATE + "\n" + "\n".join(block_text(block) for block in blocks))
    assert mistakes(document) == []
    return msgspec.convert(document, Config)


@pytest.mark.parametrize("name", ["box", "", None, HOSTILE, 'a"b\\c', "[x]*?", "肉" * 50])
@pytest.mark.parametrize("random", [False, True])
@pytest.mark.parametrize("company", [None, 0xFFFF])
def test_blocks_fit_a_config_and_match_their_device(name, random, company):
    one = heard(name=name, random=random, company=company)
    blocks, remarks = scan_blocks([one], Names(["house"]), guess=True)
    config = config_with(blocks)
    (source,) = [s for s in config.source if s.name != "house"]
    match = Match(
        source.address.lower(), source.device, source.service and uuid16(int(source.service, 16)), source.company
    )
    data = {} if company else {uuid16(0xFFF0): b""}
    makers = {company: b""} if company else {}
    assert match(Advert(BOX, 0.0, -60, name, random, data, makers))
    assert config.layout[source.layout].counter.at == 1
    assert not remarks


def test_without_a_choice_only_standards_get_blocks():
    blocks, remarks = scan_blocks([heard()], Names(), guess=False)
    assert not blocks
    assert "--two-point" in remarks[0]


def test_two_alike_devices_get_names_of_their_own():
    bthome = [bytes([0x40, 0x02]) + struct.pack("<h", 2137)]
    pair = [heard(payloads=bthome, uuid=0xFCD2), heard(payloads=bthome, uuid=0xFCD2, address=BOX[:-1] + "2")]
    blocks, _ = scan_blocks(pair, Names(), guess=False)
    assert [b.name for b in blocks] == ["box", "box 2"]
    config_with(blocks)


def four(n, celsius):
    return struct.pack("<BB4h", 0x10, n, *(round(10 * (celsius + 0.1 * k)) for k in range(4)))


def test_equal_channels_become_one_row():
    one = heard(payloads=[four(n, 20.0 + 0.05 * n) for n in range(20)])
    blocks, _ = scan_blocks([one], Names(), guess=True)
    (value,) = config_with(blocks).layout["box"].value
    assert (value.at, value.repeat, value.stride, value.names) == (
        2, 4, 2, ("probe 1", "probe 2", "probe 3", "probe 4"),
    )  # fmt: skip


def in_bath(celsius, first):
    one = heard(payloads=[four(n, celsius) for n in range(first, first + 12)])
    return [(one.device, group) for group in one.device.groups]


def test_four_probes_in_both_baths():
    found = bathed(in_bath(0.0, 0), in_bath(99.5, 100), 99.97, 2.0)
    (one,) = found
    best = one.candidates[0]
    same = alike(best, one.candidates[1:])
    assert sorted(c.at for c in (best, *same)) == [2, 4, 6, 8]
    assert one.recognised().findings.counters[0].at == 1
    shown = text(two_point_lines(found, 99.97, CELSIUS))
    assert "it is at 2 sint16 x 0.1 degC: ice 0.0 °C, boiling 99.5 °C" in shown
    assert all(len(line) <= 80 for line in shown.splitlines())


def test_baths_without_a_reading_say_what_to_try():
    assert "--tolerance" in text(two_point_lines(bathed(in_bath(0.0, 0), in_bath(50.0, 0), 99.97, 2.0), 99.97, CELSIUS))
    assert "no device sent" in text(two_point_lines([], 99.97, CELSIUS))


def topics():
    survey = TopicSurvey()
    for n in (1, 2, 3):
        survey.take(f"pit/probe/{n}", b"225.5", 1.0)
        survey.take(f"yard/{n}/temp", b'{"temperature": 20.5, "unit": "C", "second": {"temp": 30}}', 1.0)
    survey.take("senml", b'[{"n":"t1","u":"Cel","v":107.2}]', 1.0)
    survey.take(f"evil/{HOSTILE}", HOSTILE.encode(), 1.0)
    survey.take("yard/+".replace("+", "x") + '/te"mp\\', b"21", 1.0)
    return survey.topics()


def test_topics_become_blocks_a_config_takes():
    blocks = topic_blocks(topics(), (("host", "localhost"),), Names(["house"]), unit="F")
    config = config_with(blocks)
    first = next(s for s in config.source if s.name == "broker")
    assert {"pit/probe/+", "senml"} <= {s.filter for s in first.subscribe}
    keys = [p.key for p in config.probe if p.source == "broker"]
    assert len(keys) == len(set(keys)), "no two probes of a source share a key"
    assert any(s.name == "broker 2" for s in config.source), "the second temperature of a topic"


def test_topics_on_screen_are_harmless():
    shown = text(topic_lines(topics(), View(ascii_only=True)))
    assert is_harmless(shown, newlines=True)
    assert shown.isascii()
    assert "looks like a temperature" in shown
