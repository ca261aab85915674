"""What the characteristics' definitions leave to us: names, labels, what wins, and what is refused."""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.decode.gatt import (
    BATTERY_LEVEL,
    ENVIRONMENTAL_SENSING,
    HIGH_TEMPERATURE,
    TEMPERATURE,
    TEMPERATURE_MEASUREMENT,
    Format,
    full_uuid,
    is_temperature,
    label,
    parse_format,
    read_characteristic,
    read_environmental,
    uuid16,
)
from adapters.errors import DecodeError, SourceConfigError
from adapters.reading import Unit

OWN = "12345678-1234-5678-1234-56789abcdef0"
CELSIUS_TENTHS = Format("sint16", -1, Unit.CELSIUS)


@pytest.mark.parametrize("text", ["2a6e", "2A6E", "0x2A6E", "0X2a6e", "00002A6E-0000-1000-8000-00805F9B34FB"])
def test_a_uuid_is_written_in_full(text):
    assert full_uuid(text) == TEMPERATURE == "00002a6e-0000-1000-8000-00805f9b34fb"


@pytest.mark.parametrize("text", ["", "2a6", "2a6ef", "0x", "2a6g", "2a6e ", "2a6e\n", OWN + "\n", OWN[:-1], "٢a6e"])
def test_what_is_no_uuid_is_refused(text):
    with pytest.raises(SourceConfigError, match="no UUID; write four"):
        full_uuid(text)


def test_a_number_of_more_bits_is_no_short_uuid():
    with pytest.raises(SourceConfigError, match="65536"):
        uuid16(0x10000)


def test_which_characteristics_are_temperatures():
    assert all(map(is_temperature, (TEMPERATURE, HIGH_TEMPERATURE, TEMPERATURE_MEASUREMENT), [None] * 3))
    assert is_temperature(OWN, CELSIUS_TENTHS)
    assert not is_temperature(OWN, None)
    assert not is_temperature(BATTERY_LEVEL, None)
    assert not is_temperature(OWN, Format("uint8", 0, None))
    assert not is_temperature(OWN, Format(None, 0, Unit.CELSIUS))


def test_a_format_makes_any_characteristic_a_temperature():
    (value,) = read_characteristic(OWN, b"\x30\x04", "grate", CELSIUS_TENTHS).values
    assert (value.celsius, value.key, value.unit) == (107.2, "grate", Unit.CELSIUS)


def test_the_definition_of_a_standard_characteristic_goes_before_its_format():
    (value,) = read_characteristic(TEMPERATURE, b"\xe0\x29", "grate", CELSIUS_TENTHS).values
    assert value.celsius == 107.2


@pytest.mark.parametrize("form", [None, Format("uint8", 0, None), Format(None, 0, Unit.CELSIUS)])
def test_a_characteristic_that_nothing_describes_is_refused(form):
    with pytest.raises(DecodeError, match=r"no temperature|presentation format"):
        read_characteristic(OWN, b"\x00\x00", "grate", form)


@pytest.mark.parametrize(
    ("form", "payload", "says"),
    [
        (CELSIUS_TENTHS, b"\x00", "1 bytes; a sint16 has 2"),
        (CELSIUS_TENTHS, b"\x00\x00\x00", "3 bytes"),
        (Format("sint16", 0, Unit.KELVIN), b"\xff\xff", "absolute zero"),
        (Format("sint16", 0, Unit.FAHRENHEIT), b"\x00\xfe", "absolute zero"),
        (Format("uint128", 127, Unit.CELSIUS), b"\xff" * 16, "no temperature"),
        (Format("float64", 0, Unit.CELSIUS), b"\xff" * 6 + b"\xef\x7f", "no temperature"),
    ],
)
def test_a_value_that_cannot_be_is_refused(form, payload, says):
    with pytest.raises(DecodeError, match=says):
        form.celsius(payload)


def test_absolute_zero_itself_is_read_in_every_unit():
    assert Format("uint8", 0, Unit.KELVIN).celsius(b"\x00") == -273.15
    assert Format("sint32", -2, Unit.FAHRENHEIT).celsius((-45967).to_bytes(4, "little", signed=True)) == pytest.approx(
        -273.15, abs=1e-9
    )


def test_a_float_that_is_none_has_no_value():
    assert math.isnan(Format("float32", 0, Unit.CELSIUS).celsius(b"\x00\x00\xc0\x7f"))


@pytest.mark.parametrize("size", [0, 6, 8])
def test_a_presentation_format_has_seven_bytes(size):
    with pytest.raises(DecodeError, match=f"{size} bytes; a presentation format has 7"):
        parse_format(bytes(size))


def test_a_clock_that_shows_no_hour_costs_only_the_time():
    packet = read_characteristic(TEMPERATURE_MEASUREMENT, bytes.fromhex("02300400ffea070d190a1e00"), "probe")
    assert (packet.values[0].celsius, packet.measured) == (107.2, None)
    assert "2026-13-25" in packet.rejected[0]


@pytest.mark.parametrize(
    ("payload", "shown"),
    [
        (b"Grate left", "Grate left"),
        (b"Grate\x00\x00\x00", "Grate"),
        (b"  two\n\twords ", "two words"),
        (b"\x1b[31mred\x07", "[31mred"),
        ("abc\u202edef\u200b".encode(), "abcdef"),
        ("a\u2028b\u0085c".encode(), "a b c"),
        (b"\xffGrate", "\ufffdGrate"),
        (b"", ""),
        (b"\x00\x01", ""),
        (("x" * 39 + " yz").encode(), "x" * 39),
        (b"x" * 100_000, "x" * 40),
    ],
)
def test_a_label_is_fit_for_a_screen(payload, shown):
    assert label(payload) == shown


@given(st.binary(max_size=120))
def test_no_label_has_a_control_character(payload):
    shown = label(payload)
    assert len(shown) <= 40
    assert shown.isprintable()


def test_two_bytes_under_environmental_sensing_are_a_temperature():
    for uuid in (ENVIRONMENTAL_SENSING, TEMPERATURE):
        (value,) = read_environmental(uuid, b"\xe0\x29", "patio").values
        assert (value.celsius, value.key) == (107.2, "patio")
        for size in (0, 1, 3, 13, 15):
            with pytest.raises(DecodeError, match=f"{size} bytes"):
                read_environmental(uuid, bytes(size), "patio")
    with pytest.raises(DecodeError, match="180f"):
        read_environmental(uuid16(0x180F), b"\xe0\x29", "patio")


@given(st.binary(max_size=24), st.sampled_from([TEMPERATURE, HIGH_TEMPERATURE, TEMPERATURE_MEASUREMENT, BATTERY_LEVEL]))
def test_any_bytes_give_a_temperature_that_can_be_or_a_decode_error(payload, uuid):
    with contextlib.suppress(DecodeError):
        for value in read_characteristic(uuid, payload, "probe").values:
            assert math.isnan(value.celsius) or -273.16 <= value.celsius <= 1e6
