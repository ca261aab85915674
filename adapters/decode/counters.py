"""Find bytes that count: a sender's own number of the packet, which rises by the same step and begins again."""

import itertools
from collections import Counter
from collections.abc import Sequence

import msgspec

__all__ = ["CountingByte", "find_counters"]

LEAST_STEPS = 8
"""Fewer equal steps in a row may be chance, or a probe that warms steadily."""
MOST_MISSED = 16
"""Packets that may have been missed between two heard ones."""
USUAL = 0.75
"""Share of the steps that must be the step itself, the rest being packets missed."""


class CountingByte(msgspec.Struct, frozen=True):
    """A counter."""

    at: int
    size: int
    """Bytes: 1, 2 or 4."""
    endian: str
    """`little` or `big`."""
    step: int
    """By how much it rises from one packet to the next, modulo its size."""


def find_counters(payloads: Sequence[bytes]) -> list[CountingByte]:
    """Find the counters in payloads of one length, oldest first; a repeated payload counts once."""
    heard = [p for p, before in zip(payloads, [b"", *payloads], strict=False) if p != before]
    if len(heard) <= LEAST_STEPS:
        return []
    found: list[CountingByte] = []
    for at in range(len(heard[0])):
        step = _step([p[at] for p in heard], 256)
        if step and not any(c.at <= at < c.at + c.size for c in found):
            found.append(_widest(heard, at, step))
    return found


def _step(numbers: list[int], modulus: int) -> int | None:
    """Give the constant step of numbers that count; None when they do not."""
    steps = [(b - a) % modulus for a, b in itertools.pairwise(numbers)]
    step, often = Counter(steps).most_common(1)[0]
    if step == 0 or often < USUAL * len(steps) or often < LEAST_STEPS:
        return None
    missed = {step * k % modulus for k in range(1, MOST_MISSED + 1)}
    return step if set(steps) <= missed else None


def _widest(heard: list[bytes], at: int, step: int) -> CountingByte:
    """Widen a counting byte to the number it is the low end of, where its carry was seen."""
    for size in (4, 2):
        for start, endian in ((at, "little"), (at - size + 1, "big")):
            if start < 0 or start + size > len(heard[0]):
                continue
            high = start + size // 2 if endian == "little" else start
            carried = any(p[high : high + size // 2] != heard[0][high : high + size // 2] for p in heard)
            numbers = [int.from_bytes(p[start : start + size], "big" if endian == "big" else "little") for p in heard]
            whole = _step(numbers, 256**size) if carried else None
            if whole:
                return CountingByte(start, size, endian, whole)
    return CountingByte(at, 1, "little", step)
