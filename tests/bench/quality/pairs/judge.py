"""Pairs of cooks judged: does the interval hold the truth, how wide is it, and what is claimed."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from collector.model.difference import Difference, Question
from tests.bench.quality.pairs import fields, pits
from tests.bench.quality.pairs.pair import SIZES, Pair
from tests.bench.quality.pairs.peers import PEERS, interval

__all__ = ["COOKS", "FAMILIES", "PairScore", "judge_pair", "judge_seed", "question_of"]

FAMILIES: dict[str, Callable[[int, float, int], Pair]] = {
    "fields": fields.draw, "plates": pits.draw_plates, "stack": pits.draw_stack,
}  # fmt: skip
COOKS = (1, 3)
"""A side."""


@dataclass(frozen=True, slots=True)
class PairScore:
    """What was told of one pair, by coldside or by another way."""

    family: str
    way: str
    size: float
    cooks: int
    error: float
    """Told less true, kelvin."""
    width: float
    covered: bool
    claimed: bool


def question_of(pair: Pair) -> Question:
    """Ask how much farther the far end lies below the grate's mean."""
    columns, rows = (np.arange(40) + 0.5) / 40 * pair.length_m, (np.arange(10) + 0.5) / 10 * pair.width_m
    x, y = (places.ravel() for places in np.meshgrid(columns, rows))
    far = x >= pair.far_m
    return Question(("grate",) * len(x), x, y, np.full(len(x), 1.0 / len(x)) - far / far.sum())


def judge_pair(family: str, pair: Pair, size: float) -> list[PairScore]:
    """Compare, in every way, and look at the truth."""
    look = Difference(pair.before, pair.after, pair.length_m, pair.width_m).ask(question_of(pair))
    told = [("coldside", look.kelvin, (look.quantile(0.025), look.quantile(0.975)))]
    for way in PEERS:
        low, high = interval(way, pair)
        told.append((way, 0.5 * (low + high), (low, high)))
    return [
        PairScore(
            family, way, size, len(pair.before), middle - pair.kelvin, high - low,
            bool(low <= pair.kelvin <= high), not low <= 0.0 <= high,
        )
        for way, middle, (low, high) in told
    ]  # fmt: skip


def judge_seed(task: tuple[str, int]) -> list[PairScore]:
    """Judge the pairs of one family and seed: every size, one cook a side and three."""
    family, seed = task
    draw = FAMILIES[family]
    return [score for size in SIZES for cooks in COOKS for score in judge_pair(family, draw(seed, size, cooks), size)]
