"""Pairs of nights before and after a change of the pit: does `coldside compare` hold the true change?

Knows, as `engine_adapter` does, what the comparison is called inside coldside.
"""

from collections.abc import Sequence
from types import SimpleNamespace

import numpy as np

from collector.comparing.compared import compared
from collector.comparing.told import CookTold, tell
from collector.model.plan import Plan
from collector.snapshot import Mark, Snapshot, TrendPoint
from tests.bench.quality.nights.episodes import door_free
from tests.bench.quality.nights.night_files import Night

__all__ = ["cook_of", "is_half_of_a_pair", "score_pair", "true_far_deficit"]

QUANTITY = "far-end-deficit"
SMALL_F, LARGE_F = 3.5, 7.5
"""A true change between these stands for one of 5 °F, a greater one for 10 °F and more, a smaller one for none."""


def is_half_of_a_pair(night: Night) -> bool:
    """Tell whether a night's number ends in A or B."""
    return night.folder.name[-1:] in ("A", "B")


def cook_of(
    night: Night, plan: Plan, trend: Sequence[TrendPoint], moments: Sequence[Snapshot], marks: Sequence[Mark]
) -> CookTold | None:
    """Take of a played night what a comparison takes of a recorded cook; None where it has too little to compare."""
    rows = len(trend)
    played = SimpleNamespace(
        plan=plan,
        cook=SimpleNamespace(name=night.name, started_unix=float(night.probes["start_epoch"])),
        plan_changes_unix=(),
        moments=tuple(moments),
        marks=tuple(marks),
        trend_unix=np.array([row.time_unix for row in trend]),
        grate_celsius=np.array([row.grate_celsius for row in trend]),
        zone_celsius=np.array([row.zones for row in trend], float).reshape(rows, -1).T,
        probe_celsius=np.array([row.probes for row in trend], float).reshape(rows, -1).T,
    )
    try:
        return tell(played, night.name)  # type: ignore[arg-type]
    except ValueError:
        return None


def true_far_deficit(night: Night) -> float:
    """How far the zones at the stack lay below the grate's mean, over the night outside door openings, °F."""
    zones = night.truth["zones"][door_free(night)]
    far = [k for k, name in enumerate(night.zones) if name.startswith("stack")]
    return float((zones.mean(1) - zones[:, far].mean(1)).mean())


def score_pair(before: CookTold | None, after: CookTold | None, true_change: float) -> dict[str, list[float]]:
    """Compare the two cooks of a pair and hold the interval of the far end's deficit against the truth, °F."""
    if before is None or after is None:
        return {"pair_compared": [0.0]}
    quantity = next(q for q in compared([before], [after]).quantities if q.key == QUANTITY)
    low, high, change = (1.8 * x for x in (quantity.low, quantity.high, quantity.change))
    size = abs(true_change)
    shows = "pair_claims" if size < SMALL_F else "pair_shows_5" if size < LARGE_F else "pair_shows_10"
    return {
        "pair_compared": [1.0],
        "pair_cover": [float(low <= true_change <= high)],
        "pair_width": [high - low],
        "pair_error": [(change - true_change) ** 2],
        shows: [float(quantity.shown)],
    }
