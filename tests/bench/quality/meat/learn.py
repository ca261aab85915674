"""Learn the hours to go: `python -m tests.bench.quality.meat.learn` writes `collector/model/meat/learned.py` anew.

Each family is left out in turn to see what the forecast is worth for meat that it has not seen: that is the table it
prints. The widths of the intervals are set half way between what those left out need and what those learned from need:
a real piece is neither. What is written is learned from all but `nodes`.
"""

import argparse
import os
import sys
from pathlib import Path

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import itertools

import numpy as np
from numpy.typing import NDArray

from collector.model.meat.hours_left import NARROWEST, OFFSET_HOURS, Layers, quantiles_of
from tests.bench.quality.meat.lessons import Lessons, lessons
from tests.bench.quality.meat.pieces import LEARNED_FROM

Array = NDArray[np.float64]
HIDDEN = (32, 24)
NETWORKS = 3
SCALE = 1000
SHARES = np.array([0.1, 0.5, 0.9])
SMOOTH = 0.02
"""Half the width over which the kink of the pinball loss is rounded."""
BLUR = 0.02
"""Noise on the columns, so that no single one is leant on."""
DECAY = 1e-4
RATE, WARM_STEPS, BATCH_ROWS = 3e-3, 200, 512
FIRST_SEED = 1_000
WHERE = Path("collector/model/meat/learned.py")


def slope_of_loss(outputs: Array, wanted: Array) -> Array:
    """Give the slope of the pinball loss by the network's three outputs, shape (m, 3)."""
    middle, down, up = outputs.T
    quantiles = np.column_stack(
        [middle - np.logaddexp(0.0, down - NARROWEST), middle, middle + np.logaddexp(0.0, up - NARROWEST)]
    )
    over = 0.5 + 0.5 * np.clip((wanted[:, None] - quantiles) / SMOOTH, -1.0, 1.0)
    by_quantile = (1.0 - SHARES) * (1.0 - over) - SHARES * over
    share_down, share_up = (1.0 / (1.0 + np.exp(NARROWEST - side)) for side in (down, up))
    return np.column_stack([by_quantile.sum(axis=1), -by_quantile[:, 0] * share_down, by_quantile[:, 2] * share_up])


