"""The last hours of every probe on an even time grid, in a ring: what slopes, swings and stuck probes are read from."""

import numpy as np

from collector.model.field import Array

__all__ = ["Ring"]


class Ring:
    """A matrix of the newest `columns` looks, shape (rows, columns), oldest first when read.

    Written twice, half a ring apart, so that a window is one slice and never a copy.
    """

    def __init__(self, rows: int, columns: int) -> None:
        self.columns = columns
        self.filled = 0
        self._at = 0
        self._values: Array = np.full((rows, 2 * columns), np.nan)

    def push(self, values: Array) -> None:
        """Add a look, shape (rows,)."""
        self._values[:, self._at] = values
        self._values[:, self._at + self.columns] = values
        self._at = (self._at + 1) % self.columns
        self.filled = min(self.filled + 1, self.columns)

    def change(self, row: int, gain: float, offset: float) -> None:
        """Read a row's past otherwise: value times gain plus offset."""
        self._values[row] = gain * self._values[row] + offset

    def last(self, columns: int) -> Array:
        """View the newest looks, shape (rows, at most columns), newest last."""
        columns = min(columns, self.filled)
        end = self._at + self.columns
        return self._values[:, end - columns : end]
