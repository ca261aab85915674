"""How far and how much the temperature varies in this very chamber, learned from its probes.

Nine probes say little about length scales, so what is usual in such pits weighs with them: each set of scales on a
coarse grid is weighed by its prior and by how well it explains what the probes differ by (the restricted likelihood of
`FieldModel.evidence`), and the means over the grid are taken. So the map keeps still, and its uncertainty is that of
a pit like this one.
"""

from collections.abc import Callable, Iterable
from itertools import product

import msgspec
import numpy as np

from collector.model.field import Array, FieldModel

__all__ = ["PRIOR", "Scales", "estimate"]


class Scales(msgspec.Struct, frozen=True):
    """The scales of a field, lengths as shares of the chamber's length and width."""

    sigma_kelvin: float
    """Standard deviation of the grate's field about its trend; under the lid it is `LID_SHARE` times that."""
    length_x_share: float
    length_y_share: float
    rough_kelvin: float
    """Standard deviation of what no neighbour tells of."""
    level_correlation: float


PRIOR = Scales(4.0, 0.28, 0.8, 2.0, 0.3)
"""The middle of what is expected (tuned on nights of simulators of different physics: there the interval of 95 % holds
in each third of the grate; no published source)."""
LID_SHARE = 2.0
"""The air under the lid differs twice as much from place to place as that at the grate (common practice, no source)."""

_SIGMA_STEPS = PRIOR.sigma_kelvin * np.array([0.45, 0.67, 1.0, 1.5, 2.25, 3.4])
_X_STEPS = PRIOR.length_x_share * np.array([0.6, 1.0, 1.7])
_Y_STEPS = PRIOR.length_y_share * np.array([0.6, 1.0, 1.7])
_ROUGH_STEPS = PRIOR.rough_kelvin * np.array([0.25, 0.5, 1.0, 1.6])
_LOG_SD = np.array([0.55, 0.55, 0.55, 0.7])
"""Of the prior of each scale, on the log: sigma, the two lengths, roughness."""


def estimate(model_with: Callable[[Scales], FieldModel], away_kelvin: Array) -> Scales:
    """Weigh prior and probes.

    Args:
        model_with: makes the field model of these probes with given scales.
        away_kelvin: what each probe differs from its level by, shape (n,), over as long a time as may be.
    """
    sets = [_scales(each) for each in product(_SIGMA_STEPS, _X_STEPS, _Y_STEPS, _ROUGH_STEPS)]
    log = np.log([_learned(each) for each in sets])
    weight = np.array([model_with(each).evidence(away_kelvin) for each in sets])
    weight -= 0.5 * (((log - np.log(_learned(PRIOR))) / _LOG_SD) ** 2).sum(axis=1)
    share = np.exp(weight - weight.max())
    return _scales(np.exp(share @ log / share.sum()))


def _scales(learned: Iterable[float]) -> Scales:
    sigma, x, y, rough = map(float, learned)
    return Scales(sigma, x, y, rough, PRIOR.level_correlation)


def _learned(scales: Scales) -> tuple[float, float, float, float]:
    """Give the scales that are learned."""
    return scales.sigma_kelvin, scales.length_x_share, scales.length_y_share, scales.rough_kelvin
