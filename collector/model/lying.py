"""Which probes lie: stuck while the others move, or away from their usual in a way no place of a chamber goes.

The probes of a level are judged together (`collector.model.suspects`), the most suspect first: without it the others
are looked at anew. A probe that lies is left out until it stands for some minutes where its usual and its neighbours
say it should.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from adapters.reading import Reason
from collector.model.field import Array
from collector.model.patches import Patches
from collector.model.robust import median
from collector.model.suspects import Suspects

__all__ = ["LyingWatch"]

STUCK_SECONDS = 1200.0
OTHERS_MOVED_KELVIN = 3.0
ODDS_LOG = 2.5
"""A lie is called at twelve to one."""
SUSPECT_SECONDS = 90.0
CLEARED_SECONDS = 300.0
CLEARED_SHARE = 0.5
FEWEST, MOST = 4, 200
"""Fewer probes on a level cannot outvote one; more is no chamber, and would hold up everything else."""
WET_BELOW_CELSIUS = 90.0
WET_FALL_KELVIN = 12.0
AWAY_SHARE = 0.3
DRIFT_SECONDS = 900.0


@dataclass(slots=True)
class _Case:
    """What is held against one probe."""

    suspect_seconds: float = 0.0
    away_seconds: float = 0.0
    """Since when it has been on its way."""
    sound_seconds: float = 0.0
    reason: Reason = Reason.NONE


class LyingWatch:
    """Follows the chamber probes of a plan.

    Args:
        chamber: which of its probes hang in the chamber, shape (probes,).
        step_seconds: time between two looks at the pit.
        limit_kelvin: how far a probe must stand from what the others say to be called a liar.
        patches_of: makes the patches as some probes of one level feel them.
    """

    def __init__(
        self,
        chamber: NDArray[np.bool_],
        step_seconds: float,
        limit_kelvin: float,
        patches_of: Callable[[tuple[int, ...]], Patches],
    ) -> None:
        self._patches_of = patches_of
        self._step = step_seconds
        self._limit = limit_kelvin
        self._chamber = chamber
        self._cases = [_Case() for _ in chamber]
        self._suspects: dict[tuple[int, ...], Suspects] = {}
        self.stuck: NDArray[np.bool_] = np.zeros(len(chamber), dtype=bool)

    def accused(self, probe: int) -> bool:
        """Tell whether a probe is held to lie."""
        return self._cases[probe].reason is not Reason.NONE

    def acquit(self, probe: int) -> None:
        """Believe a probe again."""
        self._cases[probe] = _Case()

    def look(
        self,
        members: tuple[int, ...],
        celsius: Array,
        change: Array,
        expected: Array,
        usual: Array,
        wander_kelvin: float,
        seconds: float,
    ) -> None:
        """Take the probes of one level, while the fire is steady.

        Args:
            members: which they are.
            celsius: what they say, shape (k,).
            change: how far each stands from its usual, shape (k,), kelvin; NaN where that is not known.
            expected: what its neighbours say of that, shape (k,).
            usual: what each usually differs from the level by, shape (k,), kelvin.
            wander_kelvin: how far a sound probe strays.
            seconds: since the last look.
        """
        known = np.isfinite(change) & np.isfinite(usual)
        for k in np.flatnonzero(known).tolist():
            self._clear(self._cases[members[k]], float(change[k] - expected[k]), seconds)
        sound = [k for k in np.flatnonzero(known).tolist() if not self.accused(members[k])]
        suspects: dict[int, Reason] = {}
        left = sound
        while FEWEST <= len(left) <= MOST:
            verdict = self._suspects_of(tuple(members[k] for k in left)).weigh(change[left], wander_kelvin, usual[left])
            enough = (verdict.lie > ODDS_LOG) & (np.abs(verdict.off_kelvin) > self._limit)
            if not enough.any():
                break
            worst = int(np.argmax(np.where(enough, verdict.lie, -np.inf)))
            swapped = verdict.swapped is not None and worst in verdict.swapped
            guilty = verdict.swapped if verdict.swapped is not None and swapped else (worst,)
            for j in guilty:
                off = float(verdict.off_kelvin[j])
                wet = off < -WET_FALL_KELVIN and celsius[left[j]] < WET_BELOW_CELSIUS
                suspects[left[j]] = Reason.SWAPPED if swapped else Reason.WET if wet else Reason.DISAGREES
            left = [k for j, k in enumerate(left) if j not in guilty]
        for k in sound:
            self._hold(self._cases[members[k]], suspects.get(k), float(change[k]), seconds)

    def _clear(self, case: _Case, off_kelvin: float, seconds: float) -> None:
        if case.reason is Reason.NONE:
            return
        case.sound_seconds = case.sound_seconds + seconds if abs(off_kelvin) < CLEARED_SHARE * self._limit else 0.0
        if case.sound_seconds >= CLEARED_SECONDS:
            case.reason = Reason.NONE
            case.suspect_seconds = case.away_seconds = 0.0

    def _hold(self, case: _Case, suspicion: Reason | None, change_kelvin: float, seconds: float) -> None:
        """Hold a suspicion against a probe, or drop it; after a while it is called."""
        away = abs(change_kelvin) > AWAY_SHARE * self._limit
        case.away_seconds = case.away_seconds + seconds if away else 0.0
        if suspicion is None:
            case.suspect_seconds = 0.0
            return
        case.suspect_seconds += seconds
        if case.suspect_seconds < SUSPECT_SECONDS:
            return
        slowly = suspicion is Reason.DISAGREES and case.away_seconds > DRIFT_SECONDS
        case.reason = Reason.DRIFTS if slowly else suspicion
        case.sound_seconds = 0.0

    def _suspects_of(self, probes: tuple[int, ...]) -> Suspects:
        made = self._suspects.get(probes)
        if made is None:
            if len(self._suspects) >= 64:
                self._suspects.clear()
            made = self._suspects[probes] = Suspects(self._patches_of(probes))
        return made

    def look_for_stuck(self, window: Array) -> None:
        """Find chamber probes that never moved while the others did, from the last 20 min, shape (probes, looks)."""
        if window.shape[1] * self._step < STUCK_SECONDS:
            return
        known = np.isfinite(window)
        enough = known.mean(axis=1) > 0.5
        high = np.where(known, window, -np.inf).max(axis=1)
        low = np.where(known, window, np.inf).min(axis=1)
        swing = np.where(enough, high - low, np.inf)
        others = swing[self._chamber & enough]
        moved = others.size >= 3 and float(median(others)) > OTHERS_MOVED_KELVIN
        still = self._chamber & enough & (swing < 1e-9)
        self.stuck = still & (self.stuck | moved)

    def reason(self, probe: int) -> Reason:
        """Say what is wrong with a probe now, if anything."""
        if self.stuck[probe]:
            return Reason.STUCK
        return self._cases[probe].reason
