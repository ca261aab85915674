"""An hour of readings as one compressed chunk: what it takes on disk is little more than what it says. Pure.

Rows are put series by series, and each column is written as small whole numbers, byte by byte: the lowest byte of all,
then the next, as many as the greatest needs; then everything goes through zlib. Times are what they differ by from an
even pace, or from one reading to the next where that is smaller; values the steps from one to the next, in the
greatest unit that divides them all. The receipts of messages are left out: a broker sends again what was not
acknowledged while a cook is on, never what ended before.

The layout, little-endian, inside zlib (RFC 1950):

- u32 rows, u32 series; then for each series u32 number, u32 rows, u8 paced, i64 first millisecond, i64 pace, u32 unit;
- columns, each u8 k and k times `rows` bytes (lowest bytes first): times, places within the millisecond, flags, whether
  there is a value (0 or 1), steps of the value, whether there is an own time, own times.

Times and steps and own times are zigzag: 0, -1, 1, -2 are 0, 1, 2, 3. Row j of a series that is paced was at
first + (j x pace) div max(rows - 1, 1) + time, of another at the time before (first for the first) + pace + time.
DEVELOPERS.md holds twenty lines of plain Python that read it; a test runs them.
"""

import itertools
import struct
import zlib
from collections.abc import Sequence
from typing import Self

import msgspec
import numpy as np
from numpy.typing import NDArray

from collector.store.row import Row
from collector.store.schema import SEQUENCE_BITS

__all__ = ["Chunk", "Columns", "decode", "encode", "joined", "rows_of"]

Ints = NDArray[np.int64]
Narrow = NDArray[np.unsignedinteger]
"""As few bytes a number as it needs."""
LEVEL = 9
_HEAD = struct.Struct("<II")
_SERIES = struct.Struct("<IIBqqI")


class Columns(msgspec.Struct, frozen=True):
    """Readings as arrays of one length, series by series, each in order of time."""

    ordinal: Ints
    series: Ints
    millicelsius: Ints
    """Where `valued`."""
    valued: NDArray[np.bool_]
    flags: Ints
    own_ms: Ints
    """The probe's own time less the ordinal's, where `own_timed`."""
    own_timed: NDArray[np.bool_]

    def sizes(self) -> list[tuple[int, int]]:
        """List the series, each with how many rows it has."""
        starts = np.flatnonzero(np.diff(self.series, prepend=-1)).tolist()
        ends = [*starts, len(self.series)][1:]
        return [(int(self.series[start]), end - start) for start, end in zip(starts, ends, strict=True)]

    def put(self, into: Self, places: Sequence[int]) -> None:
        """Put the rows into arrays, those of each series from a place of its own on."""
        start = 0
        for (_, length), to in zip(self.sizes(), places, strict=True):
            for name in Columns.__struct_fields__:
                getattr(into, name)[to : to + length] = getattr(self, name)[start : start + length]
            start += length


def encode(rows: Sequence[Row]) -> bytes:
    """Write rows, at least one, in the order of their ordinals, as a chunk."""
    number = np.array([row[1] for row in rows], dtype=np.int64)
    order = np.argsort(number, kind="stable")
    ordinal = np.array([row[0] for row in rows], dtype=np.int64)[order]
    number = number[order]
    ms, place = ordinal >> SEQUENCE_BITS, ordinal & ((1 << SEQUENCE_BITS) - 1)
    values, valued = _filled([row[2] for row in rows], order)
    flags = np.array([row[3] for row in rows], dtype=np.int64)[order]
    own, own_timed = _filled([row[4] for row in rows], order)
    starts = np.flatnonzero(np.diff(number, prepend=-1))
    ends = np.append(starts[1:], len(rows))
    times, steps = np.empty(len(rows), dtype=np.int64), np.empty(len(rows), dtype=np.int64)
    heads = []
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        here = slice(start, end)
        paced, pace, times[here] = _times(ms[here])
        unit, steps[here] = _steps(values[here], valued[here])
        heads.append(_SERIES.pack(int(number[start]), end - start, paced, int(ms[start]), pace, unit))
    columns = (_zigzag(times), place, flags, valued, _zigzag(steps), own_timed, _zigzag(own))
    body = b"".join([_HEAD.pack(len(rows), len(heads)), *heads, *(_planes(column) for column in columns)])
    return zlib.compress(body, LEVEL)


