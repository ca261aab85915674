"""Candidates in payloads nobody described: the true one is among them, counters are not, two baths leave one or two."""

import random
import statistics
import struct

import pytest

from adapters.decode.candidates import Scale, find, two_point
from adapters.decode.counters import find_counters
from adapters.decode.described import Described
from adapters.decode.layout import Layout
from adapters.decode.number_types import SIZES
from adapters.reading import Unit

BOILING = 99.97
SCALES = (
    Scale(), Scale(exponent=-1), Scale(exponent=-2), Scale(binary_exponent=-1), Scale(binary_exponent=-2),
    Scale(binary_exponent=-4), Scale(binary_exponent=-8),
)  # fmt: skip


def box(n, celsius, *, kind="<BBhh", other=21.0):
    return struct.pack(kind, 0x10, n % 256, round(10 * celsius), round(10 * other))


def warming(count=30, start=20.0):
    return [(float(n), box(n, start + 0.13 * n + 0.1 * (n % 3))) for n in range(count)]


def in_unit(celsius, unit):
    return {Unit.CELSIUS: celsius, Unit.FAHRENHEIT: celsius * 1.8 + 32, Unit.KELVIN: celsius + 273.15}[unit]


def test_the_true_reading_is_found_first():
    found = find(warming())
    best = found.candidates[0]
    assert (best.at, best.type, best.endian, best.scale, best.unit) == (
        2, "sint16", "little", Scale(exponent=-1), Unit.CELSIUS,
    )  # fmt: skip
    assert best.moves
    assert best.celsius == pytest.approx(20.0 + 0.13 * 29 + 0.1 * (29 % 3), abs=0.051)


def test_a_counter_is_named_and_never_offered():
    found = find(warming())
    assert [(c.at, c.size, c.step) for c in found.counters] == [(1, 1, 1)]
    assert not [c for c in found.candidates if c.at <= 1 < c.at + SIZES[c.type]]


@pytest.mark.parametrize("step", [1, 3, 255])
@pytest.mark.parametrize("missing", [(), (5, 6, 12)])
def test_a_counter_counts_on_where_packets_were_missed_and_begins_again(step, missing):
    payloads = [bytes([7, (250 + step * n) % 256, 9]) for n in range(24) if n not in missing]
    (counter,) = find_counters(payloads)
    assert (counter.at, counter.step) == (1, step)


def test_a_counter_of_two_bytes_is_seen_when_it_carries():
    for endian in ("little", "big"):
        payloads = [b"\x01" + (0x02F8 + n).to_bytes(2, endian) for n in range(20)]
        (counter,) = find_counters(payloads)
        assert (counter.at, counter.size, counter.endian) == (1, 2, endian)


def test_a_warming_probe_is_no_counter():
    rising = [bytes([1, n]) for n in (10, 11, 11, 12, 14, 14, 15, 15, 16, 18, 18, 19, 19, 19, 20)]
    assert find_counters([p + bytes([i % 3]) for i, p in enumerate(rising)]) == []


def test_what_jumps_is_no_candidate():
    generator = random.Random(3)
    assert not find([(float(n), generator.randbytes(10)) for n in range(40)]).candidates
    noise_under_a_still_byte = [(float(n), bytes([1]) + generator.randbytes(2)) for n in range(40)]
    assert all(c.high - c.low < 1.2 for c in find(noise_under_a_still_byte).candidates)


def test_what_stands_still_is_marked():
    found = find([(float(n), struct.pack("<h", 215)) for n in range(10)])
    assert found.candidates
    assert not any(c.moves for c in found.candidates)
    assert not find([(0.0, bytes(4)), (1.0, bytes(4))]).candidates, "all zeros are no temperature"
    assert not find([(0.0, b"\xff" * 4)]).candidates


def test_payloads_of_another_length_are_left_aside():
    rows = [row for n, row in enumerate(warming(40)) for row in ([row, (row[0] + 0.1, b"\x01")] if n % 2 else [row])]
    found = find(rows)
    assert found.length == 6
    assert found.candidates[0].at == 2


def test_nothing_in_nothing():
    assert find([]).candidates == ()
    assert two_point([], [b"1"], BOILING) == []
    assert two_point([b"\x00\x00"], [b"\x00"], BOILING) == []


@pytest.mark.parametrize("text", ["", "00", "ff" * 64, "00" * 400])
def test_any_payload_is_borne(text):
    payload = bytes.fromhex(text)
    find([(0.0, payload), (1.0, payload[::-1])])
    two_point([payload], [payload], BOILING)


@pytest.mark.parametrize("kind", ["<f", ">f"])
def test_floats_are_found(kind):
    rows = [(float(n), b"\x05" + struct.pack(kind, 20.0 + 0.11 * n)) for n in range(12)]
    best = find(rows).candidates[0]
    assert (best.type, best.at, best.endian) == ("float32", 1, "little" if kind == "<f" else "big")


def test_two_baths_leave_the_true_one_and_what_it_says_is_a_layout():
    ice = [box(n, 0.1 + 0.1 * (n % 2)) for n in range(20)]
    boiling = [box(n, 99.8) for n in range(30, 50)]
    best = two_point(ice, boiling, BOILING)[0]
    assert (best.at, best.type, best.scale) == (2, "sint16", Scale(exponent=-1))
    layout = Layout(source="service_data", uuid="fff0", value=(best.layout_value(("grate",)),))
    (value,) = Described("box", layout).read(boiling[0]).values
    assert (value.key, value.celsius) == ("grate", pytest.approx(99.8))


def test_packets_of_another_kind_between_do_not_hide_it():
    other = b"\x99\x99\x99\x99\x99\x99"
    ice = [other if n % 6 == 0 else box(n, 0.1) for n in range(24)]
    boiling = [other if n % 6 == 0 else box(n, 99.9) for n in range(24)]
    assert two_point(ice, boiling, BOILING)[0].at == 2


def test_the_tolerance_is_kept():
    ice, boiling = [box(0, 2.5)], [box(1, 97.0)]
    assert not [c for c in two_point(ice, boiling, BOILING) if c.at == 2 and c.type == "sint16"]
    assert [c for c in two_point(ice, boiling, BOILING, tolerance_kelvin=4.0) if c.at == 2]


def experiment(generator):
    """Hide a temperature in ten random bytes, bathe it twice; return candidates, and whether the true one is there."""
    while True:
        scale, unit = generator.choice(SCALES), generator.choice((Unit.CELSIUS, Unit.FAHRENHEIT))
        endian, signed, at = generator.choice(("little", "big")), generator.random() < 0.5, generator.randrange(9)
        ground = bytearray(generator.randbytes(10))
        payloads = []
        for celsius in (generator.uniform(0.0, 0.5), BOILING - generator.uniform(0.0, 0.5)):
            raw = round(in_unit(celsius, unit) / scale.factor)
            if raw >= (32768 if signed else 65536):
                break
            ground[at : at + 2] = raw.to_bytes(2, endian)
            payloads.append(bytes(ground))
        else:
            break
    found = two_point([payloads[0]], [payloads[1]], BOILING)
    true = [c for c in found if c.scale.factor == scale.factor and c.unit is unit and abs(c.at - at) <= 1]
    return found, true


def test_two_baths_of_random_payloads_leave_one_or_two():
    generator = random.Random(20)
    runs = [experiment(generator) for _ in range(200)]
    assert all(true for _, true in runs), "the true one is always among them"
    counts = [len({(c.at, c.scale, c.unit) for c in found}) for found, _ in runs]
    assert statistics.median(counts) == 1
    assert max(counts) <= 5
