"""Pieces of meat of several families, cooked in drawn nights until they arrive."""

import copy
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from collector.model.meat.track import Track
from tests.bench.quality.meat.bars import Bars
from tests.bench.quality.meat.front import Front
from tests.bench.quality.meat.melting import Melting
from tests.bench.quality.meat.night import MINUTES, Drawn, draw, shown
from tests.bench.quality.meat.nodes import Nodes
from tests.bench.quality.meat.shells import shells
from tests.bench.quality.meat.stores import Stores

__all__ = ["DONE_CELSIUS", "FAMILIES", "LEARNED_FROM", "Pieces", "cooked"]

Array = NDArray[np.float64]
DONE_CELSIUS = 95.0
SOONEST_MINUTES = 330
STALL_CELSIUS = (63.0, 79.0)
STALL_HOURS = (1.7, 8.0)


class Meat(Protocol):
    """Meat of one family."""

    @property
    def tip_celsius(self) -> Array:
        """Temperature at the tips."""

    def step(self, seconds: float, air_celsius: Array, *, open_share: Array, heat_share: Array) -> None:
        """Cook."""


FAMILIES: dict[str, Callable[[Generator, Drawn], Meat]] = {
    "shells": shells, "front": Front, "stores": Stores, "melting": Melting, "bars": Bars,
    "nodes": Nodes,
}  # fmt: skip
LEARNED_FROM = tuple(name for name in FAMILIES if name != "nodes")


@dataclass(frozen=True, slots=True)
class Pieces:
    """Pieces that arrived, shape (n, minutes) and (n,)."""

    celsius: Array
    """What the probe shows, NaN in spans of silence."""
    true_celsius: Array
    air: Array
    """What the zone says."""
    wrapped_minute: Array
    """NaN: never."""
    wrap_at: Array
    """What the cook said beforehand, °C; infinite: never; NaN: nothing."""
    mass_kg: Array
    done_minute: Array

    def __len__(self) -> int:
        return len(self.mass_kg)

    def track(self, piece: int, minute: int, *, air_known: bool = True, mass_known: bool = True) -> Track:
        """Give what is known of a piece at a minute."""
        wrapped = float(self.wrapped_minute[piece])
        air = self.air[piece, : minute + 1]
        return Track(
            60.0 * np.arange(minute + 1),
            self.celsius[piece, : minute + 1],
            air if air_known else np.full_like(air, np.nan),
            60.0 * wrapped if wrapped <= minute else np.nan,
            "brisket",
            float(self.mass_kg[piece]) if mass_known else np.nan,
        )

    def said(self, piece: int, minute: int) -> float:
        """Give what is known of a wrap to come at a minute, as the forecast takes it."""
        return np.nan if self.wrapped_minute[piece] <= minute else float(self.wrap_at[piece])


def stalls(tip: Array) -> Array:
    """Tell which of unwrapped curves (n, minutes) stall as briskets do, shape (n,): at 65-77 °C, for two to six hours.

    With some room at both ends; the flattest two hours between 55 and 90 °C say where.
    """
    passes = [np.argmax(tip >= celsius, axis=1) for celsius in STALL_CELSIUS]
    hours = (np.where(passes[1] > 0, passes[1], MINUTES) - passes[0]) / 60.0
    long_enough = (passes[0] > 0) & (hours >= STALL_HOURS[0]) & (hours <= STALL_HOURS[1])
    rise = tip[:, 120:] - tip[:, :-120]
    rise = np.where((tip[:, 60:-60] > 55.0) & (tip[:, 60:-60] < 90.0), rise, np.inf)
    middle = tip[np.arange(len(tip)), np.argmin(rise, axis=1) + 60]
    return np.asarray(long_enough & (middle >= STALL_CELSIUS[0] - 2.0) & (middle <= STALL_CELSIUS[1] + 2.0))


def cooked(family: str, seed: int, n: int) -> Pieces:
    """Draw n nights of a family and keep those whose tip arrives at 95 °C within the night."""
    random = np.random.default_rng([seed, list(FAMILIES).index(family)])
    drawn = draw(random, n)
    meat = FAMILIES[family](random, drawn)
    bare_meat = copy.deepcopy(meat)
    tip, bare_tip = np.empty((n, MINUTES)), np.empty((n, MINUTES))
    one = np.ones(n)
    wrapped = np.full(n, np.nan)
    for minute in range(MINUTES):
        tip[:, minute], bare_tip[:, minute] = meat.tip_celsius, bare_meat.tip_celsius
        due = np.isnan(wrapped) & ((tip[:, minute] >= drawn.wrap_at) | (minute >= drawn.wrap_minute))
        wrapped[due] = minute
        bare = np.isnan(wrapped)
        meat.step(
            60.0,
            drawn.air[:, minute],
            open_share=np.where(bare, 1.0, drawn.wrap_open),
            heat_share=np.where(bare, 1.0, drawn.wrap_heat),
        )
        bare_meat.step(60.0, drawn.air[:, minute], open_share=one, heat_share=one)
    done = np.argmax(tip >= DONE_CELSIUS, axis=1)
    kept = np.flatnonzero((done >= SOONEST_MINUTES) & stalls(bare_tip))
    planned = np.isfinite(drawn.wrap_at) | np.isinf(drawn.wrap_minute)
    said = np.where(planned & (random.uniform(size=n) < 0.65), drawn.wrap_at, np.nan)
    return Pieces(
        shown(random, tip)[kept], tip[kept], drawn.shown_air[kept], wrapped[kept], said[kept], drawn.mass_kg[kept],
        done[kept].astype(np.float64),
    )  # fmt: skip
