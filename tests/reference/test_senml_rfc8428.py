"""Packs printed in RFC 8428 and their resolved forms.

Source: RFC 8428 sections 4, 5.1.1-5.1.6 and 6; flag S: seen in the document. The resolved form of 5.1.6 and the
values of the section 6 dump follow from the rules of section 4 (computed, C).
"""

import json

import pytest

from adapters.decode.senml import decode_cbor, decode_json

NOW = 1_790_000_000.0

SECTION_5_1_3 = [
    {"bn": "urn:dev:ow:10e2073a01080063", "bt": 1320067464.0, "bu": "%RH", "v": 20},
    {"u": "lon", "v": 24.30621},
    {"u": "lat", "v": 60.07965},
    {"t": 60, "v": 20.3},
    {"u": "%EL", "t": 150, "v": 98},
]
SECTION_5_1_4 = [
    {"n": "urn:dev:ow:10e2073a01080063", "u": "%RH", "t": 1320067464.0, "v": 20},
    {"n": "urn:dev:ow:10e2073a01080063", "u": "lon", "t": 1320067464.0, "v": 24.30621},
    {"n": "urn:dev:ow:10e2073a01080063", "u": "lat", "t": 1320067464.0, "v": 60.07965},
    {"n": "urn:dev:ow:10e2073a01080063", "u": "%RH", "t": 1320067524.0, "v": 20.3},
    {"n": "urn:dev:ow:10e2073a01080063", "u": "%EL", "t": 1320067614.0, "v": 98},
]
SECTION_5_1_6 = [
    {"bn": "2001:db8::2/", "bt": 1320078429.0, "n": "temperature", "u": "Cel", "v": 25.2},
    {"n": "humidity", "u": "%RH", "v": 30},
    {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
    {"n": "humidity", "u": "%RH", "v": 67},
]
SECTION_5_1_6_RESOLVED = [
    {"n": "2001:db8::2/temperature", "u": "Cel", "t": 1320078429.0, "v": 25.2},
    {"n": "2001:db8::2/humidity", "u": "%RH", "t": 1320078429.0, "v": 30},
    {"n": "2001:db8::1/temperature", "u": "Cel", "t": 1320078429.0, "v": 12.3},
    {"n": "2001:db8::1/humidity", "u": "%RH", "t": 1320078429.0, "v": 67},
]
SECTION_5_1_2 = [
    {
        "bn": "urn:dev:ow:10e2073a0108006:",
        "bt": 1276020076.001,
        "bu": "A",
        "bver": 5,
        "n": "voltage",
        "u": "V",
        "v": 120.1,
    },
    {"n": "current", "t": -5, "v": 1.2},
    {"n": "current", "v": 1.7},
]
SECTION_5_1_2_RESOLVED = [
    {"n": "urn:dev:ow:10e2073a0108006:voltage", "u": "V", "t": 1276020076.001, "v": 120.1},
    {"n": "urn:dev:ow:10e2073a0108006:current", "u": "A", "t": 1276020071.001, "v": 1.2},
    {"n": "urn:dev:ow:10e2073a0108006:current", "u": "A", "t": 1276020076.001, "v": 1.7},
]
SECTION_6_HEX = (
    "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b00106223614120050067766f"
    "6c7461676501615602fb405e066666666666a3006763757272656e74062402fb3ff3333333333333a3006763757272656e7406"
    "2302fb3ff4cccccccccccda3006763757272656e74062202fb3ff6666666666666a3006763757272656e74062102f93e00a300"
    "6763757272656e74062002fb3ff999999999999aa3006763757272656e74060002fb3ffb333333333333"
)


@pytest.mark.parametrize(
    ("pack", "resolved"),
    [
        pytest.param(SECTION_5_1_3, SECTION_5_1_4, id="5.1.3"),
        pytest.param(SECTION_5_1_6, SECTION_5_1_6_RESOLVED, id="5.1.6"),
        pytest.param(SECTION_5_1_2, SECTION_5_1_2_RESOLVED, id="5.1.2"),
        pytest.param(SECTION_5_1_4, SECTION_5_1_4, id="resolved is its own resolved form"),
    ],
)
def test_a_printed_pack_resolves(pack, resolved):
    found = decode_json(json.dumps(pack).encode(), NOW)
    assert [{"n": r.name, "u": r.unit, "t": r.time_unix, "v": r.value} for r in found] == [
        {**row, "t": pytest.approx(row["t"], abs=1e-6)} for row in resolved
    ]


def test_a_record_without_a_time_is_now():
    (record,) = decode_json(b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]', NOW)
    assert record.time_unix == NOW


def test_milliseconds_of_a_printed_time_are_kept():
    (record,) = decode_json(b'[{"n":"a","t":1.276020076001e+09,"v":1}]', NOW)
    assert round(record.time_unix % 1.0, 3) == 0.001


def test_the_four_types_of_5_1_5():
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfv-reader", "vd": "aGkgCg"},
    ]
    assert [r.value for r in decode_json(json.dumps(pack).encode(), NOW)] == [23.1, "Machine Room", False, "aGkgCg"]


def test_the_cbor_dump_of_section_6():
    found = decode_cbor(bytes.fromhex(SECTION_6_HEX), NOW)
    assert [r.value for r in found] == [120.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert [round(r.time_unix - 1276020076.001, 3) for r in found] == [0, -5, -4, -3, -2, -1, 0]
    assert {r.unit for r in found} == {"V", "A"}
