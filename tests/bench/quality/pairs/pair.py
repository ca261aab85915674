"""Cooks before a change and after it, what is asked, and what is true: what all families of pairs give."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from msgspec.structs import replace
from numpy.random import Generator
from numpy.typing import NDArray

from collector.model.difference import AIR_KNOWN, AIR_NOT_KNOWN, PlacedProbe, Stretch

__all__ = ["SIZES", "Array", "Handled", "Pair", "far_end", "handled", "noise"]

Array = NDArray[np.float64]
SIZES = (0.0, 2.8, 5.6, 11.1)
"""True changes of the far end's deficit, kelvin: 0, 5, 10 and 20 °F."""
STATED_KELVIN = (0.3, 0.5, 1.0)
"""Classes a cook may read on the leaflet of a probe, as a standard deviation."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two sides of a change."""

    before: tuple[Stretch, ...]
    after: tuple[Stretch, ...]
    length_m: float
    width_m: float
    far_m: float
    """From where on the grate is its far end."""
    kelvin: float
    """What the change really does to the far end's deficit in such nights."""


@dataclass(frozen=True, slots=True)
class Handled:
    """The probes of one side: where they are said to be, and what each is off by."""

    x_m: Array
    y_m: Array
    identity: tuple[int, ...]
    offset: Array
    stated: float


def handled(random: Generator, x_m: Array, y_m: Array) -> tuple[Handled, Handled]:
    """Draw what happens to the probes between the two sides: nothing, some exchanged, or others taken."""
    count, sd = len(x_m), float(random.uniform(0.3, 1.0))
    stated = next((kelvin for kelvin in STATED_KELVIN if kelvin >= sd), STATED_KELVIN[-1])
    offset = random.normal(0.0, sd, 2 * count)
    first = tuple(range(count))
    before = Handled(x_m, y_m, first, offset[:count], stated)
    way = random.uniform()
    if way < 0.6:
        return before, before
    second = list(first)
    if way < 0.8:
        moved = random.permutation(count)[: max(2, count // 2)]
        for here, there in zip(moved, np.roll(moved, 1), strict=True):
            second[here] = first[there]
    else:
        for here in random.permutation(count)[: int(random.integers(1, count + 1))]:
            second[here] = count + here
    return before, Handled(x_m, y_m, tuple(second), offset[second], stated)


def put_back(random: Generator, probes: Handled, length_m: float, width_m: float, sd_m: float) -> tuple[Array, Array]:
    """Draw where the tips of a cook really are."""
    x = probes.x_m + random.normal(0.0, sd_m, len(probes.x_m))
    y = probes.y_m + random.normal(0.0, sd_m, len(probes.y_m))
    return x.clip(0.02 * length_m, 0.98 * length_m), y.clip(0.04 * width_m, 0.96 * width_m)


def stretch_of(cook: str, probes: Handled, celsius: Array, *, knows_air: bool) -> Stretch:
    """Make a stretch of what the probes of one cook showed."""
    placed = tuple(
        PlacedProbe(f"grate-{k}", f"probe-{identity}", "grate", float(x), float(y), probes.stated)
        for k, (x, y, identity) in enumerate(zip(probes.x_m, probes.y_m, probes.identity, strict=True))
    )
    return Stretch(cook, placed, celsius, scale_sd=AIR_KNOWN if knows_air else AIR_NOT_KNOWN)


def with_scales(stretches: Sequence[Stretch], rises: Sequence[float], reference: float) -> tuple[Stretch, ...]:
    """Bring the differences of each cook to those of a night with the reference rise over the air outside."""
    return tuple(replace(s, scale=reference / rise) for s, rise in zip(stretches, rises, strict=True))


def far_end(field: Array, x_m: Array, far_m: float) -> float:
    """Give how far the far end lies below the grate's mean, kelvin; field over cells, shape (rows, columns)."""
    return float(field.mean() - field[:, x_m >= far_m].mean())


def noise(random: Generator, minutes: int, series: int, tau_minutes: float, sd: float) -> Array:
    """Draw noise of the first order, shape (minutes, series)."""
    fade = np.exp(-1.0 / tau_minutes)
    drive = random.standard_normal((minutes, series)) * sd * np.sqrt(1.0 - fade * fade)
    out = np.empty((minutes, series))
    out[0] = random.standard_normal(series) * sd
    for k in range(1, minutes):
        out[k] = fade * out[k - 1] + drive[k]
    return out
