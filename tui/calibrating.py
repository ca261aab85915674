"""Watches probes in a bath, snapshot by snapshot, until each is steady; showing and sending is for others."""

from collections.abc import Callable, Sequence

import numpy as np

from adapters.reading import Quality, Reason
from collector.model.calibration import DRIFT_SD_KELVIN, Kind, Line, Point, line
from collector.model.robust import median
from collector.model.steadiness import BathWatch, State
from collector.model.tolerance import CLASSES, Standing, standing_in
from collector.snapshot import ProbeView, Snapshot

__all__ = [
    "Reference",
    "Session",
    "constant",
    "median_of",
    "of_itself",
    "one_probe",
    "own_sd_kelvin",
    "stated_sd_kelvin",
]

Reference = Callable[[Snapshot], float]
"""What the bath is at a snapshot, degrees Celsius; NaN while it is not known."""

_BELIEVED = (Reason.DISAGREES, Reason.STUCK)
"""Doubts that come from comparing a probe with others: in a bath they say nothing of a reading."""
LEAST_FOR_MEDIAN = 3
USUAL_SD_KELVIN = 1.0
"""Of a probe of which nothing is known to state it better."""


def of_itself(probe: ProbeView, raw_celsius: float) -> float:
    """Read a raw value by what is known of this probe apart from others: by ice and boiling water.

    An earlier `together` is left out, because it was found from the other probes: if that was wrong, for they hung
    apart, all carry its error, and a median of such values would find it right again. One that has nothing else
    counts as it came in.
    """
    fixed = _fixed(probe)
    if fixed is not None:
        return fixed.celsius(raw_celsius)
    return raw_celsius if probe.line is not None else raw_celsius + probe.celsius - probe.raw_celsius


def _fixed(probe: ProbeView) -> Line | None:
    """Give its line without what was found from other probes; None without a bath of its own."""
    return line(_baths(probe))


def _baths(probe: ProbeView) -> tuple[Point, ...]:
    return tuple(p for p in probe.line.points if p.kind is not Kind.TOGETHER) if probe.line is not None else ()


def own_sd_kelvin(probe: ProbeView, celsius: float) -> float:
    """Give the standard deviation of what `of_itself` says at a temperature."""
    fixed = _fixed(probe)
    return (
        stated_sd_kelvin(probe, celsius)
        if fixed is None
        else float(np.hypot(fixed.sd_kelvin(celsius), DRIFT_SD_KELVIN))
    )


def stated_sd_kelvin(probe: ProbeView, celsius: float) -> float:
    """Give the standard deviation of what a probe's maker or the config allows it to be off by, uncalibrated.

    Once it is calibrated the config's number is not told any more: then its class counts, else the usual. A class
    that the probe was found to be outside of says nothing.
    """
    if probe.line is None:
        return probe.sd_kelvin
    if probe.tolerance_class and standing_in(probe.tolerance_class, probe.line.points) is not Standing.OUTSIDE:
        return CLASSES[probe.tolerance_class].sd_kelvin(celsius)
    return USUAL_SD_KELVIN


def constant(celsius: float) -> Reference:
    """Make the reference of a bath that keeps its temperature."""
    return lambda _: celsius


def one_probe(name: str) -> Reference:
    """Make the reference of what one probe says, as it is shown: whoever names it takes that for right."""

    def now(snapshot: Snapshot) -> float:
        return next((p.celsius for p in snapshot.probes if p.name == name and _believed(p)), float("nan"))

    return now


def median_of(names: Sequence[str]) -> Reference:
    """Make the reference of what the middle one of at least three probes says, each read by `of_itself`."""

    def now(snapshot: Snapshot) -> float:
        heard = [of_itself(p, p.raw_celsius) for p in snapshot.probes if p.name in names and _believed(p)]
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
