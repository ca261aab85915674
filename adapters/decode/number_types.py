"""The number types of the GATT Specification Supplement: unsigned bits in a payload, and the number they mean.

Integers of 8 to 128 bits, IEEE 754 floats, and the decimal floats of IEEE 11073-20601: medfloat16 (SFLOAT, a 12-bit
mantissa and a 4-bit exponent to base 10) and medfloat32 (FLOAT, 24 and 8 bits), both in two's complement.
"""

import math
import struct

from adapters.errors import DecodeError

__all__ = ["FLOATS", "SIZES", "number_of", "raw_bits"]

_INTEGER_BITS = (8, 12, 16, 24, 32, 48, 64, 128)
_UNSIGNED = {f"uint{bits}": bits for bits in _INTEGER_BITS}
_SIGNED = {f"sint{bits}": bits for bits in _INTEGER_BITS}
FLOATS = {"float32": 4, "float64": 8, "medfloat16": 2, "medfloat32": 4}
"""Bytes of each type that carries its own exponent."""

SIZES: dict[str, int] = {name: (bits + 7) // 8 for name, bits in (_UNSIGNED | _SIGNED).items()} | FLOATS
"""Bytes of each type. A 12-bit integer fills two, its upper four bits ignored (Core 5.4, vol 3, part G, 3.3.3.5.2)."""

_MEDFLOAT = {"medfloat16": 12, "medfloat32": 24}
"""Bits of the mantissa."""


def raw_bits(payload: bytes, at: int, field_type: str, endian: str = "little") -> int:
    """Read the bits of one number as an unsigned integer.

    Args:
        payload: the bytes.
        at: position of the first byte.
        field_type: one of `SIZES`.
        endian: `little` or `big`.

    Raises:
        DecodeError: the payload ends before the number does.
    """
    end = at + SIZES[field_type]
    if len(payload) < end:
        raise DecodeError(f"{len(payload)} bytes; a {field_type} at byte {at} needs {end}")
    return int.from_bytes(payload[at:end], "big" if endian == "big" else "little")


def number_of(bits: int, field_type: str) -> float:
    """Turn the bits of a number into it.

    Args:
        bits: unsigned, as `raw_bits` gives them; what exceeds the type is ignored.
        field_type: one of `SIZES`.

    Returns:
        The number; NaN for what is none: NaN, NRes, infinities and reserved codes.
    """
    if (width := _SIGNED.get(field_type)) is not None:
        return float(_signed(bits, width))
    if (width := _UNSIGNED.get(field_type)) is not None:
        return float(bits & ((1 << width) - 1))
    if (mantissa_bits := _MEDFLOAT.get(field_type)) is not None:
        return _medfloat(bits, mantissa_bits, 8 * FLOATS[field_type])
    size = FLOATS[field_type]
    (number,) = struct.unpack("<f" if size == 4 else "<d", (bits & ((1 << 8 * size) - 1)).to_bytes(size, "little"))
    return float(number) if math.isfinite(number) else math.nan


def _signed(bits: int, width: int) -> int:
    half = 1 << (width - 1)
    return ((bits + half) & ((1 << width) - 1)) - half


def _medfloat(bits: int, mantissa_bits: int, width: int) -> float:
    """Return mantissa × 10^exponent, correctly rounded; NaN for the five codes with exponent 0 that are no number.

    With n bits of mantissa they are ±(2^(n-1) - 2), infinities; 2^(n-1) - 1, NaN; -2^(n-1), not at this resolution
    (NRes); -(2^(n-1) - 1), reserved (IEEE 11073-20601, annex F.7 and F.8).
    """
    mantissa = _signed(bits, mantissa_bits)
    exponent = _signed(bits >> mantissa_bits, width - mantissa_bits)
    if exponent == 0 and abs(mantissa) >= (1 << (mantissa_bits - 1)) - 2:
        return math.nan
    return float(mantissa * 10**exponent) if exponent >= 0 else mantissa / 10**-exponent
