"""Which probes lie: stuck while the others move, or away from their usual in a way no place of a chamber goes.

The probes of a level are judged together (`collector.model.suspects`), the most suspect first: without it the others
are looked at anew. A probe that lies is left out until it stands for some minutes where its usual and its neighbours
say it should.
"""

from collections import deque
from collections.abc import Callable

import msgspec
import numpy as np
from numpy.typing import NDArray

from adapters.reading import Reason
from collector.model.field import Array
from collector.model.patches import Patches
from collector.model.robust import median
from collector.model.suspects import Suspects, Verdict

__all__ = ["LevelLook", "LyingWatch"]

STUCK_SECONDS = 1200.0
OTHERS_MOVED_KELVIN = 3.0
ODDS_LOG = 2.25
"""A lie is called at nine to one."""
SURER_LOG = 2.0
"""By so much more where a cold spot rests on the probe: to explain one away costs more than to walk out for nothing."""
CERTAIN_LOG = 4.6
"""A lie called at less than ninety-nine to one may yet be a cold place: its zone is still held against the limit."""
SUSPECT_SECONDS = 90.0
CLEARED_SECONDS = 300.0
CLEARED_SHARE = 0.5
FEWEST, MOST = 4, 200
"""Fewer probes on a level cannot outvote one; more is no chamber, and would hold up everything else."""
WET_BELOW_CELSIUS = 90.0
WET_FALL_KELVIN = 12.0
JUMP_LOOKS = 10
"""So many looks back, a change is sudden: a leak takes longer (common practice, no source)."""
JUMP_KELVIN = 2.5
SUDDEN_KELVIN, SUDDEN_LOG = 9.0, 2.0
"""A place that changes alone, by so much and at once, is a fault rather than a leak by so much more, log odds."""
SHUT_SECONDS = 60.0
"""Looks further apart than this have a lid opening between them."""
AWAY_SHARE = 0.3
DRIFT_SECONDS = 900.0


class LevelLook(msgspec.Struct, frozen=True):
    """The probes of one level at one moment; arrays of shape (k,)."""

    now_unix: float
    members: tuple[int, ...]
    """Which they are."""
    celsius: Array
    change_kelvin: Array
    """How far each stands from its usual; NaN where that is not known."""
    expected_kelvin: Array
    """What its neighbours say of that."""
    usual_kelvin: Array
    """What each usually differs from the level by."""
    wander_kelvin: float
    """How far a sound probe strays."""
    relied_on: NDArray[np.bool_]
    """Which lie in a zone that runs too cold by what they say."""