def fit(columns: Array, hours: Array, seed: int, epochs: int) -> Layers:
    """Fit one network by Adam (Kingma & Ba 2015), its step falling to nothing along a cosine."""
    random = np.random.default_rng(seed)
    wanted = np.log(hours + OFFSET_HOURS)
    sizes = (columns.shape[1], *HIDDEN, 3)
    numbers: list[Array] = []
    for n, m in itertools.pairwise(sizes):
        numbers += [random.normal(0.0, n**-0.5, (n, m)), np.zeros(m)]
    numbers[-1][0] = wanted.mean()
    first, second = [np.zeros_like(a) for a in numbers], [np.zeros_like(a) for a in numbers]
    steps, step = epochs * (len(columns) // BATCH_ROWS), 0
    for _ in range(epochs):
        order = random.permutation(len(columns))
        for begin in range(0, len(columns) - BATCH_ROWS + 1, BATCH_ROWS):
            rows = order[begin : begin + BATCH_ROWS]
            slopes = _slopes(
                numbers, columns[rows] + BLUR * random.standard_normal((BATCH_ROWS, sizes[0])), wanted[rows]
            )
            step += 1
            rate = RATE * min(1.0, step / WARM_STEPS) * (0.5 + 0.5 * np.cos(np.pi * step / steps))
            for k, slope in enumerate(slopes):
                first[k] = 0.9 * first[k] + 0.1 * slope
                second[k] = 0.999 * second[k] + 0.001 * slope**2
                move = first[k] / (1 - 0.9**step) / (np.sqrt(second[k] / (1 - 0.999**step)) + 1e-8)
                numbers[k] -= rate * (move + (DECAY * numbers[k] if numbers[k].ndim == 2 else 0.0))
    return tuple(zip(numbers[::2], numbers[1::2], strict=True))


def _slopes(numbers: list[Array], columns: Array, wanted: Array) -> list[Array]:
    """Carry the slope of the loss back through the layers."""
    values = [columns]
    for weights, bias in zip(numbers[:-2:2], numbers[1:-2:2], strict=True):
        values.append(np.tanh(values[-1] @ weights + bias))
    back = slope_of_loss(values[-1] @ numbers[-2] + numbers[-1], wanted) / len(columns)
    slopes: list[Array] = []
    for k in range(len(values) - 1, -1, -1):
        slopes[:0] = [values[k].T @ back, back.sum(axis=0)]
        if k:
            back = (back @ numbers[2 * k].T) * (1.0 - values[k] ** 2)
    return slopes


def fit_all(taught: list[Lessons], epochs: int, networks: int) -> list[Layers]:
    """Fit networks to families, each family counting alike."""
    least = min(len(family.hours) for family in taught)
    found = []
    for seed in range(networks):
        random = np.random.default_rng(seed)
        rows = [random.permutation(len(family.hours))[: 2 * least] for family in taught]
        columns = np.concatenate([family.columns[r] for family, r in zip(taught, rows, strict=True)])
        hours = np.concatenate([family.hours[r] for family, r in zip(taught, rows, strict=True)])
        found.append(fit(columns, hours, seed, epochs))
    return found


def read(networks: list[Layers], columns: Array) -> Array:
    """Give the mean of the networks' logarithms, shape (m, 3)."""
    return np.asarray(np.mean([quantiles_of(layers, columns) for layers in networks], axis=0))


def widths(misses: list[tuple[Array, Array]]) -> tuple[float, float]:
    """Give by how much the sides of the intervals are drawn apart so that 10 % of left-out arrivals lie beyond each.

    The median over the families: the one that is like no other must not set the widths for all.

    Args:
        misses: logarithms told (m, 3) and come (m,), a pair for each family left out.
    """
    early, late = [], []
    for told, came in misses:
        off = came - told[:, 1]
        early.append(float(np.quantile(-off / (told[:, 1] - told[:, 0]), 0.9)))
        late.append(float(np.quantile(off / (told[:, 2] - told[:, 1]), 0.9)))
    return max(float(np.median(early)), 0.8), max(float(np.median(late)), 0.8)


def _misses(taught: dict[str, Lessons], told: dict[str, Array], *, seen: bool) -> list[tuple[Array, Array]]:
    """Give what was told and what came of each family, where the stall had shown itself or where it had not."""
    rows = {family: lesson.seen == seen for family, lesson in taught.items()}
    return [
        (told[family][rows[family]], np.log(lesson.hours[rows[family]] + OFFSET_HOURS))
        for family, lesson in taught.items()
    ]


def written(networks: list[Layers], seen: tuple[float, float], unseen: tuple[float, float]) -> str:
    """Give the text of the module of learned numbers."""
    sizes = (networks[0][0][0].shape[0], *(bias.size for _, bias in networks[0]))
    flat = np.concatenate([part.ravel() for layers in networks for layer in layers for part in layer])
    words = [str(round(value * SCALE)) for value in flat.tolist()]
    lines, line = [], ""
    for word in words:
        if len(line) + len(word) >= 119:
            lines.append(line)
            line = ""
        line += (" " if line else "") + word
    lines.append(line)
    return (
        '"""What `tests/bench/quality/meat/learn.py` learned of the hours to go; written by it, not by hand."""\n\n'
        '__all__ = ["NUMBERS", "SCALE", "SIZES", "WIDER_SEEN", "WIDER_UNSEEN"]\n\n'
        f"SIZES = {sizes}\n"
        '"""Of the layers of each network, the columns first."""\n'
        f"SCALE = {SCALE}\n"
        f"WIDER_SEEN = ({seen[0]:.3f}, {seen[1]:.3f})\n"
        f"WIDER_UNSEEN = ({unseen[0]:.3f}, {unseen[1]:.3f})\n"
        '"""What the early and the late side of an interval are multiplied with, the stall seen, and not."""\n'
        'NUMBERS = """\n' + "\n".join(lines) + '\n"""\n'
        '"""Weights and biases, layer after layer, network after network, times `SCALE`."""\n'
    )


def main() -> int:
    """Learn, judge what was left out, and write."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.quality.meat.learn", description=__doc__)
    parser.add_argument("--batches", type=int, default=10, metavar="N", help="of nights, for each family (default 10)")
    parser.add_argument("--epochs", type=int, default=30, metavar="N")
    parser.add_argument("--jobs", type=int, default=2, metavar="N")
    parser.add_argument("--check", action="store_true", help="write nothing")
    options = parser.parse_args()
    seeds = range(FIRST_SEED, FIRST_SEED + options.batches)
    taught = {family: lessons(family, seeds, options.jobs) for family in LEARNED_FROM}
    left_out: dict[str, Array] = {}
    for family, lesson in taught.items():
        others = [other for name, other in taught.items() if name != family]
        left_out[family] = read(fit_all(others, max(1, options.epochs // 2), 2), lesson.columns)
        came = np.log(lesson.hours + OFFSET_HOURS)
        told = left_out[family]
        covered = float(((told[:, 0] <= came) & (came <= told[:, 2])).mean())
        off = float(np.median(np.abs(np.exp(told[:, 1]) - np.exp(came)))) * 60.0
        print(f"{family} left out: median error {off:.0f} min, {100 * covered:.0f} % covered, {len(came)} asked")
    networks = fit_all(list(taught.values()), options.epochs, NETWORKS)
    learned_from = {family: read(networks, lesson.columns) for family, lesson in taught.items()}
    factors = []
    for seen in (True, False):
        of_left_out, of_learned = (widths(_misses(taught, told, seen=seen)) for told in (left_out, learned_from))
        print(f"widths, stall {'seen' if seen else 'not seen'}: left out {of_left_out}, learned from {of_learned}")
        early, late = np.mean([of_left_out, of_learned], axis=0).tolist()
        factors.append((early, late))
    if not options.check:
        WHERE.write_text(written(networks, *factors))
    return 0


if __name__ == "__main__":
    sys.exit(main())
