"""SenML against its rules, against hostile bytes, and round trip."""

import contextlib

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.decode.senml import (
    MAX_BYTES,
    MAX_RECORDS,
    Resolver,
    decode_cbor,
    decode_json,
    encode_record,
    parse_line,
)
from adapters.errors import DecodeError

NOW = 1_790_000_000.0


@pytest.mark.parametrize(
    ("pack", "says"),
    [
        (b"", "truncated"),
        (b"{}", "array"),
        (b'[{"n":"a"}]', "record 1: no value"),
        (b'[{"n":"a","v":1},{"n":"b","t":3}]', "record 2: no value"),
        (b'[{"v":1}]', "no name"),
        (b'[{"n":"_a","v":1}]', "starts with a letter"),
        (b'[{"n":"a b","v":1}]', "'a b'"),
        (b'[{"n":"a\\n","v":1}]', "the name"),
        ('[{"n":"ä","v":1}]'.encode(), "the name"),
        (b'[{"n":"a","v":1,"vs":"x"}]', "more than one"),
        (b'[{"n":"a","v":1,"new_":2}]', "'new_'"),
        (b'[{"n":"a","v":1,"new\\u005f":2}]', "'new_'"),
        (b'[{"bver":11,"n":"a","v":1}]', "bver is 11"),
        (b'[{"bver":0,"n":"a","v":1}]', "bver is 0"),
        (b'[{"n":"a","v":NaN}]', "malformed"),
        (b'[{"n":"a","v":1e999}]', "out of range"),
        (b'[{"n":"a","v":' + b"9" * 400 + b"}]", "out of range"),
        (b'[{"n":"a","bv":1e308,"v":1e308}]', "v is inf"),
        (b'[{"bt":1e308,"n":"a","t":1e308,"v":1}]', "a time of inf s since 1970"),
        (b'[{"n":"a","v":"1"}]', "Expected"),
        (b'[{"n":"a","v":true}]', "Expected"),
        (b'[{"n":"a","v":1,"x":' + b"[" * 100_000 + b"]" * 100_000 + b"}]", "recursion"),
        (b"[" * 100_000, "Expected"),
        (b"\xff\xfe", "malformed"),
        (b" " * (MAX_BYTES + 1), "at most"),
        (b"[" + b",".join([b'{"n":"a","v":1}'] * (MAX_RECORDS + 1)) + b"]", "more than"),
    ],
)
def test_a_bad_pack_is_refused_and_says_why(pack, says):
    with pytest.raises(DecodeError, match=says):
        decode_json(pack, NOW)


def test_unknown_labels_are_ignored():
    (record,) = decode_json(b'[{"n":"a","v":1,"new":{"deep":[1,2]}}]', NOW)
    assert record.value == 1


def test_base_value_and_base_sum_are_added():
    first, second = decode_json(b'[{"bv":100,"bs":5,"n":"a","v":7.5,"s":1},{"n":"b","v":-1}]', NOW)
    assert (first.value, first.sum) == (107.5, 6.0)
    assert (second.value, second.sum) == (99.0, 5.0)


def test_a_sum_alone_needs_no_value():
    (record,) = decode_json(b'[{"n":"a","s":12}]', NOW)
    assert (record.value, record.sum) == (None, 12.0)


@pytest.mark.parametrize(
    ("base", "own", "expected"),
    [
        (0, 0, NOW),
        (0, -5, NOW - 5),
        (-10, 4, NOW - 6),
        (2**28, 0, 2**28),
        (2**28 - 1, 0, NOW + 2**28 - 1),
        (NOW, -5, NOW - 5),
    ],
)
def test_times_below_two_to_the_28_are_relative(base, own, expected):
    (record,) = decode_json(f'[{{"bt":{base},"n":"a","t":{own},"v":1}}]'.encode(), NOW)
    assert record.time_unix == expected


