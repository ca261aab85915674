"""The solved field of a level on a raster of pixels, with what it knows and what it does not."""

import numpy as np
from numpy.typing import NDArray

from collector.model.bumps import Bumps, on_grid
from collector.model.chamber import model_of
from collector.model.field import Grid
from collector.snapshot import ChamberView, FieldView, PatchView

__all__ = ["Raster"]

Array = NDArray[np.float64]


class Raster:
    """Draws the mean of a field; what depends on places and size only is kept from frame to frame."""

    def __init__(self) -> None:
        self._built_for: tuple[object, ...] | None = None
        self._grid: Grid | None = None
        self._sd: Array = np.zeros((0, 0))
        self._patches: tuple[PatchView, ...] = ()
        self._bumps = Bumps(self._sd, self._sd)

    def draw(self, field: FieldView, chamber: ChamberView, columns: int, rows: int) -> tuple[Array, Array]:
        """Give mean (degrees Celsius) and standard deviation (kelvin), both of shape (rows, columns).

        Column 0 lies at the left as the cook sees the pit, row 0 at the back.
        """
        built_for = (
            field.x_m, field.y_m, field.levels, field.noise_kelvin, field.sigma_kelvin, field.length_x_m,
            field.length_y_m, field.level_correlation, field.rough_kelvin, field.firebox_kelvin, field.drawn,
            chamber.length_m, chamber.width_m, chamber.fire_side, columns, rows,
        )  # fmt: skip
        if self._grid is None or built_for != self._built_for:
            model = model_of(field, chamber)
            x_m = (np.arange(columns) + 0.5) / columns * chamber.length_m
            y_m = (np.arange(rows) + 0.5) / rows * chamber.width_m
            self._grid = Grid(model, x_m if chamber.fire_side == "left" else x_m[::-1], y_m, field.drawn)
            self._sd = self._grid.sd()
            self._built_for = built_for
            self._patches, self._bumps = (), Bumps(np.zeros((rows, columns)), np.zeros((rows, columns)))
        if field.patches != self._patches:
            self._patches = field.patches
            self._bumps = on_grid(field.patches, self._grid.x_m, self._grid.y_m)
        mean = self._grid.mean(np.array(field.celsius)) + self._bumps.mean_kelvin
        return mean, np.hypot(self._sd, self._bumps.sd_kelvin)
