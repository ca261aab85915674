"""Watches probes in a bath, snapshot by snapshot, until each is steady; showing and sending is for others."""

from collections.abc import Callable, Sequence

import numpy as np

from adapters.reading import Quality, Reason
from collector.model.robust import median
from collector.model.steadiness import BathWatch, State
from collector.snapshot import ProbeView, Snapshot

__all__ = ["Reference", "Session", "constant", "median_of", "one_probe"]

Reference = Callable[[Snapshot], float]
"""What the bath is at a snapshot, degrees Celsius; NaN while it is not known."""

_BELIEVED = (Reason.DISAGREES, Reason.STUCK)
"""Doubts that come from comparing a probe with others: in a bath they say nothing of a reading."""
LEAST_FOR_MEDIAN = 3


def constant(celsius: float) -> Reference:
    """Make the reference of a bath that keeps its temperature."""
    return lambda _: celsius


def one_probe(name: str) -> Reference:
    """Make the reference of what one probe says, its own calibration applied."""

    def now(snapshot: Snapshot) -> float:
        return next((p.celsius for p in snapshot.probes if p.name == name and _believed(p)), float("nan"))

    return now


def median_of(names: Sequence[str]) -> Reference:
    """Make the reference of what the middle one of at least three probes says, calibrations applied."""

    def now(snapshot: Snapshot) -> float:
        heard = [p.celsius for p in snapshot.probes if p.name in names and _believed(p)]
        return float(median(np.array(heard))) if len(heard) >= LEAST_FOR_MEDIAN else float("nan")

    return now


def _believed(probe: ProbeView) -> bool:
    good = probe.quality is Quality.GOOD or probe.reason in _BELIEVED
    return good and not probe.silent and probe.raw_celsius == probe.raw_celsius


class Session:
    """One bath.

    Args:
        names: the probes in it.
        reference: what the bath is.
        first: the cook before it.
    """

    def __init__(self, names: Sequence[str], reference: Reference, first: Snapshot) -> None:
        self.watches = {name: BathWatch() for name in names}
        self.newest: dict[str, ProbeView] = {probe.name: probe for probe in first.probes}
        self.reference_celsius = float("nan")
        """What the bath is now; NaN while it is not known."""
        self.seconds = 0.0
        """How long it has gone on, of the cook's clock."""
        self._reference = reference
        self._began_unix: float | None = None

    def take(self, snapshot: Snapshot) -> None:
        """Take what the probes say now."""
        if self._began_unix is None:
            self._began_unix = snapshot.now_unix
        self.seconds = snapshot.now_unix - self._began_unix
        reference = self.reference_celsius = self._reference(snapshot)
        for probe in snapshot.probes:
            watch = self.watches.get(probe.name)
            if watch is None:
                continue
            self.newest[probe.name] = probe
            # What was heard before the session may be from before the bath.
            heard = probe.heard_unix if probe.heard_unix is not None else -1.0
            if reference == reference and _believed(probe) and heard >= self._began_unix:
                watch.take(heard, probe.raw_celsius, reference)
            watch.look(snapshot.now_unix)

    @property
    def over(self) -> bool:
        """Whether every probe is done, or some are and nothing more can be hoped for of the rest."""
        states = [watch.state for watch in self.watches.values()]
        done = states.count(State.STEADY)
        return done > 0 and all(state in (State.STEADY, State.ELSEWHERE, State.SILENT) for state in states)
