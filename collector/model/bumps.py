"""The patches of a level added up: at probes, over zones, anywhere on the map, with how unsure they are."""

from collections.abc import Sequence

import msgspec
import numpy as np

from collector.model.field import Array
from collector.snapshot import PatchView

__all__ = ["Bumps", "on_grid", "spread_of", "summed"]

OFF_SHARE = 0.25
"""A patch is off by so much of itself, one standard deviation: its shape is only a guess."""


class Bumps(msgspec.Struct, frozen=True):
    """Mean and standard deviation of what the patches add, kelvin, one for each place."""

    mean_kelvin: Array
    sd_kelvin: Array


def spread_of(patches: Sequence[PatchView], x_m: Array, y_m: Array) -> Array:
    """Give what each patch does at places, were it there for sure, shape (patches, *places), kelvin."""
    sizes = [
        p.kelvin * np.exp(-0.5 * (((x_m - p.x_m) / p.reach_x_m) ** 2 + ((y_m - p.y_m) / p.reach_y_m) ** 2))
        for p in patches
    ]
    return np.array(sizes).reshape(len(patches), *np.broadcast(x_m, y_m).shape)


def on_grid(patches: Sequence[PatchView], x_m: Array, y_m: Array) -> Bumps:
    """Draw the patches on a grid, shape (h, w), from centres of columns (w,) and rows (h,), metres."""
    each = spread_of(patches, x_m[None, :], y_m[:, None])
    return summed(patches, each)


def summed(patches: Sequence[PatchView], each: Array) -> Bumps:
    """Add up what each patch does, shape (patches, ...), by how likely it is; what is left over is no patch at all."""
    share = np.array([p.share for p in patches])
    if not len(share):
        nothing = np.zeros(each.shape[1:])
        return Bumps(nothing, nothing)
    mean = np.tensordot(share, each, axes=1)
    square = np.tensordot(share, (1.0 + OFF_SHARE**2) * each**2, axes=1)
    return Bumps(mean, np.sqrt(np.maximum(square - mean**2, 0.0)))
