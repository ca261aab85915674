"""The table of arrivals told, with its goals."""

from collections.abc import Sequence

import numpy as np

from tests.bench.quality.meat.judge import STAGES, WAYS, MeatScore
from tests.bench.quality.table import Goal, Part

__all__ = ["meat_part"]

GOALS_MINUTES = {"half": 45.0, "three quarters": 28.0, "nine tenths": 12.0}
COVERED = (75.0, 85.0)


def meat_part(scores: Sequence[MeatScore]) -> Part:
    """Make the table of the families and of all together; the goals are for all together."""
    rows: list[tuple[str, ...]] = []
    goals: list[Goal] = []
    families = list(dict.fromkeys(score.family for score in scores))
    for stage in STAGES:
        here = [score for score in scores if score.stage == stage]
        rows += [_row(stage, family, [s for s in here if s.family == family]) for family in families]
        rows.append(_row(stage, "all", here))
        off, lines = _median(here, "coldside"), [_median(here, way) for way in WAYS]
        covered = 100.0 * float(np.mean([c for s in here for c in s.covered]))
        goals.append(Goal(f"{stage}: median error, min", off, -np.inf, GOALS_MINUTES[stage]))
        goals.append(Goal(f"{stage}: further off than a straight line, min", off - min(lines), -np.inf, 0.0))
        cases = sum(len(s.covered) for s in here)
        goals.append(Goal(f"{stage}: 80 % interval covers, %", covered, *COVERED, cases))
    head = ("gone", "family", "pieces", "median error min", *(f"{way} min" for way in WAYS), "covers %", "width min")
    return Part(
        "Arrival of meat at 95 °C (straight: a line through the last hour, or two)", head, tuple(rows), tuple(goals)
    )


def _row(stage: str, family: str, scores: Sequence[MeatScore]) -> tuple[str, ...]:
    covered = [c for s in scores for c in s.covered]
    width = [w for s in scores for w in s.width]
    return (
        stage, family, str(len(covered)), f"{_median(scores, 'coldside'):.0f}",
        *(f"{_median(scores, way):.0f}" for way in WAYS),
        f"{100.0 * float(np.mean(covered)):.0f}", f"{float(np.median(width)):.0f}",
    )  # fmt: skip


def _median(scores: Sequence[MeatScore], way: str) -> float:
    return float(np.median([e for s in scores for e in s.errors[way]]))
