"""What is measured on nights: each figure with its statistic, its 95 % interval and its goal.

A scorer gives samples of each figure for each night. Shares have Wilson's interval (Wilson 1927); every other statistic
has one from bootstrap over nights (Efron 1979), since samples of one night depend on each other.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["FIGURES", "Figure", "Measured", "NightScore", "measure", "verdict", "wilson"]

Z = 1.96
RESAMPLES = 400
Samples = dict[str, list[float]]


@dataclass(frozen=True, slots=True)
class NightScore:
    """Samples of one night, of coldside and of each reference."""

    name: str
    coldside: Samples
    reference: Samples
    cpu_seconds: float = 0.0
    wrong: tuple[str, ...] = ()
    """Each miss and false alarm in a line."""
    cook: object = None
    """What a comparison takes of it, where it is half of a pair."""
    far_deficit: float = math.nan
    """How far its far end truly lay below the grate's mean, °F."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One row of the tables."""

    key: str
    title: str
    statistic: str
    """`share` (percent of cases), `mean`, `median`, `rms` or `p95`."""
    low: float = -math.inf
    """The goal: not below."""
    high: float = math.inf
    """The goal: not above."""
    digits: int = 1

    @property
    def goal(self) -> str:
        """The goal as text."""
        if self.low == -math.inf:
            return "" if self.high == math.inf else f"≤ {self.high:g}"
        return f"≥ {self.low:g}" if self.high == math.inf else f"{self.low:g}–{self.high:g}"


@dataclass(frozen=True, slots=True)
class Measured:
    """A figure on the nights of one source."""

    value: float
    low: float
    high: float
    cases: int


def _share(key: str, title: str, low: float = -math.inf, high: float = math.inf) -> Figure:
    return Figure(key, title, "share", low, high)


FIGURES: tuple[tuple[str, tuple[Figure, ...]], ...] = (
    (
        "Cold spots, 15 °F (reference: Gaussian process, 5 min)",
        (
            _share("clear_missed", "clear: missed, %", high=0.5),
            Figure("clear_false", "clear: false a night", "mean", high=0.03, digits=2),
            Figure("clear_delay", "clear: delay, median min", "median"),
            _share("clear_in_10", "clear: alarmed before or within 10 min, %", low=85.0),
            _share("clear_in_30", "clear: alarmed before or within 30 min, %", low=97.0),
            _share("tight_missed", "tight: missed, %", high=3.0),
            Figure("tight_false", "tight: false a night", "mean", high=0.08, digits=2),
            _share("no_probe_seen", "zones without a probe, clear: seen, %"),
            _share("no_probe_said", "zones without a probe, clear: said not watched, %", low=100.0),
            _share("every_zone_missed", "clear, zones with and without a probe: missed, %"),
        ),
    ),
    (
        "Fire (reference: Theil–Sen slope, 90 min, 25 °F/h)",
        (
            _share("drift_missed", "drift that ends > 25 °F off: missed, %", high=2.0),
            Figure("drift_false", "false drift alarms a night", "mean", high=0.08, digits=2),
            _share("fire_missed", "fire events: missed, %", high=0.0),
            Figure("fire_delay", "fire events: delay after the cause, median min", "median", high=35.0),
            Figure("drift_turned", "drift alarms that turned round, a night", "mean", high=0.0, digits=2),
        ),
    ),
    (
        "Map at grate height (reference: Gaussian process, physical trend)",
        (
            Figure("map_square", "grid RMSE, °F", "rms", high=4.5),
            Figure("map_zone", "worst zone deficit, p95 of the error, °F", "p95", high=7.0),
            Figure("map_cover", "95 % interval covers, %", "mean %", 93.0, 97.0),
            Figure("map_cover_fire", "95 % interval covers at the firebox, %", "mean %", 93.0, 97.0),
            Figure("map_cover_middle", "95 % interval covers in the middle, %", "mean %", 93.0, 97.0),
            Figure("map_cover_stack", "95 % interval covers at the stack, %", "mean %", 93.0, 97.0),
        ),
    ),
    (
        "Probes that lie",
        (
            _share("lie_found", "lies found within 20 min of 9 °F, %", low=95.0),
            _share("decalibration_found", "decalibration found within 45 min of 9 °F, %", low=60.0),
            Figure("accused", "good probes accused a night", "mean", high=0.02, digits=2),
            Figure("clock_unused", "behind a wrong clock: unused, % of the time", "mean %"),
        ),
    ),
    (
        "Door openings",
        (
            _share("door_seen", "seen, %", low=98.0),
            Figure("door_false", "false a night", "mean", high=0.5, digits=2),
            Figure("door_held", "% of the night held for open", "mean %", high=1.0),
            Figure("door_false_wind", "false a windy night", "mean", high=0.5, digits=2),
            Figure("door_held_wind", "% of a windy night held for open", "mean %", high=1.0),
        ),
    ),
    (
        "Alarms raised a night",
        (
            Figure("calls", "that call a person", "mean"),
            Figure("calls_quiet", "that call a person, quiet nights", "mean", high=1.0),
            Figure("calls_bad", "that call a person, other nights", "mean", high=4.0),
            Figure("raised", "all, milestones too", "mean"),
        ),
    ),
    (
        "A change of the pit, one cook before and one after: the far end's deficit",
        (
            _share("pair_cover", "95 % interval covers, %", 93.0, 97.0),
            Figure("pair_width", "width, °F", "mean", high=7.5),
            Figure("pair_error", "error, rms, °F", "rms"),
            _share("pair_claims", "claims a change where there is less than 3.5 °F, %"),
            _share("pair_shows_5", "shows a change of 3.5 to 7.5 °F, %", low=60.0),
            _share("pair_shows_10", "shows a change of more than 7.5 °F, %", low=95.0),
            _share("pair_compared", "pairs that could be compared, %"),
        ),
    ),
    (
        "Meat: arrival at 203 °F",
        (
            Figure("meat_error_50", "error at 50 % of the way, median min", "median", high=45.0),
            Figure("meat_error_75", "error at 75 %", "median", high=30.0),
            Figure("meat_error_90", "error at 90 %", "median", high=12.0),
            _share("meat_cover_50", "80 % interval covers at 50 %, %", 75.0, 85.0),
            _share("meat_cover_75", "80 % interval covers at 75 %, %", 75.0, 85.0),
            _share("meat_cover_90", "80 % interval covers at 90 %, %", 75.0, 85.0),
        ),
    ),
)

