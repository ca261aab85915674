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


@dataclass(frozen=True, slots=True)
class Lessons:
    """Rows of one family."""

    columns: Array
    """Shape (rows, columns)."""
    hours: Array
    """To go, shape (rows,)."""


def lessons(family: str, seeds: range, jobs: int) -> Lessons:
    """Draw pieces of a family and ask at random minutes."""
    with Pool(jobs) as pool:
        found = pool.starmap(_of_batch, [(family, seed) for seed in seeds], chunksize=1)
    return Lessons(np.concatenate([x for x, _ in found]), np.concatenate([y for _, y in found]))


def _of_batch(family: str, seed: int) -> tuple[Array, Array]:
    pieces = cooked(family, seed, BATCH)
    random = np.random.default_rng([seed, 7])
    rows: list[Array] = []
    hours: list[float] = []
    for piece in range(len(pieces)):
        for ask in range(TO_DONE + TO_OTHERS):
            row = _row(pieces, piece, random, to_done=ask < TO_DONE)
            if row is not None:
                rows.append(row[0])
                hours.append(row[1])
    return np.array(rows), np.array(hours)


def _row(pieces: Pieces, piece: int, random: Generator, *, to_done: bool) -> tuple[Array, float] | None:
    """Ask once; None where nothing can be asked."""
    u = random.uniform
    done = int(pieces.done_minute[piece])
    share = random.beta(1.6, 1.1) if to_done else u()
    minute = int(done * (0.06 + 0.93 * share))
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
    return laid[0], (float(reached[0]) - minute) / 60.0
