"""A family of pairs that knows no pit: a field made of slopes and bumps, another change, another noise each time."""

from collections.abc import Callable

import numpy as np
from numpy.random import Generator

from tests.bench.quality.pairs.pair import Array, Pair, far_end, handled, noise, put_back, stretch_of, with_scales

__all__ = ["draw"]

Field = Callable[[Array, Array], Array]
_LEAST_SHARE = 0.3
"""Of a change's range that the far end has to see of it."""


def draw(seed: int, size: float, cooks: int) -> Pair:
    """Draw a pair with a true change of this size, so many cooks a side."""
    random = np.random.default_rng([seed, round(10 * size), cooks])
    u = random.uniform
    length, width = u(0.9, 1.8), u(0.45, 0.75)
    far_m = u(0.6, 0.78) * length
    x_m, y_m = _spread(random, int(random.integers(6, 13)), length, width)
    sides = handled(random, x_m, y_m)
    pattern = _bumps(random, length, width, 5.0, u(-10.0, 4.0))
    change = _scaled(random, size, length, width, far_m)
    own_kelvin, slope_kelvin, slope_tau = u(0.3, 1.1), u(0.5, 2.5), u(10.0, 40.0)
    place_m, knows_air = u(0.01, 0.04), u() < 0.7
    stretches, rises = [], []
    for side, probes in enumerate(sides):
        for cook in range(cooks):
            rise = u(0.9, 1.1)
            own = _own(random, length, width, own_kelvin, far_m)
            x, y = put_back(random, probes, length, width, place_m)
            field = rise * (pattern(x, y) + (change(x, y) if side else 0.0)) + own(x, y)
            minutes = int(random.integers(200, 560))
            along = (x / length - 0.5)[None, :]
            level = 110.0 + u(3.0, 8.0) * np.sin(np.arange(minutes) / u(4.0, 8.0))[:, None] * (1.0 + 0.2 * along)
            shown = level + field + noise(random, minutes, 1, slope_tau, slope_kelvin) * along
            shown = shown + noise(random, minutes, len(x), u(3.0, 20.0), u(0.3, 1.2)) + probes.offset
            stretches.append(stretch_of(f"{side}-{cook}", probes, np.round(shown, 1), knows_air=knows_air))
            rises.append(rise if knows_air else 1.0)
    reference = float(np.mean(rises))
    stretches = list(with_scales(stretches, rises, reference))
    return Pair(
        tuple(stretches[:cooks]), tuple(stretches[cooks:]), length, width, far_m,
        size * (reference if knows_air else 1.0),
    )  # fmt: skip


def _spread(random: Generator, count: int, length: float, width: float) -> tuple[Array, Array]:
    """Spread probes along the pit, the far end among them, here and there across it."""
    x = (np.arange(count) + random.uniform(0.15, 0.85, count)) / count
    return 0.04 * length + 0.92 * length * x, random.uniform(0.15, 0.85, count) * width


def _bumps(random: Generator, length: float, width: float, kelvin: float, tilt: float) -> Field:
    number = int(random.integers(3, 7))
    at = random.uniform((0.0, 0.0), (length, width), (number, 2))
    reach = random.uniform((0.1 * length, 0.3 * width), (0.4 * length, 1.2 * width), (number, 2))
    size = random.normal(0.0, kelvin / 2.0, number)

    def field(x: Array, y: Array) -> Array:
        total: Array = tilt * (x / length - 0.5)
        for (cx, cy), (rx, ry), k in zip(at, reach, size, strict=True):
            total = total + k * np.exp(-0.5 * (((x - cx) / rx) ** 2 + ((y - cy) / ry) ** 2))
        return total

    return field


def _change(random: Generator, length: float, width: float) -> Field:
    """Draw the shape of a change: a slope, a step, a place at the far end, or what a wall does."""
    shape, u = int(random.integers(0, 4)), random.uniform
    at, wide, across = u(0.55, 0.9) * length, u(0.08, 0.25) * length, u(0.0, width)
    reach_y = u(0.5, 2.0) * width
    shapes: tuple[Field, ...] = (
        lambda x, y: x / length + 0.0 * y,
        lambda x, y: 1.0 / (1.0 + np.exp(-(x - at) / (0.5 * wide))) + 0.0 * y,
        lambda x, y: np.exp(-0.5 * (((x - at) / (1.5 * wide)) ** 2 + ((y - across) / reach_y) ** 2)),
        lambda x, y: np.exp((x - length) / (2.0 * wide)) + 0.0 * y,
    )
    return shapes[shape]


def _scaled(random: Generator, size: float, length: float, width: float, far_m: float) -> Field:
    """Draw shapes until one is a change of the far end, and make it one of this size."""
    x, y = np.linspace(0.0, length, 81), np.linspace(0.0, width, 21)
    while True:
        shape = _change(random, length, width)
        cells = shape(*np.meshgrid(x, y))
        whole = far_end(cells, x, far_m)
        if abs(whole) > _LEAST_SHARE * np.ptp(cells):
            return lambda x, y: size / whole * shape(x, y)


def _own(random: Generator, length: float, width: float, kelvin: float, far_m: float) -> Field:
    """Draw what a cook has of its own; kelvin is what it makes of the far end's deficit, a standard deviation."""
    x, y = np.meshgrid(np.linspace(0.0, length, 41), np.linspace(0.0, width, 11))
    draws = [_bumps(random, length, width, 2.0, random.normal(0.0, 2.0)) for _ in range(12)]
    usual = np.std([far_end(draw(x, y), x[0], far_m) for draw in draws])
    return lambda x, y: kelvin / usual * draws[0](x, y)
