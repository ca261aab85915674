"""What a change of the chamber's pattern looks like: a patch around some middle, felt the less the further off.

Given how far each probe of a level stands from its usual (`collector.model.pattern`), a patch of unknown size is
fitted at every place and reach of a coarse grid, beside what all probes share; nothing but the shared part is weighed
with them. Size and shared part come from weighted least squares; residuals are judged by Student's t, which forgives a
probe that strays; the evidence is the likelihood at the fit times Occam's factor (MacKay, *Information Theory,
Inference, and Learning Algorithms*, ch. 28). No patch has just the shape it is given here, so where one says much is
changed it may be off by a share of that.
"""

import math

import msgspec
import numpy as np

from collector.model.field import Array

__all__ = ["Changed", "Patch", "Patches"]

SIZES = ((0.12, 0.35), (0.18, 0.60), (0.30, 1.00))
"""Reach of a patch along and across, as shares of length and width, one standard deviation: a leak, a blocked baffle
or a gust takes a hand's breadth and more (common practice, no source)."""
COLUMNS, ROWS = 12, 4
MISFIT_SHARE = 0.35
SIZE_SD_KELVIN = 12.0
LOG_COLD, LOG_HOT = np.log([1.85, 0.15]).tolist()
"""Cold air leaks in more often than a place grows hot by itself (common practice, no source)."""
FREEDOM = 5.0
"""Degrees of freedom of Student's t."""
LOG_PRIOR_NOTHING, LOG_PRIOR_PATCH = np.log([0.85, 0.15]).tolist()

KEPT = 12
LEAST_SHARE = 0.01


class Patch(msgspec.Struct, frozen=True):
    """One place that may have changed, lengths as shares of length and width."""

    x: float
    y: float
    along: float
    across: float
    kelvin: float
    share: float
    """How likely it is, 0 to 1."""


class Changed(msgspec.Struct, frozen=True):
    """What has changed on a level."""

    shared_kelvin: float
    """How far a probe stands from its usual where no patch is: what their mean moved by, for the patch's sake."""
    patches: tuple[Patch, ...]


class Patches:
    """All patches as they are felt by one set of probes.

    Args:
        x_share: places along the pit as shares of its length, shape (n,).
        y_share: places across it as shares of its width, shape (n,).
    """

    def __init__(self, x_share: Array, y_share: Array) -> None:
        middles: list[tuple[float, float, float, float]] = [
            (float(x), float(y), along, across)
            for along, across in SIZES
            for x in (np.arange(COLUMNS) + 0.5) / COLUMNS
            for y in (np.arange(ROWS) + 0.5) / ROWS
        ]
        self._middles = middles
        self.probes = x_share.size
        nothing = np.zeros(self.probes)
        self._shapes: Array = np.column_stack([nothing, *(_felt(x_share, y_share, m) for m in middles)])
        self._log_prior: Array = np.full(1 + len(middles), LOG_PRIOR_PATCH - math.log(len(middles)))
        self._log_prior[0] = LOG_PRIOR_NOTHING

    def explain(self, change_kelvin: Array, told: Array, wander_kelvin: float) -> tuple[Array, Array]:
        """Explain the changes, shape (n,), of the probes that are told: 1 or 0, shape (cases, n).

        Returns:
            Log evidence of nothing or a patch, shape (cases,), and what the best of these expects of every probe, told
            or not, shape (cases, n), kelvin.
        """
        shapes = self._shapes[:, None, :]
        log, size, shared = _fitted(shapes, change_kelvin[:, None, None], told.T[:, :, None], wander_kelvin)
        log += self._log_prior
        case, best = np.arange(len(told)), np.argmax(log, axis=1)
        top = log[case, best]
        said = shared[case, best] + size[case, best] * self._shapes[:, best]
        return top + np.log(np.exp(log - top[:, None]).sum(axis=1)), said.T

    def likely(self, change_kelvin: Array, wander_kelvin: float) -> "Changed":
        """Give what most likely has changed, the few best explanations of the changes, shape (n,)."""
        log, size, shared = _fitted(self._shapes, change_kelvin[:, None], np.ones_like(self._shapes), wander_kelvin)
        log += self._log_prior
        best = np.argsort(log)[::-1][:KEPT]
        share = np.exp(log[best] - log[best[0]])
        share /= share.sum()
        patches: list[Patch] = []
        for k, w in zip(best.tolist(), share.tolist(), strict=True):
            if k > 0 and w > LEAST_SHARE:
                x, y, along, across = self._middles[k - 1]
                patches.append(Patch(x, y, along, across, float(size[k]), float(w)))
        return Changed(float(share @ shared[best]), tuple(patches))


def _felt(x: Array, y: Array, middle: tuple[float, float, float, float]) -> Array:
    at_x, at_y, along, across = middle
    return np.asarray(np.exp(-0.5 * (((x - at_x) / along) ** 2 + ((y - at_y) / across) ** 2)))


def _fitted(shapes: Array, change: Array, told: Array, wander: float) -> tuple[Array, Array, Array]:
    """Give log evidence, size and shared part of each shape in each case, each of shape (...).

    The probes come first, not last: a sum over the few of them is then one of whole rows, four times as fast.

    Args:
        shapes: shape (n, ...) as all three broadcast; a shape of zeros is the shared part alone.
        change: shape (n, ...).
        told: 1 where a probe counts, 0 where it is left out, shape (n, ...).
        wander: of a sound probe, kelvin.
    """
    size, _, _ = _sizes(shapes, change, told)
    scale2 = wander**2 + (MISFIT_SHARE * size * shapes) ** 2
    size, shared, information = _sizes(shapes, change, told / scale2)
    off = change - shared - size * shapes
    log = 0.5 * (FREEDOM + 1.0) * np.log1p(off**2 / (FREEDOM * scale2)) + 0.5 * np.log(scale2)
    occam = 0.5 * np.log1p(SIZE_SD_KELVIN**2 * information) + 0.5 * (size / SIZE_SD_KELVIN) ** 2
    sign = np.where(size > 0.0, LOG_HOT, LOG_COLD) * (information > 1e-9)
    return np.asarray(sign - occam - (told * log).sum(axis=0)), size, shared


def _sizes(shapes: Array, change: Array, weight: Array) -> tuple[Array, Array, Array]:
    """Fit size and shared part of each shape by weighted least squares; give these and the size's information."""
    total = weight.sum(axis=0)
    mean_shape = (weight * shapes).sum(axis=0) / total
    mean_change = (weight * change).sum(axis=0) / total
    centred = shapes - mean_shape
    pull = weight * centred
    information = (pull * centred).sum(axis=0)
    size = (pull * (change - mean_change)).sum(axis=0) / np.maximum(information, 1e-9)
    size = np.where(information > 1e-9, size, 0.0)
    return size, mean_change - size * mean_shape, information
