"""Layouts: random ones written and read back, every mistake in one, and every way a channel is bad."""

import math
import struct
from dataclasses import dataclass
from fractions import Fraction

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.decode.described import Described
from adapters.decode.gatt import uuid16
from adapters.decode.layout import Count, Divider, Layout, LayoutValue, Require, Rtd, Thermistor, Thermocouple, Write
from adapters.decode.thermocouple import emf_millivolts
from adapters.decode.value import Value
from adapters.errors import SourceConfigError
from adapters.reading import Quality, Reason, Unit

BOX = """
{"source": "service_data", "uuid": "fff0", "length": [10, 12],
 "require": [{"at": 0, "value": 16, "mask": 240}], "counter": {"at": 1},
 "value": [
  {"names": ["left", "right", "dome", "stack"], "at": 2, "type": "sint16", "exponent": -1, "unit": "degF",
   "absent": [32767], "valid": [-40, 600], "repeat": 4},
  {"names": ["battery"], "at": 10, "type": "uint8", "unit": "percent"}]}
"""


def box(**changes):
    return msgspec.structs.replace(msgspec.json.decode(BOX, type=Layout), **changes)


def value(**changes):
    return LayoutValue(**{"names": ("a",), "at": 0, "type": "sint16", **changes})


def layout(*values, **changes):
    return Layout(**{"source": "notify", "uuid": "fff1", "value": values or (value(),), **changes})


def read(payload, *values, **changes):
    return Described("own", layout(*values, **changes)).read(payload)


def test_a_box_of_four_probes():
    described = Described("box", box())
    assert described.channels == ("left", "right", "dome", "stack")
    assert (described.uuid, described.company, described.writes) == (uuid16(0xFFF0), None, ())
    payload = bytes([0x17, 9]) + struct.pack("<4h", 2250, 0x7FFF, -500, 32000) + bytes([97])
    assert described.fits(payload)
    packet = described.read(payload)
    assert packet.values == (
        Value("left", pytest.approx(107.2222222, abs=1e-6), Unit.FAHRENHEIT, None),
        Value("right", pytest.approx(math.nan, nan_ok=True), Unit.FAHRENHEIT, None, Quality.BAD, Reason.NOT_A_NUMBER),
        Value("dome", pytest.approx(-45.5555556, abs=1e-6), Unit.FAHRENHEIT, None, Quality.BAD, Reason.OUT_OF_RANGE),
        Value("stack", pytest.approx(1760.0, abs=1e-6), Unit.FAHRENHEIT, None, Quality.BAD, Reason.OUT_OF_RANGE),
    )
    assert (packet.battery_percent, packet.counter, packet.measured) == (97.0, 9, None)
    assert packet.rejected == ("dome: -45.5556 °C; valid are -40 to 600", "stack: 1760 °C; valid are -40 to 600")


@pytest.mark.parametrize(
    ("payload", "fits"),
    [(b"\x10" + bytes(9), True), (b"\x1f" + bytes(11), True), (b"\x20" + bytes(9), False), (b"\x10" + bytes(8), False),
     (b"\x10" + bytes(12), False), (b"", False)],
)  # fmt: skip
def test_length_and_required_bits_tell_the_packet(payload, fits):
    assert Described("box", box()).fits(payload) is fits


def test_without_a_length_a_payload_fits_by_its_type_alone():
    described = Described("own", layout(require=(Require(at=3, value=1),)))
    assert described.fits(b"\0\0\0\1")
    assert described.fits(b"\0\0\0\1" + bytes(1000))
    assert not described.fits(b"\0\0\0")
    assert Described("own", layout()).fits(b"")


@pytest.mark.parametrize("field_type", ["sint16", "sint24", "float32"])
def test_a_short_payload_costs_only_the_channels_beyond_it(field_type):
    size = {"sint16": 2, "sint24": 3, "float32": 4}[field_type]
    row = value(names=("a", "b", "c"), type=field_type, repeat=3)
    battery = value(names=("battery",), at=3 * size, type="uint8", unit="percent")
    packet = read(bytes(3 * size - 1), row, battery, counter=Count(at=3 * size - 1, type="uint16"))
    assert [v.reason for v in packet.values] == [Reason.NONE, Reason.NONE, Reason.UNDECODABLE]
    assert packet.values[2].quality is Quality.BAD
    assert math.isnan(packet.values[2].celsius)
    short = f"{3 * size - 1} bytes; it needs"
    assert packet.rejected == (f"c: {short} {3 * size}", f"battery: {short} {3 * size + 1}")
    assert (packet.battery_percent, packet.counter) == (None, None)


