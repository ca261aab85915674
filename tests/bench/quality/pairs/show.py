"""The table of pairs, with its goals."""

from collections.abc import Sequence

import numpy as np

from tests.bench.quality.pairs.judge import COOKS, PairScore
from tests.bench.quality.pairs.pair import SIZES
from tests.bench.quality.table import Goal, Part

__all__ = ["pairs_part"]

COVERED, CLAIMED = (92.0, 98.0), 5.0
WIDTHS = {1: 5.0, 3: 3.3}
POWER_AT, POWER = 5.6, 90.0
OURS = "coldside"


def pairs_part(scores: Sequence[PairScore]) -> Part:
    """Make the table: every size, family and way; the goals are for all families together."""
    rows: list[tuple[str, ...]] = []
    goals: list[Goal] = []
    families, ways = (list(dict.fromkeys(getattr(s, name) for s in scores)) for name in ("family", "way"))
    for cooks in COOKS:
        here = [s for s in scores if s.cooks == cooks]
        for size in SIZES:
            sized = [s for s in here if s.size == size]
            ours = [s for s in sized if s.way == OURS]
            rows += [_row(cooks, size, f, OURS, [s for s in ours if s.family == f]) for f in families]
            rows += [_row(cooks, size, "all", way, [s for s in sized if s.way == way]) for way in ways]
            goals.append(Goal(f"{cooks} a side, {size} K: covers, %", _share(ours, "covered"), *COVERED, len(ours)))
        ours = [s for s in here if s.way == OURS]
        goals.append(Goal(f"{cooks} a side: mean width, K", _mean(ours, "width"), -np.inf, WIDTHS[cooks]))
        still, moved = ([s for s in ours if s.size == size] for size in (0.0, POWER_AT))
        for what, some, least, most in (
            ("claims where there is none", still, -np.inf, CLAIMED),
            (f"shows {POWER_AT} K", moved, POWER, np.inf),
        ):
            goals.append(Goal(f"{cooks} a side: {what}, %", _share(some, "claimed"), least, most, len(some)))
    head = ("a side", "true K", "family", "way", "pairs", "covers %", "claims %", "width K", "rms error K", "bias K")
    return Part("A change of the far end's deficit, before and after", head, tuple(rows), tuple(goals))


def _row(cooks: int, size: float, family: str, way: str, scores: Sequence[PairScore]) -> tuple[str, ...]:
    errors = np.array([s.error for s in scores])
    return (
        str(cooks), f"{size:.1f}", family, way, str(len(scores)), f"{_share(scores, 'covered'):.1f}",
        f"{_share(scores, 'claimed'):.1f}", f"{_mean(scores, 'width'):.2f}", f"{np.sqrt(np.mean(errors**2)):.2f}",
        f"{errors.mean():+.2f}",
    )  # fmt: skip


def _share(scores: Sequence[PairScore], name: str) -> float:
    return 100.0 * _mean(scores, name)


def _mean(scores: Sequence[PairScore], name: str) -> float:
    return float(np.mean([getattr(score, name) for score in scores]))
