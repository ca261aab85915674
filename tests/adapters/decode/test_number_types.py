"""Number types against struct, against exact decimal arithmetic, and against their ends."""

import math
import struct
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.decode.number_types import SIZES, number_of, raw_bits
from adapters.errors import DecodeError

STRUCT = {
    "uint8": "B", "sint8": "b", "uint16": "H", "sint16": "h", "uint32": "I", "sint32": "i", "uint64": "Q",
    "sint64": "q", "float32": "f", "float64": "d",
}  # fmt: skip


@pytest.mark.parametrize("field_type", STRUCT)
@given(payload=st.binary(min_size=12, max_size=12), at=st.integers(0, 4), endian=st.sampled_from(["little", "big"]))
def test_what_struct_knows_reads_the_same(field_type, payload, at, endian):
    (expected,) = struct.unpack_from(("<" if endian == "little" else ">") + STRUCT[field_type], payload, at)
    number = number_of(raw_bits(payload, at, field_type, endian), field_type)
    assert number == float(expected) or (math.isnan(number) and not math.isfinite(expected))


@pytest.mark.parametrize(
    ("hex_bytes", "field_type", "number"),
    [
        ("ffffff", "uint24", 16777215),
        ("ffffff", "sint24", -1),
        ("000080", "sint24", -8388608),
        ("ffff7f", "sint24", 8388607),
        ("ffff", "uint12", 4095),
        ("00f8", "sint12", -2048),
        ("fff7", "sint12", 2047),
        ("0000000000ff", "sint48", -(1 << 40)),
        ("ff" * 16, "uint128", float(2**128 - 1)),
        ("ff" * 16, "sint128", -1),
    ],
)
def test_types_that_struct_does_not_know(hex_bytes, field_type, number):
    assert number_of(raw_bits(bytes.fromhex(hex_bytes), 0, field_type), field_type) == number


@pytest.mark.parametrize(("field_type", "mantissa_bits"), [("medfloat16", 12), ("medfloat32", 24)])
@given(bits=st.integers(0, 2**32 - 1))
def test_a_decimal_float_is_its_mantissa_times_a_power_of_ten_exactly_rounded(field_type, mantissa_bits, bits):
    width = 8 * SIZES[field_type]
    bits &= (1 << width) - 1
    half = 1 << (mantissa_bits - 1)
    mantissa, exponent = bits & (2 * half - 1), bits >> mantissa_bits
    mantissa -= 2 * half if mantissa >= half else 0
    exponent -= 1 << (width - mantissa_bits) if exponent >> (width - mantissa_bits - 1) else 0
    number = number_of(bits, field_type)
    if math.isnan(number):
        assert exponent == 0
        assert mantissa in (half - 1, half - 2, -half, 1 - half, 2 - half)
    else:
        assert number == float(Fraction(mantissa) * Fraction(10) ** exponent)


def test_the_greatest_exponents_are_finite():
    assert number_of(0x7F7FFFFF, "medfloat32") == 8388607e127
    assert number_of(0x807FFFFF, "medfloat32") == 8388607e-128


@pytest.mark.parametrize("field_type", SIZES)
def test_a_short_payload_says_what_was_found_and_needed(field_type):
    size = SIZES[field_type]
    with pytest.raises(DecodeError, match=f"{size + 1} bytes; a {field_type} at byte 2 needs {size + 2}"):
        raw_bits(bytes(size + 1), 2, field_type)
