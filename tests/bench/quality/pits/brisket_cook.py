"""The brisket of a night: two parts of one family of meat, each generator with a family of its own."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.quality.meat.front import Front
from tests.bench.quality.meat.melting import Melting
from tests.bench.quality.meat.night import draw
from tests.bench.quality.meat.nodes import Nodes
from tests.bench.quality.pits.story import DT, Story

__all__ = ["cook_brisket"]

Array = NDArray[np.float64]
FAMILIES: dict[str, Callable] = {"layers": Front, "network": Nodes, "drifting": Melting}
PARTS = ("point", "flat")
REACHES_F = (165, 195, 203)
HALF_THICKNESS_M = (0.03, 0.055)
"""Of a whole brisket's parts (common practice, no source)."""
COOLS_SECONDS = 5400.0
"""Meat that is done is taken off: its probe falls with this time constant towards the air outside."""


def cook_brisket(
    generator: str, random: Generator, air: Array, story: Story, on: float, wrap: float | None
) -> tuple[Array, dict[str, dict[str, float | None]], float | None]:
    """Cook two parts in the air around them.

    Args:
        generator: whose meat.
        random: the night's own.
        air: °C at both parts, shape (steps, 2).
        story: the night.
        on: when the meat goes on, s.
        wrap: when it is wrapped; None: never.

    Returns:
        Temperatures of the tips, °C, shape (steps, 2); when each part reaches 165, 195 and 203 °F; when it was wrapped.
    """
    drawn = draw(random, len(PARTS))
    drawn = replace(drawn, half_thickness_m=np.clip(drawn.half_thickness_m, *HALF_THICKNESS_M))
    meat = FAMILIES[generator](random, drawn)
    tips, every = np.empty_like(air), round(60.0 / DT)
    off = [np.inf, np.inf]
    wrapped = None
    tip = np.array(meat.tip_celsius, float)
    done_celsius = (REACHES_F[-1] - 32.0) / 1.8
    taken_off = tip.copy()
    for k in range(0, len(air), every):
        now = float(story.t[k])
        before = tip.copy()
        if now >= on:
            if wrap is not None and now >= wrap and wrapped is None:
                wrapped = wrap
            bare = wrapped is None
            meat.step(
                60.0,
                air[k : k + every].mean(0),
                open_share=np.ones(2) if bare else drawn.wrap_open,
                heat_share=np.ones(2) if bare else drawn.wrap_heat,
            )
        tip = np.array(meat.tip_celsius, float)
        for part in range(len(PARTS)):
            if off[part] == np.inf and tip[part] >= done_celsius:
                off[part], taken_off[part] = now, tip[part]
            if now > off[part]:
                rest = story.ambient[k] + (taken_off[part] - story.ambient[k]) * np.exp(
                    -(now - off[part]) / COOLS_SECONDS
                )
                tip[part] = rest
        steps = min(every, len(air) - k)
        tips[k : k + steps] = before + (tip - before) * (np.arange(1, steps + 1) / every)[:, None]
    reaches: dict[str, dict[str, float | None]] = {}
    for part, name in enumerate(PARTS):
        reaches[name] = {}
        for level in REACHES_F:
            over = np.flatnonzero(tips[:, part] >= (level - 32.0) / 1.8 - 1e-9)
            at = float(story.t[over[0]]) if len(over) else None
            reaches[name][str(level)] = at if at is not None and at > 0.0 else None
    return tips, reaches, wrapped