class Chunk(msgspec.Struct, frozen=True):
    """A chunk that was inflated; its numbers are as narrow as they were written until they are put where they go."""

    rows: int
    heads: tuple[tuple[int, int, int, int, int, int], ...]
    """Of each series number, rows, whether it is paced, first millisecond, pace, unit."""
    columns: tuple[Narrow, ...]

    @classmethod
    def of(cls, chunk: bytes) -> Self:
        """Inflate one.

        Raises:
            ValueError: it is damaged.
        """
        try:
            body = zlib.decompress(chunk)
            rows, count = _HEAD.unpack_from(body)
            heads = tuple(_SERIES.unpack_from(body, _HEAD.size + k * _SERIES.size) for k in range(count))
            at = _HEAD.size + count * _SERIES.size
            columns = []
            for _ in range(7):
                column, at = _column(body, at, rows)
                columns.append(column)
        except (zlib.error, struct.error) as error:
            raise ValueError(f"the chunk cannot be read: {error}") from error
        if at != len(body) or sum(head[1] for head in heads) != rows:
            raise ValueError("the chunk does not end where it should")
        return cls(rows, heads, tuple(columns))

    def sizes(self) -> list[tuple[int, int]]:
        """List the series, each with how many rows it has."""
        return [(head[0], head[1]) for head in self.heads]

    def put(self, into: Columns, places: Sequence[int]) -> None:
        """Put the rows into arrays of zeros, those of each series from a place of its own on."""
        place, flags, valued, own_timed = (self.columns[k] for k in (1, 2, 3, 5))
        times, steps, own = (_unzigzag(self.columns[k]) for k in (0, 4, 6))
        start, timed = 0, own_timed.any()
        for (number, length, paced, first, pace, unit), to in zip(self.heads, places, strict=True):
            here, there = slice(start, start + length), slice(to, to + length)
            ms, value = into.ordinal[there], into.millicelsius[there]
            if paced:
                np.add(_paced(first, pace, length), times[here], out=ms)
            elif length:
                np.add(times[here], np.int64(pace), out=ms)
                ms[0] += first - pace
                np.cumsum(ms, out=ms)
            ms <<= SEQUENCE_BITS
            if place[here].any():
                ms |= place[here].astype(np.int64)
            value[:] = steps[here]
            np.cumsum(value, out=value)
            value *= unit
            into.series[there] = number
            into.valued[there] = valued[here]
            into.flags[there] = flags[here]
            if timed:
                into.own_ms[there] = own[here]
                into.own_timed[there] = own_timed[here]
            start += length


def decode(chunk: bytes) -> Columns:
    """Read a chunk.

    Raises:
        ValueError: it is damaged.
    """
    return joined([Chunk.of(chunk)])


def joined(parts: Sequence[Chunk | Columns]) -> Columns:
    """Put parts, each series by series and later than the one before it, together in the same way."""
    sizes = [part.sizes() for part in parts]
    free: dict[int, int] = dict.fromkeys(sorted({number for size in sizes for number, _ in size}), 0)
    for number, length in itertools.chain(*sizes):
        free[number] += length
    rows = 0
    for number, length in free.items():
        free[number], rows = rows, rows + length
    ordinal, series, millicelsius, flags, own_ms = np.zeros((5, rows), dtype=np.int64)
    valued, own_timed = np.zeros((2, rows), dtype=np.bool_)
    found = Columns(ordinal, series, millicelsius, valued, flags, own_ms, own_timed)
    for part, size in zip(parts, sizes, strict=True):
        places = []
        for number, length in size:
            places.append(free[number])
            free[number] += length
        part.put(found, places)
    return found