def test_a_stream_need_not_be_chronological():
    pack = decode_json(b'[{"bt":1790000000,"n":"a","t":5,"v":1},{"n":"b","t":1,"v":1}]', NOW)
    assert [r.time_unix - NOW for r in pack] == [5, 1]


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        (cbor2.dumps({0: "a", 2: 1}), "array of records"),
        (cbor2.dumps([1]), "record 1: found int"),
        (cbor2.dumps([{0: "a", 2: float("nan")}]), "v is nan"),
        (cbor2.dumps([{0: "a", 2: float("inf")}]), "v is inf"),
        (cbor2.dumps([{0: "a", 2: "x"}]), "Expected"),
        (cbor2.dumps([{0: "a", 2: 1, "q_": 1}]), "'q_'"),
        (cbor2.dumps([{0: "a", 2: 10**400}]), "record 1"),
        (cbor2.dumps([{0: "a", 2: 1}]) + b"\x00", "after its end"),
        (b"\x81" * 100_000, "not CBOR"),
        (b"\x9b" + b"\xff" * 8, "not CBOR"),
        (b"", "not CBOR"),
    ],
)
def test_bad_cbor_is_refused_and_says_why(entry, says):
    with pytest.raises(DecodeError, match=says):
        decode_cbor(entry, NOW)


def test_cbor_data_becomes_hexadecimal():
    (record,) = decode_cbor(cbor2.dumps([{0: "a", 8: b"\x01\xff"}]), NOW)
    assert record.value == "01ff"


@given(st.binary(max_size=200))
def test_any_bytes_decode_or_are_refused(payload):
    for decode in (decode_json, decode_cbor):
        try:
            decode(payload, NOW)
        except DecodeError:
            continue


plain = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=4),
    st.binary(max_size=4),
    st.decimals(),
    st.just([[]]),
)
labels = st.integers(-8, 10) | st.sampled_from(["n", "v", "bn", "t", "x", "y_", True, None])


@given(st.dictionaries(labels, plain, max_size=5))
def test_any_cbor_map_decodes_or_is_refused(entry):
    with contextlib.suppress(DecodeError):
        decode_cbor(cbor2.dumps([entry]), NOW)


names = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9\-:./_]{0,20}", fullmatch=True)
numbers = st.floats(allow_nan=False, allow_infinity=False, width=32)


@given(names, numbers, st.floats(0, 1e6), st.sampled_from([None, "Cel", "K", "[degF]"]))
def test_what_is_encoded_comes_back(name, value, seconds, unit):
    line = encode_record(name, value, seconds, unit=unit, base_unix=NOW, base_name="pit/", base_unit="Cel")
    (record,) = decode_json(b"[" + line + b"]", 0.0)
    assert (record.name, record.value, record.unit) == ("pit/" + name, value, unit or "Cel")
    assert record.time_unix == NOW + seconds


def test_what_json_cannot_say_is_not_encoded():
    with pytest.raises(DecodeError, match="finite"):
        encode_record("a", float("nan"), 0.0)


@pytest.mark.parametrize(
    "mark", [b"%b", b"[%b", b"[%b,", b"%b,\n", b",%b", b"%b]", b"[%b]\n", b"  %b , \r\n", b"[ %b ]"]
)
@pytest.mark.parametrize("count", [1, 2])
def test_the_marks_of_the_array_may_fall_anywhere_on_a_line(mark, count):
    one = b'{"n":"a","v":1}'
    assert len(parse_line(mark % b",".join([one] * count))) == count


@pytest.mark.parametrize("line", [b"", b"\n", b"[", b"]", b"[]", b",", b"],\n"])
def test_a_line_of_marks_holds_nothing(line):
    assert parse_line(line) == []


@pytest.mark.parametrize("line", [b'{"n":"a","v":', b"{", b'{"n":"a"}}', b'[[{"n":"a"}]]', b"hello"])
def test_a_spoilt_line_is_refused(line):
    with pytest.raises(DecodeError, match="SensML line"):
        parse_line(line)


def test_base_fields_persist_from_line_to_line():
    resolver = Resolver()
    lines = [
        b'[{"bn":"pit/","bt":1790000000,"bu":"Cel","n":"a","v":1},',
        b'{"n":"b","t":2,"v":2},',
        b'{"bt":1790000100,"n":"a","v":3}]',
    ]
    records = [resolver.resolve(record, 0.0) for line in lines for record in parse_line(line)]
    assert [(r.name, r.time_unix - NOW, r.unit) for r in records] == [
        ("pit/a", 0, "Cel"),
        ("pit/b", 2, "Cel"),
        ("pit/a", 100, "Cel"),
    ]
