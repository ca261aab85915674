"""Does a probe lie, or has a place of the chamber changed? The explanations weighed against each other.

The changes of the probes of a level are explained by nothing or by a patch (`collector.model.patches`); or one probe
says anything, and the others are explained so; or two have exchanged their plugs, and the others are explained so. A
patch no wider than the gap between two probes looks like a lie, so there the priors decide.
"""

import math

import msgspec
import numpy as np

from collector.model.field import Array
from collector.model.patches import Patches

__all__ = ["Suspects", "Verdict"]

LIE_KELVIN, LIE_FREEDOM = 12.0, 2.0
"""What a liar says of its place: Student's t, since a wet or broken one may say anything."""
MOST_WEIGHED = 24
"""Of very many probes only those furthest off are weighed."""
LOG_PRIOR_HONEST, LOG_PRIOR_LIE, LOG_PRIOR_SWAP = np.log([0.84, 0.13, 0.03]).tolist()
LIE_CONSTANT = (
    math.lgamma(0.5 * (LIE_FREEDOM + 1.0)) - math.lgamma(0.5 * LIE_FREEDOM)
    - 0.5 * math.log(0.5 * LIE_FREEDOM) - math.log(LIE_KELVIN)
)  # fmt: skip
SWAP_NEEDS_KELVIN = 3.0
SWAP_NEAR_SHARE = 0.5
SWAP_WANDER_KELVIN = 0.7
"""Two probes do not have quite the same swing."""
SWAP_SETTLING_SHARE = 0.3
"""Changes are smoothed: for some minutes they show but a share of what was exchanged."""


class Verdict(msgspec.Struct, frozen=True):
    """What the changes of one level are best explained by."""

    lie: Array
    """Log odds, for each probe, that it lies against that none does, shape (n,)."""
    off_kelvin: Array
    """How far each probe stands from what the others say of its place, shape (n,)."""
    swapped: tuple[int, int] | None
    """Two probes whose plugs were exchanged, where that explains it best."""


class Suspects:
    """Weighs the explanations for one set of probes.

    Args:
        patches: the patches as these probes feel them.
    """

    def __init__(self, patches: Patches) -> None:
        self._patches = patches

    def weigh(self, change_kelvin: Array, wander_kelvin: float, usual_kelvin: Array) -> Verdict:
        """Weigh them.

        Args:
            change_kelvin: how far each probe stands from its usual, shape (n,).
            wander_kelvin: how far a sound one does.
            usual_kelvin: what each usually differs from the level by, shape (n,).
        """
        n = self._patches.probes
        alone = np.abs(change_kelvin - np.sort(change_kelvin)[n // 2])
        weighed = np.sort(np.argsort(alone)[-MOST_WEIGHED:])
        told = np.ones((weighed.size + 1, n))
        told[np.arange(weighed.size) + 1, weighed] = 0.0
        log, expected = self._patches.explain(change_kelvin, told, wander_kelvin)
        honest = float(log[0]) + LOG_PRIOR_HONEST
        off = change_kelvin - expected[0]
        off[weighed] = change_kelvin[weighed] - expected[np.arange(weighed.size) + 1, weighed]
        lies = np.full(n, -math.inf)
        lies[weighed] = log[1:] + _log_lie(off[weighed]) + LOG_PRIOR_LIE - math.log(n)
        pair, swap = self._swap(change_kelvin, off, wander_kelvin, usual_kelvin)
        if pair is not None and swap > max(float(lies.max()), honest):
            lies[list(pair)] = np.logaddexp(lies[list(pair)], swap)
        else:
            pair = None
        return Verdict(lies - honest, off, pair)

    def _swap(self, change: Array, off: Array, wander: float, usual: Array) -> tuple[tuple[int, int] | None, float]:
        """Find the pair whose exchange explains the changes best, and its log evidence."""
        i, j = np.triu_indices(self._patches.probes, k=1)
        gap = usual[j] - usual[i]
        near = SWAP_NEAR_SHARE * np.abs(gap) + SWAP_WANDER_KELVIN
        likely = (np.abs(gap) > SWAP_NEEDS_KELVIN) & (np.abs(off[i] - gap) < near) & (np.abs(off[j] + gap) < near)
        if not likely.any():
            return None, -math.inf
        i, j, gap = i[likely], j[likely], gap[likely]
        rows = np.arange(i.size)
        told = np.ones((i.size, self._patches.probes))
        told[rows, i] = told[rows, j] = 0.0
        log, said = self._patches.explain(change, told, wander)
        # each of the two says what stands at the other's place
        at_i = change[i] - (said[rows, j] + gap)
        at_j = change[j] - (said[rows, i] - gap)
        sd = np.sqrt(wander**2 + SWAP_WANDER_KELVIN**2 + (SWAP_SETTLING_SHARE * gap) ** 2)
        log = log + _log_normal(at_i, sd) + _log_normal(at_j, sd)
        best = int(np.argmax(log))
        return (int(i[best]), int(j[best])), float(log[best]) - math.log(0.5 * self._patches.probes**2) + LOG_PRIOR_SWAP


def _log_normal(values: Array, sd: Array | float) -> Array:
    return np.asarray(-0.5 * (values / sd) ** 2 - np.log(sd))


def _log_lie(off_kelvin: Array) -> Array:
    """Log density of Student's t, less what `_log_normal` leaves out."""
    tail = -0.5 * (LIE_FREEDOM + 1.0) * np.log1p((off_kelvin / LIE_KELVIN) ** 2 / LIE_FREEDOM)
    return np.asarray(tail + LIE_CONSTANT)
