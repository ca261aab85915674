"""A picture of up to 256 colours as a PNG file (W3C PNG, third edition, 2025); enough for a map, and no library."""

import struct
import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["encode_png"]

Rgb = tuple[int, int, int]


def encode_png(pixels: NDArray[np.uint8], palette: Sequence[Rgb]) -> bytes:
    """Write a picture.

    Args:
        pixels: index into the palette of each pixel, shape (rows, columns), from the top left.
        palette: the colours.

    Raises:
        ValueError: more than 256 colours, none, or an index beyond them.
    """
    if not 1 <= len(palette) <= 256 or pixels.size == 0 or int(pixels.max()) >= len(palette):
        raise ValueError("a picture has 1 to 256 colours and at least one pixel, each of one of them")
    rows, columns = pixels.shape
    lines = np.zeros((rows, columns + 1), dtype=np.uint8)  # each line begins with its filter: 0, none
    lines[:, 1:] = pixels
    return b"\x89PNG\r\n\x1a\n" + b"".join((
        _chunk(b"IHDR", struct.pack(">IIBBBBB", columns, rows, 8, 3, 0, 0, 0)),  # 8 bits, by palette, not interlaced
        _chunk(b"PLTE", bytes(channel for colour in palette for channel in colour)),
        _chunk(b"IDAT", zlib.compress(lines.tobytes(), 6)),
        _chunk(b"IEND", b""),
    ))  # fmt: skip


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