@pytest.mark.parametrize(("raw", "percent"), [(0, 0.0), (200, 100.0), (201, None), (255, None)])
def test_a_battery_above_full_is_refused(raw, percent):
    packet = read(
        bytes([0, 0, raw]), value(), value(names=("cell",), at=2, type="uint8", unit="percent", multiplier=0.5)
    )
    assert packet.battery_percent == percent
    assert [v.key for v in packet.values] == ["a"]
    assert packet.rejected == (() if percent is not None else (f"cell: {raw / 2:g} %; valid are 0 to 100",))


def test_an_absent_battery_is_not_told():
    cell = value(names=("cell",), at=2, type="uint8", unit="percent", absent=(0xFF,))
    assert read(b"\0\0\xff", value(), cell).battery_percent is None
    assert read(b"\0\0\xff", value(), cell).rejected == ()


def test_absent_are_bits_also_of_signed_and_floating_numbers():
    for field_type, bits, payload in (
        ("sint16", 0x8000, b"\x00\x80"),
        ("sint24", 0x800000, b"\x00\x00\x80"),
        ("float32", 0xC47A0000, struct.pack("<f", -1000.0)),
        ("medfloat16", 0xF3E7, b"\xe7\xf3"),
        ("float64", 0, bytes(8)),
    ):
        (found,) = read(payload, value(type=field_type, absent=(bits,))).values
        assert (found.quality, found.reason) == (Quality.BAD, Reason.NOT_A_NUMBER), field_type
        assert math.isnan(found.celsius)


@pytest.mark.parametrize(
    ("field_type", "payload"),
    [("float32", "0000c07f"), ("float32", "0000807f"), ("float64", "000000000000f0ff"), ("medfloat16", "ff07"),
     ("medfloat32", "00008000")],
)  # fmt: skip
def test_a_float_that_is_none_has_no_value(field_type, payload):
    packet = read(bytes.fromhex(payload), value(type=field_type))
    assert packet.values[0].reason is Reason.NOT_A_NUMBER
    assert packet.rejected == ()


def test_a_thermocouple_whose_junction_the_payload_tells():
    junction = value(names=("inside",), at=4, exponent=-2)
    hot = value(
        names=("fire", "grate"), type="sint16", unit="uV", repeat=2,
        sensor=Thermocouple(type="K", cold_from="inside"), valid=(-50, 1200),
    )  # fmt: skip
    cold = emf_millivolts(25.0, "K")
    payload = struct.pack("<3h", *(round(1e3 * (emf_millivolts(t, "K") - cold)) for t in (600.0, 107.2)), 2500)
    described = Described("own", layout(hot, junction))
    assert described.channels == ("fire", "grate", "inside")
    packet = described.read(payload)
    assert [v.key for v in packet.values] == ["fire", "grate", "inside"]
    assert [v.celsius for v in packet.values] == pytest.approx([600.0, 107.2, 25.0], abs=0.02)
    assert {v.unit for v in packet.values} == {Unit.CELSIUS}


@pytest.mark.parametrize(
    ("bits", "reason"),
    [(b"\xff\x7f", Reason.NOT_A_NUMBER), (b"\x30\x75", Reason.OUT_OF_RANGE), (b"", Reason.UNDECODABLE)],
)
def test_a_thermocouple_without_its_junction_has_no_value(bits, reason):
    junction = value(names=("inside",), at=2, exponent=-2, absent=(0x7FFF,), valid=(-40, 125))
    hot = value(unit="uV", sensor=Thermocouple(type="K", cold_from="inside"))
    packet = read(b"\x00\x10" + bits, hot, junction)
    assert [v.reason for v in packet.values] == [reason, reason]
    assert math.isnan(packet.values[0].celsius)
    assert "a: its cold junction inside has no value" in packet.rejected


