"""Floors of the quality bench: how bad each figure may be before a build fails, all of them in `floors.toml`.

A floor stands at the goal where the figure meets it, else at the last figure less its 95 % bound: Wilson's interval for
a share of independent cases, the percentile bootstrap over nights, pieces or pairs for all others (Efron and
Tibshirani, *An Introduction to the Bootstrap*, ch. 13). To raise a floor is free; one that is looser than it once was
needs a reason.
"""

import math
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import msgspec
import numpy as np
from msgspec.structs import replace
from numpy.random import Generator
from scipy.stats import binomtest

from tests.bench.quality.fixed import Score, Task, parts_of
from tests.bench.quality.meat.judge import MeatScore
from tests.bench.quality.table import Goal

__all__ = ["FILE", "Floor", "FloorError", "as_toml", "compare", "figures", "load", "proposed"]

FILE = Path(__file__).with_name("floors.toml")
DRAWS = 300
SLACK = 1e-6
"""By so much figures of two machines may differ."""

Judged = Sequence[tuple[Task, Sequence[Score]]]


class FloorError(ValueError):
    """A floor that may not be what it says; the message names it and says what is wanted."""


class Floor(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How far one figure may go to one side."""

    figure: str
    side: Literal["least", "most"]
    value: float
    tightest: float
    """The tightest value this floor ever had."""
    goal: float
    last: float
    """What the figure was when the floor was set."""
    bound: Literal["goal", "Wilson", "bootstrap"]
    """What it stands at: the goal, or that bound of the last figure."""
    reason: str = ""
    """Why it is looser than it once was."""

    def looser(self, one: float, other: float) -> bool:
        """Tell whether the first of two values forbids less than the second."""
        return one > other + SLACK if self.side == "most" else one < other - SLACK

    def margin(self, figure: float) -> float:
        """Give how far a figure keeps from the floor; negative below it, NaN where nothing was measured."""
        return self.value - figure if self.side == "most" else figure - self.value


def figures(judged: Judged) -> dict[str, Goal]:
    """Give all figures by their names, with their goals."""
    parts = parts_of([score for _, scores in judged for score in scores])
    return {f"{part.title.partition(' (')[0]}: {goal.what}": goal for part in parts for goal in part.goals}


def load(text: str) -> dict[tuple[str, str], Floor]:
    """Read the floors, by figure and side.

    Raises:
        FloorError: one lacks a field, has one that does not exist, or was lowered without a reason.
    """
    found: dict[tuple[str, str], Floor] = {}
    try:
        floors = msgspec.convert(tomllib.loads(text).get("floor", []), type=list[Floor])
    except (tomllib.TOMLDecodeError, msgspec.ValidationError) as error:
        raise FloorError(f"{FILE.name}: {error}") from error
    for floor in floors:
        name = f"{FILE.name}: {floor.figure} ({floor.side})"
        if (floor.figure, floor.side) in found:
            raise FloorError(f"{name} is there twice")
        if floor.looser(floor.value, floor.tightest) and not floor.reason.strip():
            raise FloorError(
                f"{name} was {floor.tightest:g} and is {floor.value:g}: a floor is lowered with a `reason`"
            )
        if floor.looser(floor.tightest, floor.value):
            raise FloorError(f"{name} is {floor.value:g}, tighter than its `tightest`: set that to the same")
        if floor.bound == "goal" and floor.looser(floor.value, floor.goal):
            raise FloorError(f"{name} is looser than its goal: `bound` says Wilson or bootstrap there")
        found[floor.figure, floor.side] = floor
    return found


def compare(floors: dict[tuple[str, str], Floor], found: dict[str, Goal]) -> tuple[list[str], bool]:
    """Hold the figures against their floors.

    Returns:
        A line a floor, with figure, floor and margin, and whether all hold. A figure without a floor, a floor without a
        figure and a figure that was not measured are failures too.
    """
    width = max(map(len, found), default=0)
    lines, good = [], True
    for key in sorted({*floors, *wanted(found)}):
        figure, side = key
        floor, goal = floors.get(key), found.get(figure)
        if floor is None or goal is None:
            good = False
            lines.append(f"FAILS  {figure:{width}}  {'no floor' if floor is None else 'no figure'} ({side})")
            continue
        margin = floor.margin(goal.value)
        held = margin >= -SLACK  # not so for NaN
        good &= held
        at = "the goal" if floor.bound == "goal" else floor.bound
        lines.append(
            f"{'holds' if held else 'FAILS'}  {figure:{width}}  {goal.value:8.2f}  {side:5} {floor.value:8.2f}"
            f"  margin {margin:+8.2f}  ({at})"
        )
    return lines, good


def wanted(found: dict[str, Goal]) -> list[tuple[str, str]]:
    """List the figures with each side on which their goal has an end."""
    ends = (("least", -math.inf), ("most", math.inf))
    return [(name, side) for name, goal in found.items() for side, none in ends if getattr(goal, side) != none]


def proposed(judged: Judged) -> list[Floor]:
    """Work out the floors these figures would set."""
    found = figures(judged)
    random = np.random.default_rng(1)
    drawn = [figures(_resampled(judged, random)) for _ in range(DRAWS)]
    floors = []
    for name, side in wanted(found):
        goal = found[name]
        limit = getattr(goal, side)
        floor = Floor(figure=name, side=side, value=limit, tightest=limit, goal=limit, last=goal.value, bound="goal")
        if floor.margin(goal.value) < 0.0:
            draws = [one[name].value for one in drawn]
            value = (
                _wilson(goal, side) if goal.cases else float(np.quantile(draws, 0.025 if side == "least" else 0.975))
            )
            value = min(value, goal.value) if side == "least" else max(value, goal.value)
            value = (math.floor if side == "least" else math.ceil)(100.0 * value) / 100.0
            floor = replace(floor, value=value, tightest=value, bound="Wilson" if goal.cases else "bootstrap")
        floors.append(floor)
    return floors


def as_toml(floors: Sequence[Floor]) -> str:
    """Write floors as tables of TOML."""
    return "\n".join(
        f'[[floor]]\nfigure = "{f.figure}"\nside = "{f.side}"\nvalue = {f.value:.2f}\ntightest = {f.tightest:.2f}\n'
        f'goal = {f.goal:.2f}\nlast = {f.last:.2f}\nbound = "{f.bound}"\n'
        for f in floors
    )


def _wilson(goal: Goal, side: str) -> float:
    """Give an end of Wilson's 95 % interval of a share, percent."""
    share = binomtest(round(goal.value / 100.0 * goal.cases), goal.cases).proportion_ci(method="wilson")
    return 100.0 * float(share.low if side == "least" else share.high)


def _resampled(judged: Judged, random: Generator) -> Judged:
    """Draw as many with replacement: nights of each kind, pairs of each family, pieces of each family of meat."""
    kinds: dict[tuple[str, str], list[tuple[Task, Sequence[Score]]]] = {}
    for one in judged:
        kinds.setdefault(one[0][:2], []).append(one)
    drawn = [some[k] for some in kinds.values() for k in random.integers(0, len(some), len(some))]
    return [(task, [_redrawn(s, random) if isinstance(s, MeatScore) else s for s in scores]) for task, scores in drawn]


def _redrawn(score: MeatScore, random: Generator) -> MeatScore:
    at = random.integers(0, len(score.covered), len(score.covered))
    return MeatScore(
        score.family, score.stage, {way: tuple(errors[k] for k in at) for way, errors in score.errors.items()},
        tuple(score.covered[k] for k in at), tuple(score.width[k] for k in at),
    )  # fmt: skip
