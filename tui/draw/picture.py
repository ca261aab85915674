"""A rectangle of character cells with a colour number for ink and paper each."""

import msgspec
import numpy as np
from numpy.typing import NDArray

from adapters.text import printable

__all__ = ["FAINT", "PLAIN", "STRONG", "Canvas", "Picture"]

PLAIN = -1
"""The ink or paper of the widget."""
FAINT = -2
STRONG = -3

Numbers = NDArray[np.int16]


class Picture(msgspec.Struct, frozen=True):
    """What a widget copies to the screen."""

    text: tuple[str, ...]
    """One string a row, all of one length."""
    ink: Numbers
    """Colour of each character, shape (rows, columns): a step of the scale, or one of the roles below zero."""
    paper: Numbers
    """Colour behind each character, the same."""


class Canvas:
    """A picture in the making.

    Args:
        width: columns, at least 1.
        height: rows, at least 1.
    """

    def __init__(self, width: int, height: int) -> None:
        self.width = width
        self.height = height
        self.glyph: NDArray[np.str_] = np.full((height, width), " ", dtype="<U1")
        self.ink: Numbers = np.full((height, width), PLAIN, dtype=np.int16)
        self.paper: Numbers = np.full((height, width), PLAIN, dtype=np.int16)

    def write(self, row: int, column: int, text: str, ink: int = PLAIN, paper: int = PLAIN) -> None:
        """Write a text from a cell to the right; what falls outside is cut."""
        if not 0 <= row < self.height:
            return
        text = printable(text).replace("\n", " ").replace("\t", " ")  # a cell each
        first = max(0, -column)
        text = text[first : max(first, self.width - column)]
        if not text:
            return
        span = slice(column + first, column + first + len(text))
        self.glyph[row, span] = list(text)
        self.ink[row, span] = ink
        self.paper[row, span] = paper

    def picture(self) -> Picture:
        """Finish."""
        return Picture(tuple("".join(row) for row in self.glyph.tolist()), self.ink, self.paper)
