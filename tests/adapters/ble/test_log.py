"""The record: what is written is read again, what is not a line is refused with its number."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.ble.advert import Advert
from adapters.ble.log import MAX_LINE_CHARACTERS, parse_line, write, write_value
from adapters.decode.gatt import Format, uuid16
from adapters.errors import DecodeError
from adapters.reading import Unit

DATA, OTHER = uuid16(0xFFF0), uuid16(0xFCD2)
ADDRESS = "C0:1D:51:DE:00:01"


def advert(**more):
    return Advert(ADDRESS, 1_700_000_000.1234, -61, **more)


def line(**changes):
    good = {"t": 1.0, "address": ADDRESS, "source": "service_data", "uuid": "fff0", "hex": "0102"}
    return json.dumps({k: v for k, v in (good | changes).items() if v is not ...})


def test_one_line_a_payload():
    lines = write(advert(name="box", service_data={DATA: b"\x01\x02"}, manufacturer_data={0xFFFF: b"\xff"}))
    first, second = (parse_line(text, n) for n, text in enumerate(lines, 1))
    assert (first.source, first.uuid, first.payload, first.name, first.rssi) == (
        "service_data",
        DATA,
        b"\1\2",
        "box",
        -61,
    )
    assert first.unix == pytest.approx(1_700_000_000.123)
    assert (second.source, second.company, second.payload) == ("manufacturer_data", 0xFFFF, b"\xff")
    assert first.advert().service_data == {DATA: b"\1\2"}
    assert second.advert().manufacturer_data == {0xFFFF: b"\xff"}


def test_a_device_without_a_payload_is_told_of():
    (text,) = write(advert())
    assert parse_line(text, 1).source == "none"


def test_a_value_of_a_characteristic_keeps_what_it_says_of_itself():
    form = Format("sint16", -1, Unit.FAHRENHEIT)
    text = write_value(advert(), 5.0, "notify", uuid16(0x181A), DATA, b"\x2c\x04", presentation=form, label="left")
    read = parse_line(text, 1)
    assert (read.source, read.service, read.uuid, read.format, read.label) == (
        "notify", uuid16(0x181A), DATA, form, "left",
    )  # fmt: skip
    assert read.advert() is None


@given(
    name=st.none() | st.text(max_size=300), payload=st.binary(max_size=300), random=st.booleans(),
    company=st.integers(0, 65535),
)  # fmt: skip
def test_any_advertisement_comes_back(name, payload, random, company):
    sent = advert(name=name, random_address=random, service_data={DATA: payload}, manufacturer_data={company: payload})
    for number, text in enumerate(write(sent), 1):
        assert text.isascii()
        assert text.isprintable()
        read = parse_line(text, number)
        assert read.payload == payload
        assert read.random_address is random
        assert read.name == (None if name is None else name[:248])


@pytest.mark.parametrize(
    "text",
    [
        "", "{", "[]", "null", "1", '"x"', "{}", "[" * 5000, line(t=-1), line(t="x"), line(t=...), line(t=1e300),
        line(address="nobody"), line(address=...), line(address="\x1b[2J"), line(source="telepathy"), line(uuid="zz"),
        line(uuid=...), line(hex="0"), line(hex="xy"), line(hex="00 11"), line(hex=5), line(rssi=4000),
        line(source="manufacturer_data"), line(source="manufacturer_data", uuid=..., company=70000), line(company=5),
        line(source="none"), line(name="x" * 5000), line(service="q"), line(format=["sint16"]),
        line(format=["nonsense", 0, "Cel"]), line(format=["sint16", 0, "parsec"]), "x" * (MAX_LINE_CHARACTERS + 1),
        "\x00", "\ud800",
    ],
)  # fmt: skip
def test_what_is_no_line_is_refused_with_its_number(text):
    with pytest.raises(DecodeError, match="line 7: "):
        parse_line(text, 7)


@given(st.text(max_size=200) | st.binary(max_size=200).map(lambda b: b.decode("latin-1")))
def test_any_text_is_a_line_or_a_decode_error(text):
    try:
        parse_line(text, 1)
    except DecodeError as error:
        assert str(error).startswith("line 1: ")
