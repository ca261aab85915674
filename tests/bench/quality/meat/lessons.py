"""What is learned from: the signs of drawn pieces at many minutes, and how long they then had to go."""

from dataclasses import dataclass
from multiprocessing import Pool

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from collector.model.meat.signs import columns, signs_of
from tests.bench.quality.meat.pieces import DONE_CELSIUS, Pieces, cooked

__all__ = ["BATCH", "Lessons", "lessons"]

Array = NDArray[np.float64]
BATCH = 600
"""Nights drawn at a time; more than half are left out as implausible."""
TO_DONE, TO_OTHERS = 8, 5
"""Minutes taken of each piece: so many ask for 95 °C, so many for something else."""
ASKED = ((0.5, 0.10), (0.75, 0.08), (0.9, 0.05))
"""Shares of the time gone about which, and how closely, most are asked for 95 °C: there the goals are."""
ANYWHERE = 0.4
"""Share of those that are asked at any time instead."""


@dataclass(frozen=True, slots=True)
class Lessons:
    """Rows of one family."""

    columns: Array
    """Shape (rows, columns)."""
    hours: Array
    """To go, shape (rows,)."""
    seen: NDArray[np.bool_]
    """Whether the stall had shown itself, shape (rows,)."""


def lessons(family: str, seeds: range, jobs: int) -> Lessons:
    """Draw pieces of a family and ask at random minutes."""
    with Pool(jobs) as pool:
        found = pool.starmap(_of_batch, [(family, seed) for seed in seeds], chunksize=1)
    return Lessons(*(np.concatenate([batch[k] for batch in found]) for k in range(3)))


def _of_batch(family: str, seed: int) -> tuple[Array, Array, NDArray[np.bool_]]:
    pieces = cooked(family, seed, BATCH)
    random = np.random.default_rng([seed, 7])
    rows: list[tuple[Array, float, bool]] = []
    for piece in range(len(pieces)):
        for ask in range(TO_DONE + TO_OTHERS):
            row = _row(pieces, piece, random, to_done=ask < TO_DONE)
            if row is not None:
                rows.append(row)
    laid, hours, seen = zip(*rows, strict=True)
    return np.array(laid), np.array(hours), np.array(seen)


def _share(random: Generator, *, to_done: bool) -> float:
    """Draw how much of the time to 95 °C has gone."""
    if not to_done or random.uniform() < ANYWHERE:
        return float(random.uniform(0.06, 0.99))
    near = np.array([width for _, width in ASKED])
    middle, width = ASKED[int(random.choice(len(ASKED), p=near / near.sum()))]
    return float(np.clip(random.normal(middle, width), 0.06, 0.99))


def _row(pieces: Pieces, piece: int, random: Generator, *, to_done: bool) -> tuple[Array, float, bool] | None:
    """Ask once; None where nothing can be asked."""
    u = random.uniform
    done = int(pieces.done_minute[piece])
    minute = int(done * _share(random, to_done=to_done))
    signs = signs_of(pieces.track(piece, minute, air_known=u() < 0.95, mass_known=u() < 0.6))
    if signs is None:
        return None
    most = max(signs.celsius + 1.0, min(98.0, float(pieces.air[piece, :done].mean()) - 4.0))
    target = DONE_CELSIUS if to_done else u(signs.celsius + 0.5, most)
    reached = np.flatnonzero(pieces.true_celsius[piece] >= target)
    if target <= signs.celsius + 0.3 or not reached.size or reached[0] <= minute:
        return None
    known = u() < 0.4
    ahead = float(pieces.air[piece, minute : reached[0] + 1].mean()) if known else np.nan
    laid = columns(signs, np.array([target]), pieces.said(piece, minute), np.array([ahead]))
    return laid[0], (float(reached[0]) - minute) / 60.0, signs.stall_seen