def rows_of(chunk: bytes) -> list[Row]:
    """Read a chunk as rows in the order of their ordinals.

    Raises:
        ValueError: it is damaged.
    """
    c = decode(chunk)
    order = np.argsort(c.ordinal, kind="stable")
    values = _or_none(c.millicelsius[order], c.valued[order])
    own = _or_none(c.own_ms[order], c.own_timed[order])
    return list(
        zip(c.ordinal[order].tolist(), c.series[order].tolist(), values, c.flags[order].tolist(), own,
            [None] * len(order), strict=True)
    )  # fmt: skip


def _filled(column: Sequence[int | None], order: NDArray[np.intp]) -> tuple[Ints, NDArray[np.bool_]]:
    """Put nothing into an array as 0, and say where there was something."""
    there = np.array([value is not None for value in column], dtype=np.bool_)[order]
    return np.array([value or 0 for value in column], dtype=np.int64)[order], there


def _or_none(values: Ints, there: NDArray[np.bool_]) -> list[int | None]:
    found: list[int | None] = values.tolist()
    for k in np.flatnonzero(~there).tolist():
        found[k] = None
    return found


def _times(ms: Ints) -> tuple[int, int, Ints]:
    """Give whether an even pace tells more of the times of a series, the pace, and what they differ by."""
    span, last = int(ms[-1] - ms[0]), max(len(ms) - 1, 1)
    paced = ms - ms[0] - np.arange(len(ms)) * span // last
    gaps = np.diff(ms, prepend=ms[0])
    usual = int(np.median(gaps[1:])) if len(ms) > 1 else 0
    gaps[1:] -= usual
    if _bits(paced) <= _bits(gaps):
        return 1, span, paced
    return 0, usual, gaps


def _paced(first: int, pace: int, length: int) -> Ints:
    """Give the times of a series at an even pace: the last is `pace` after the first."""
    return first + np.arange(length) * pace // max(length - 1, 1)


def _bits(numbers: Ints) -> float:
    return float(np.log2(np.abs(numbers) + 1.0).sum())


def _steps(values: Ints, valued: NDArray[np.bool_]) -> tuple[int, Ints]:
    """Give the unit of the values of a series, and their steps in it; where there is no value, there is no step."""
    unit = int(np.gcd.reduce(np.abs(values[valued]))) if valued.any() else 1
    unit = unit if 0 < unit < 1 << 32 else 1
    last = np.maximum.accumulate(np.where(valued, np.arange(len(values)), -1))
    kept = np.where(last >= 0, values[last], 0)
    return unit, np.diff(kept, prepend=0) // unit


def _zigzag(numbers: Ints) -> Ints:
    return (numbers << 1) ^ (numbers >> 63)


def _unzigzag(numbers: Narrow) -> NDArray[np.signedinteger]:
    signs = numbers & 1
    np.negative(signs, out=signs)  # all ones where it is odd
    signs ^= numbers >> 1
    return signs.view(f"i{numbers.itemsize}")


def _planes(column: NDArray[np.int64] | NDArray[np.bool_]) -> bytes:
    """Write numbers, none below zero, byte by byte: the lowest of all first."""
    whole = column.astype("<u8")
    most = int(whole.max(initial=0))
    count = (most.bit_length() + 7) // 8
    planes = whole.view(np.uint8).reshape(-1, 8).T[:count]
    return bytes([count]) + np.ascontiguousarray(planes).tobytes()


def _column(body: bytes, at: int, rows: int) -> tuple[Narrow, int]:
    count = body[at] if at < len(body) else 9
    end = at + 1 + count * rows
    if count > 8 or end > len(body):
        raise ValueError("the chunk is cut short")
    planes = np.frombuffer(body, np.uint8, count * rows, at + 1).reshape(count, rows)
    if count == 1:
        return planes[0], end
    whole = np.zeros(rows, dtype=f"u{1 << max(count - 1, 0).bit_length()}")
    for k, plane in enumerate(planes):
        whole |= plane.astype(whole.dtype) << (8 * k)
    return whole, end