STATISTICS: dict[str, Callable[[np.ndarray], float]] = {
    "share": lambda x: 100.0 * float(np.mean(x)),
    "mean %": lambda x: 100.0 * float(np.mean(x)),
    "mean": lambda x: float(np.mean(x)),
    "median": lambda x: float(np.median(x)),
    "rms": lambda x: math.sqrt(float(np.mean(x))),
    "p95": lambda x: float(np.quantile(x, 0.95, method="lower")),
}


def wilson(hits: float, cases: int) -> tuple[float, float]:
    """Give Wilson's 95 % interval of a share, from 0 to 1."""
    share, z2 = hits / cases, Z * Z
    middle = (share + z2 / (2 * cases)) / (1 + z2 / cases)
    half = Z / (1 + z2 / cases) * math.sqrt(share * (1 - share) / cases + z2 / (4 * cases * cases))
    return max(0.0, middle - half), min(1.0, middle + half)


def measure(figure: Figure, nights: Sequence[Samples]) -> Measured | None:
    """Measure a figure on nights; None where no night has a sample of it."""
    held = [np.array(night[figure.key], float) for night in nights if night.get(figure.key)]
    if not held:
        return None
    every, statistic = np.concatenate(held), STATISTICS[figure.statistic]
    if figure.statistic == "share":
        low, high = wilson(float(every.sum()), len(every))
        return Measured(statistic(every), 100.0 * low, 100.0 * high, len(every))
    random = np.random.default_rng(len(every))
    again = [
        statistic(np.concatenate([held[k] for k in random.integers(0, len(held), len(held))])) for _ in range(RESAMPLES)
    ]
    low, high = (float(np.quantile(again, q, method="nearest")) for q in (0.025, 0.975))
    return Measured(statistic(every), low, high, len(every))


def verdict(figure: Figure, measured: Measured | None) -> str:
    """Hold a figure against its goal: met, not excluded (its interval reaches the goal), or missed."""
    if measured is None or not figure.goal:
        return ""
    if figure.low <= measured.value <= figure.high:
        return "met"
    return "not excluded" if measured.low <= figure.high and measured.high >= figure.low else "missed"