def test_an_open_or_shorted_sensor_is_told_as_such():
    probe = Thermistor(beta=3950, ohms=1e5, divider=Divider(ohms=1e5, full=1023))
    row = value(names=("a", "b", "c"), type="uint16", unit="count", repeat=3, sensor=probe)
    packet = read(struct.pack("<3H", 0, 1023, 511), row)
    assert [v.reason for v in packet.values] == [Reason.OPEN_OR_SHORT, Reason.OPEN_OR_SHORT, Reason.NONE]
    assert packet.values[2].celsius == pytest.approx(25.0, abs=0.1)
    assert packet.rejected == ()


def test_writes_come_in_order_with_full_names():
    writes = (Write(uuid="FFF2", bytes="01 ff"), Write(uuid=uuid16(0xFFF3), bytes="00"))
    described = Described("own", layout(on_connect=writes))
    assert described.writes == ((uuid16(0xFFF2), b"\x01\xff"), (uuid16(0xFFF3), b"\x00"))


K_BY_JUNCTION = Thermocouple(type="K", cold_from="j")
REFUSED = {
    "company missing": (layout(source="manufacturer_data", uuid=""), "needs company"),
    "company and uuid": (layout(source="manufacturer_data", company=1), "has a company, no uuid"),
    "company elsewhere": (layout(company=1), 'company belongs to source = "manufacturer_data"'),
    "uuid missing": (layout(uuid=""), 'source = "notify" needs a uuid'),
    "uuid": (layout(uuid="fff"), "'fff' is no UUID"),
    "service": (layout(service="x"), "'x' is no UUID"),
    "service elsewhere": (layout(source="service_data", service="180f"), "service belongs to"),
    "writes elsewhere": (
        layout(source="service_data", on_connect=(Write(uuid="fff2", bytes="01"),)), "on_connect belongs",
    ),
    "every elsewhere": (layout(every=5.0), 'every belongs to source = "read"'),
    "hexadecimal": (layout(on_connect=(Write(uuid="fff2", bytes="0g"),)), "'0g' is not hexadecimal"),
    "nothing to write": (layout(on_connect=(Write(uuid="fff2", bytes=""),)), "0 bytes; 1 to 512"),
    "write to": (layout(on_connect=(Write(uuid="f", bytes="01"),)), "'f' is no UUID"),
    "length reversed": (layout(length=(4, 2)), r"length = \[4, 2\] is empty"),
    "beyond length": (layout(length=(0, 1)), "ends at byte 2, and length allows 1"),
    "row beyond length": (layout(value(names=("a", "b"), repeat=2, stride=5), length=(6, 6)), "ends at byte 7"),
    "counter beyond length": (layout(length=(0, 4), counter=Count(at=3, type="uint16")), "counter ends at byte 5"),
    "require beyond length": (layout(length=(0, 4), require=(Require(at=4, value=1),)), "require looks at byte 4"),
    "value beyond mask": (
        layout(require=(Require(at=0, value=0x11, mask=0xF0),)), "value 0x11 has bits outside the mask",
    ),
    "same name": (layout(value(), value(at=2)), "two channels are called 'a'"),
    "same name in a row": (layout(value(names=("a", "a"), repeat=2)), "two channels are called 'a'"),
    "names": (layout(value(names=("a", "b"))), r"2 names \(a, b\) for repeat = 1"),
    "no name": (layout(value(names=())), "0 names"),
    "absent wider": (layout(value(absent=(0x10000,))), "absent = 65536: the unsigned bits of a sint16 are 0 to 0xffff"),
    "absent negative": (layout(value(absent=(-1,))), "absent = -1"),
    "valid reversed": (layout(value(valid=(100.0, 0.0))), r"valid = \[100, 0\] is empty"),
    "valid too cold": (layout(value(valid=(-300.0, 0.0))), "below absolute zero"),
    "valid battery": (layout(value(unit="percent", valid=(200.0, 300.0))), "within 0 to 100"),
    "multiplier": (layout(value(multiplier=0.0)), "makes every value the same"),
    "two batteries": (layout(value(unit="percent"), value(names=("b",), unit="percent")), "a, b: one battery"),
    "battery row": (layout(value(names=("a", "b"), unit="percent", repeat=2)), "one battery"),
    "battery sensor": (layout(value(unit="percent", sensor=Rtd())), 'unit = "percent" needs no sensor'),
    "degrees and sensor": (layout(value(sensor=Rtd())), 'unit = "degC" needs no sensor'),
    "ohms and no sensor": (layout(value(unit="ohm")), "describe the sensor"),
    "wrong sensor": (layout(value(unit="ohm", sensor=Thermocouple(type="K", cold_celsius=0))), "gives a voltage"),
    "no junction": (layout(value(unit="mV", sensor=K_BY_JUNCTION)), "cold_from = 'j' names no value"),
    "junction itself": (layout(value(names=("j",), unit="mV", sensor=K_BY_JUNCTION)), "needs a cold junction itself"),
    "junction battery": (
        layout(value(unit="mV", sensor=K_BY_JUNCTION), value(names=("j",), unit="percent")), "is the battery",
    ),
    "junction chain": (
        layout(
            value(unit="mV", sensor=K_BY_JUNCTION),
            value(names=("j",), unit="mV", sensor=Thermocouple(type="K", cold_from="k")),
            value(names=("k",)),
        ), "needs a cold junction itself",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_a_mistake_in_a_layout_is_refused_with_its_place(case):
    wrong, says = REFUSED[case]
    with pytest.raises(SourceConfigError, match=rf"^layout my box(, value \d+ \(.+\))?: .*{says}"):
        Described("my box", wrong)


def test_a_layout_by_company_and_one_with_overlapping_values():
    described = Described("own", layout(source="manufacturer_data", uuid="", company=0xFFFF))
    assert (described.uuid, described.company) == ("", 0xFFFF)
    row = value(names=("a", "b"), type="uint16", repeat=2, stride=1)
    assert [v.celsius for v in read(b"\x01\x02\x01", row, value(names=("c",), type="uint8", at=1)).values] == [
        513,
        258,
        2,
    ]


# --- random layouts, written by an encoder of its own and read back ---

CODES = {
    "uint8": "B",
    "sint8": "b",
    "uint16": "H",
    "sint16": "h",
    "uint32": "I",
    "sint32": "i",
    "float32": "f",
    "float64": "d",
}
WIDTHS = {"uint24": 24, "sint24": 24, "medfloat16": 16, "medfloat32": 32}


@dataclass(frozen=True)
class Sent:
    """One channel as a device would send it."""

    name: str
    end: int
    bits: int
    number: Fraction | None
    """None: what the type calls no number."""


def write_number(draw, field_type, endian):
    """Draw a number of a type; return its bytes, its bits and what it is."""
    order = "<" if endian == "little" else ">"
    if field_type in ("float32", "float64"):
        number = draw(st.floats(width=32 if field_type == "float32" else 64))
        payload = struct.pack(order + CODES[field_type], number)
        number = Fraction(number) if math.isfinite(number) else None
    elif field_type in CODES:
        bits = 8 * struct.calcsize(CODES[field_type])
        low = 0 if field_type[0] == "u" else -(1 << bits - 1)
        number = draw(st.integers(low, low + (1 << bits) - 1))
        payload, number = struct.pack(order + CODES[field_type], number), Fraction(number)
    elif field_type.startswith("medfloat"):
        mantissa_bits, exponent_bits = (12, 4) if field_type == "medfloat16" else (24, 8)
        half, tens = 1 << mantissa_bits - 1, 1 << exponent_bits - 1
        mantissa, exponent = draw(st.integers(-half, half - 1)), draw(st.integers(-min(tens, 40), min(tens - 1, 40)))
        special = exponent == 0 and not -half + 2 < mantissa < half - 2
        number = None if special else mantissa * Fraction(10) ** exponent
        joined = (mantissa % (2 * half)) | ((exponent % (2 * tens)) << mantissa_bits)
        payload = joined.to_bytes((mantissa_bits + exponent_bits) // 8, endian)
    else:
        low = 0 if field_type[0] == "u" else -(1 << 23)
        number = draw(st.integers(low, low + (1 << 24) - 1))
        payload, number = (number % (1 << 24)).to_bytes(3, endian), Fraction(number)
    return payload, int.from_bytes(payload, endian), number


@st.composite
def written(draw):
    """A random layout of disjoint values, a payload sent by it, and what was sent."""
    at, rows, sent, pieces = draw(st.integers(0, 4)), [], [], {}
    for row in range(draw(st.integers(1, 4))):
        field_type, endian = draw(st.sampled_from([*CODES, *WIDTHS])), draw(st.sampled_from(["little", "big"]))
        size = struct.calcsize(CODES[field_type]) if field_type in CODES else WIDTHS[field_type] // 8
        repeat, stride = draw(st.integers(1, 4)), draw(st.none() | st.integers(size, size + 3))
        names = tuple(f"{row}.{i}" for i in range(repeat))
        channels = []
        for i, name in enumerate(names):
            start = at + i * (stride or size)
            pieces[start], bits, number = write_number(draw, field_type, endian)
            channels.append(Sent(name, start + size, bits, number))
        rows.append(
            LayoutValue(
                names=names, at=at, type=field_type, endian=endian, repeat=repeat, stride=stride,
                multiplier=draw(st.sampled_from([1.0, 0.5, -3.0, 0.0625])), exponent=draw(st.integers(-4, 3)),
                binary_exponent=draw(st.integers(-4, 4)), add=draw(st.sampled_from([0.0, -40.0, 273.15])),
                unit=draw(st.sampled_from(["degC", "degF", "K"])),
                valid=draw(st.sampled_from([(-60.0, 1000.0), (0.0, 1e9)])),
                absent=tuple(draw(st.lists(st.sampled_from([channel.bits for channel in channels]), max_size=1))),
            )
        )  # fmt: skip
        sent.append((rows[-1], channels))
        at = channels[-1].end + draw(st.integers(0, 3))
    payload = bytearray(draw(st.binary(min_size=at, max_size=at)))
    for start, piece in pieces.items():
        payload[start : start + len(piece)] = piece
    return layout(*rows), bytes(payload), sent


def exact_celsius(row, number):
    """Apply the definition in exact arithmetic."""
    scaled = number * Fraction(row.multiplier) * Fraction(10) ** row.exponent * Fraction(2) ** row.binary_exponent
    scaled += Fraction(row.add)
    if row.unit == "degF":
        return (scaled - 32) / Fraction("1.8")
    return scaled - Fraction("273.15") if row.unit == "K" else scaled


def expected(row, channel, length):
    if length < channel.end:
        return None, Reason.UNDECODABLE
    if channel.bits in row.absent or channel.number is None:
        return None, Reason.NOT_A_NUMBER
    celsius = exact_celsius(row, channel.number)
    if abs(celsius) > Fraction(1e308):
        return None, Reason.NOT_A_NUMBER
    return celsius, Reason.NONE if row.valid[0] <= celsius <= row.valid[1] else Reason.OUT_OF_RANGE


@given(written(), st.integers(0, 200))
def test_what_a_random_layout_sent_is_read_back(sent, cut):
    own, payload, rows = sent
    payload = payload[:cut]
    described = Described("random", own)
    packet = described.read(payload)
    assert tuple(v.key for v in packet.values) == described.channels
    found = iter(packet.values)
    bad = 0
    for row, channels in rows:
        for channel in channels:
            celsius, reason = expected(row, channel, len(payload))
            got = next(found)
            near_bound = celsius is not None and any(abs(celsius - bound) < 1e-6 for bound in map(Fraction, row.valid))
            if not near_bound:
                assert got.reason is reason
                assert got.quality is (Quality.GOOD if reason is Reason.NONE else Quality.BAD)
                bad += reason in (Reason.UNDECODABLE, Reason.OUT_OF_RANGE)
            if celsius is None:
                assert math.isnan(got.celsius)
            else:
                # Absolute: what cancels against `add` or the zero of a scale keeps the rounding of what it was.
                assert got.celsius == pytest.approx(float(celsius), rel=1e-9, abs=1e-9)
            assert got.unit is {"degC": Unit.CELSIUS, "degF": Unit.FAHRENHEIT, "K": Unit.KELVIN}[row.unit]
    assert len(packet.rejected) >= bad


@given(st.binary(max_size=40))
def test_any_bytes_are_read_without_a_fault(payload):
    for described in (Described("box", box()), Described("own", layout(value(type="medfloat32", unit="K", at=3)))):
        described.fits(payload)
        assert len(described.read(payload).values) == len(described.channels)