class _Case(msgspec.Struct):
    """What is held against one probe."""

    suspect_seconds: float = 0.0
    away_seconds: float = 0.0
    """Since when it has been on its way."""
    sound_seconds: float = 0.0
    reason: Reason = Reason.NONE
    log_odds: float = 0.0
    """That it lies, when it was last weighed."""


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
        self._past: dict[tuple[int, ...], deque[tuple[float, Array]]] = {}
        self.stuck: NDArray[np.bool_] = np.zeros(len(chamber), dtype=bool)

    def accused(self, probe: int) -> bool:
        """Tell whether a probe is held to lie."""
        return self._cases[probe].reason is not Reason.NONE

    def in_doubt(self) -> NDArray[np.bool_]:
        """Tell which of those that are held to lie may yet stand in a cold place, shape (probes,)."""
        colder = (Reason.DISAGREES, Reason.DRIFTS, Reason.WET)
        return np.array([case.reason in colder and case.log_odds < CERTAIN_LOG for case in self._cases], dtype=bool)

    def acquit(self, probe: int) -> None:
        """Believe a probe again."""
        self._cases[probe] = _Case()

    def look(self, level: LevelLook, seconds: float) -> None:
        """Take the probes of one level, while the fire is steady, `seconds` after the last look."""
        known = np.flatnonzero(np.isfinite(level.change_kelvin) & np.isfinite(level.usual_kelvin)).tolist()
        for k in known:
            off = float(level.change_kelvin[k] - level.expected_kelvin[k])
            self._clear(self._cases[level.members[k]], off, seconds)
        sound = [k for k in known if not self.accused(level.members[k])]
        suspects = self._disagreeing(level, sound) | self._jumped(level, known)
        for k, reason in suspects.items():
            if reason is Reason.SWAPPED and self.accused(level.members[k]):
                self._cases[level.members[k]].reason = reason  # it looked alone before the other was found
        for k in sound:
            self._hold(self._cases[level.members[k]], suspects.get(k), float(level.change_kelvin[k]), seconds)

    def _disagreeing(self, level: LevelLook, sound: list[int]) -> dict[int, Reason]:
        """Suspect, one after the other, those whose change no patch explains as well as a lie."""
        suspects: dict[int, Reason] = {}
        left = sound
        while FEWEST <= len(left) <= MOST:
            verdict = self._weigh(level, left, level.change_kelvin[left], level.usual_kelvin[left])
            guilty = _guilty(verdict, self._limit, np.where(level.relied_on[left], -SURER_LOG, 0.0))
            if not guilty:
                break
            suspects |= {left[j]: _why(verdict, j, float(level.celsius[left[j]])) for j in guilty}
            for j in guilty:
                self._cases[level.members[left[j]]].log_odds = float(verdict.lie[j])
            left = [k for j, k in enumerate(left) if j not in guilty]
        return suspects

    def _jumped(self, level: LevelLook, known: list[int]) -> dict[int, Reason]:
        """Suspect those that moved within minutes while their neighbours did not, or took each other's place."""
        past = self._past.setdefault(level.members, deque(maxlen=JUMP_LOOKS + 1))
        past.append((level.now_unix, level.change_kelvin.copy()))
        if len(past) <= JUMP_LOOKS:
            return {}
        since, before = past[0]
        jump = level.change_kelvin - before
        heard = (Reason.NONE, Reason.DISAGREES, Reason.SWAPPED)
        told = [k for k in known if np.isfinite(jump[k]) and self._cases[level.members[k]].reason in heard]
        if not FEWEST <= len(told) <= MOST or np.abs(jump[told] - median(jump[told])).max() < JUMP_KELVIN:
            return {}
        verdict = self._weigh(level, told, jump[told], level.usual_kelvin[told] + before[told])
        guilty = _guilty(verdict, max(self._limit, SUDDEN_KELVIN), np.full(len(told), SUDDEN_LOG))
        if verdict.swapped != guilty and level.now_unix - since > JUMP_LOOKS * SHUT_SECONDS:
            return {}  # after a lid opening places come back one sooner than the other
        if verdict.swapped != guilty and all(abs(level.change_kelvin[told[j]]) < self._limit for j in guilty):
            return {}  # it jumped back to its usual: a leak has ended
        return {told[j]: _why(verdict, j, float(level.celsius[told[j]])) for j in guilty}

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

    def _weigh(self, level: LevelLook, told: list[int], change_kelvin: Array, usual_kelvin: Array) -> Verdict:
        """Weigh the explanations for some probes of a level; the arrays are theirs."""
        probes = tuple(level.members[k] for k in told)
        made = self._suspects.get(probes)
        if made is None:
            if len(self._suspects) >= 64:
                self._suspects.clear()
            made = self._suspects[probes] = Suspects(self._patches_of(probes))
        return made.weigh(change_kelvin, level.wander_kelvin, usual_kelvin)

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


def _guilty(verdict: Verdict, limit_kelvin: float, bonus: Array) -> tuple[int, ...]:
    """Give the two that were exchanged, or the likeliest liar; none where nothing is likely enough."""
    if verdict.swapped is not None and (verdict.lie[list(verdict.swapped)] > ODDS_LOG).all():
        return verdict.swapped
    enough = (verdict.lie + bonus > ODDS_LOG) & (np.abs(verdict.off_kelvin) > limit_kelvin)
    return (int(np.argmax(np.where(enough, verdict.lie, -np.inf))),) if enough.any() else ()


def _why(verdict: Verdict, guilty: int, celsius: float) -> Reason:
    if verdict.swapped is not None and guilty in verdict.swapped:
        return Reason.SWAPPED
    wet = float(verdict.off_kelvin[guilty]) < -WET_FALL_KELVIN and celsius < WET_BELOW_CELSIUS
    return Reason.WET if wet else Reason.DISAGREES
