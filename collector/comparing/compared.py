"""What a comparison says: each quantity before and after a change, with its interval and its budget of errors. Pure.

Kelvin, minutes, hours; the change is after less before.
"""

import math
from collections.abc import Callable, Sequence
from typing import Literal, get_args

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from collector.comparing.told import CookTold, scaled
from collector.model.comparison import CookNumber, compare, cooks_needed
from collector.model.difference import SOURCES, Difference, Question
from collector.model.field import Array
from collector.model.plan import GRATE, Plan, Zone

__all__ = [
    "EFFECT_KELVIN",
    "SCHEMA",
    "Budget",
    "Comparison",
    "DifferenceMap",
    "Quantity",
    "SideCook",
    "compared",
    "planned",
]

SCHEMA = 1
EFFECT_KELVIN = 50.0 / 9.0
"""10 °F: a change of the far end that a cook would give something for."""
CELLS_X, CELLS_Y = 40, 10
MAP_COLUMNS, MAP_ROWS = 24, 9
LOW, HIGH = 0.025, 0.975
FAR_SHARE = 2.0 / 3.0
"""Of the grate's length, where the plan has no zones."""
PER_COOK = ("one cook is not the other", "where the probes were put", "weather", "noise in time")
"""Sources of error that more cooks make less."""
RHYTHM_SD_MINUTES, STALL_SD_HOURS, MEAT_SD_KELVIN = 5.0, 1.2, 3.0
"""How far cooks in one pit differ in these (common practice, no source)."""

Key = Literal["far-end-deficit", "spread", "gradient", "top-to-grate", "rhythm", "stall", "flat-less-point"]


class Budget(Struct, frozen=True):
    """One source of error."""

    source: str
    variance: float
    """In the square of the quantity's unit."""
    per_cook: bool
    """More cooks make it less."""


class Quantity(Struct, frozen=True):
    """One quantity and what came of it."""

    key: Key
    unit: Literal["K", "min", "h"]
    what: str
    before: float
    after: float
    change: float
    low: float
    high: float
    """95 % interval."""
    sd: float
    shown: bool
    """The interval leaves no change out."""
    budget: tuple[Budget, ...]
    """The largest first; empty where it does not fall apart into sources."""
    cooks_needed: int | None
    """A side, to show `effect` nine times of ten; null where no number would, or it cannot be said."""
    effect: float
    """The change that is asked about, in the quantity's unit."""


class SideCook(Struct, frozen=True):
    """A cook of one side, or a stretch of one, and what of it was used."""

    name: str
    cook: str
    started_unix: float
    minutes: int
    left_out_minutes: int
    probes: tuple[str, ...]
    left_out_probes: tuple[str, ...]
    grate_celsius: float
    ambient_celsius: float | None


class DifferenceMap(Struct, frozen=True):
    """What the change made of each place of the grate against the grate's mean; rows from the back."""

    length_m: float
    width_m: float
    columns: int
    rows: int
    kelvin: tuple[float, ...]
    sd_kelvin: tuple[float, ...]

    @property
    def shown(self) -> tuple[bool, ...]:
        """Where the 95 % interval of the place leaves no change out."""
        return tuple(abs(k) > 1.96 * sd for k, sd in zip(self.kelvin, self.sd_kelvin, strict=True))


class Comparison(Struct, frozen=True):
    """Two sides and what is told of the change between them."""

    schema: int
    pit: str
    far_end: str
    """Name of the zone farthest from the fire."""
    before: tuple[SideCook, ...]
    after: tuple[SideCook, ...]
    quantities: tuple[Quantity, ...]
    """The deficit of the far end first; it is what the verdict is about."""
    map: DifferenceMap
    same_probes: int
    """Probes of the chamber that stood in the same places on both sides."""
    other_probes: int
    """That did not, or were others."""
    rise_kelvin: float
    """Of the grate over the air outside, to which all cooks were brought."""

    @property
    def within_a_cook(self) -> bool:
        """Whether stretches of one cook stand on both sides."""
        return bool({cook.cook for cook in self.before} & {cook.cook for cook in self.after})


def compared(before: Sequence[CookTold], after: Sequence[CookTold], effect_kelvin: float = EFFECT_KELVIN) -> Comparison:
    """Compare two sides.

    Raises:
        ValueError: a side is empty, or the cooks were in pits of other measures; the message says which.
    """
    cooks = (*before, *after)
    if not before or not after:
        raise ValueError("each side of a change needs a cook: BEFORE… -- AFTER…")
    plan = cooks[-1].plan
    for cook in cooks:
        here, there = cook.plan.chamber, plan.chamber
        if (here.length_m, here.width_m) != (there.length_m, there.width_m):
            raise ValueError(f"{cook.name} was in a pit of other measures than {cooks[-1].name}: nothing to compare")
    rise = float(np.mean([cook.rise_kelvin for cook in cooks]))
    field = Difference(scaled(before, rise), scaled(after, rise), plan.chamber.length_m, plan.chamber.width_m)
    share = 1.0 / sum(1.0 / len({cook.cook for cook in side}) for side in (before, after))
    apart = not {cook.cook for cook in before} & {cook.cook for cook in after}
    quantities = [
        *_linear(field, cooks, plan, effect_kelvin, share if apart else math.nan),
        *_spread(field, plan, effect_kelvin),
        *_numbers(before, after, effect_kelvin),
    ]
    order = {key: k for k, key in enumerate(get_args(Key))}
    kelvin, sd = field.grid(MAP_COLUMNS, MAP_ROWS)
    same = _places(before) & _places(after)
    return Comparison(
        SCHEMA, plan.chamber.name, _far_end(plan)[0], tuple(map(_side, before)), tuple(map(_side, after)),
        tuple(sorted(quantities, key=lambda q: order[q.key])),
        DifferenceMap(
            plan.chamber.length_m, plan.chamber.width_m, MAP_COLUMNS, MAP_ROWS,
            tuple(np.round(kelvin.ravel(), 3).tolist()), tuple(np.round(sd.ravel(), 3).tolist()),
        ),
        len(same), len((_places(before) | _places(after)) - same), rise,
    )  # fmt: skip


def planned(before: Sequence[CookTold], effect_kelvin: float) -> Quantity:
    """Say, before a change is made, how many cooks a side it takes to show one of the far end.

    The cooks after it are taken to be as these are, with the same probes put back in the same places.

    Raises:
        ValueError: there is no cook.
    """
    again = [_renamed(cook) for cook in before]
    return compared(before, again, effect_kelvin).quantities[0]


def _renamed(cook: CookTold) -> CookTold:
    name = f"{cook.cook} (after)"
    return replace(cook, cook=name, stretch=replace(cook.stretch, cook=name))


def _places(side: Sequence[CookTold]) -> set[tuple[str, str, float, float]]:
    return {(p.identity, p.level, p.x_m, p.y_m) for cook in side for p in cook.stretch.probes}


def _side(cook: CookTold) -> SideCook:
    return SideCook(
        cook.name, cook.cook, cook.started_unix, cook.minutes, cook.left_out_minutes,
        tuple(p.name for p in cook.stretch.probes), cook.left_out_probes, round(cook.grate_celsius, 2),
        None if math.isnan(cook.ambient_celsius) else round(cook.ambient_celsius, 2),
    )  # fmt: skip


# -- questions -----------------------------------------------------------------------------------------------------


def _cells(plan: Plan, zone: Zone | None = None) -> tuple[Array, Array]:
    """Give the centres of cells of the grate, or of one zone, shape (cells,) each."""
    chamber = plan.chamber
    x0, x1, y0, y1 = (0.0, chamber.length_m, 0.0, chamber.width_m)
    if zone is not None:
        x0, x1, y0, y1 = zone.x0_m, zone.x1_m, zone.y0_m, zone.y1_m
    along = x0 + (np.arange(CELLS_X) + 0.5) / CELLS_X * (x1 - x0)
    across = y0 + (np.arange(CELLS_Y) + 0.5) / CELLS_Y * (y1 - y0)
    x, y = np.meshgrid(along, across)
    return x.ravel(), y.ravel()


def _against_mean(plan: Plan, zone: Zone, level: str = GRATE) -> Question:
    """Ask how far a zone, or another level, lies above the mean of the grate."""
    gx, gy = _cells(plan)
    zx, zy = _cells(plan, zone)
    levels = (*((GRATE,) * len(gx)), *((level,) * len(zx)))
    weight = np.concatenate([np.full(len(gx), -1.0 / len(gx)), np.full(len(zx), 1.0 / len(zx))])
    return Question(levels, np.concatenate([gx, zx]), np.concatenate([gy, zy]), weight)


def _far_end(plan: Plan) -> tuple[str, Zone]:
    """Give the zone of the grate farthest from the fire; several that lie side by side are one."""
    grate = [zone for zone in plan.zones if zone.level == GRATE]
    length, width = plan.chamber.length_m, plan.chamber.width_m
    if not grate:
        return "the third farthest from the fire", Zone("far end", GRATE, FAR_SHARE * length, length, 0.0, width)
    last = max(grate, key=lambda zone: zone.x0_m + zone.x1_m)
    beside = [z for z in grate if abs(z.x0_m - last.x0_m) + abs(z.x1_m - last.x1_m) < 0.02 * length]
    name = " and ".join(zone.name for zone in beside)
    return name, Zone(name, GRATE, last.x0_m, last.x1_m, min(z.y0_m for z in beside), max(z.y1_m for z in beside))


def _slope(plan: Plan) -> Question:
    """Ask how much hotter the fire end is than the far end, along the straight line that fits the grate best."""
    x, y = _cells(plan)
    off = x - x.mean()
    return Question((GRATE,) * len(x), x, y, -plan.chamber.length_m * off / float(off @ off))


def _linear(field: Difference, cooks: Sequence[CookTold], plan: Plan, effect: float, share: float) -> list[Quantity]:
    name, far = _far_end(plan)
    whole = _against_mean(plan, far)
    deficit = Question(whole.level, whole.x_m, whole.y_m, -whole.weight)
    asked: list[tuple[Key, str, Question]] = [
        ("far-end-deficit", f"{name} below the grate's mean", deficit),
        ("gradient", "fire end above far end, along the grate", _slope(plan)),
    ]
    upper = {p.level for p in cooks[0].stretch.probes}.intersection(
        *({p.level for p in cook.stretch.probes} for cook in cooks)
    ) - {GRATE}
    for level in sorted(upper)[:1]:
        everywhere = Zone(level, level, 0.0, plan.chamber.length_m, 0.0, plan.chamber.width_m)
        asked.append(("top-to-grate", f"{level} above the grate", _against_mean(plan, everywhere, level)))
    found = []
    for key, what, question in asked:
        look = field.ask(question)
        was, is_now = (float(side.mean()) for side in field.sides([question]))
        budget = tuple(
            Budget(source, round(variance, 4), source in PER_COOK)
            for source, variance in sorted(zip(SOURCES, look.variances, strict=True), key=lambda item: -item[1])
        )
        per_cook = share * sum(b.variance for b in budget if b.per_cook)
        shared = sum(b.variance for b in budget if not b.per_cook)
        low, high = look.quantile(LOW), look.quantile(HIGH)
        found.append(
            Quantity(
                key, "K", what, was, is_now, look.kelvin, low, high, look.sd_kelvin, low > 0.0 or high < 0.0, budget,
                None if math.isnan(share) else cooks_needed(effect, per_cook, shared), effect,
            )
        )  # fmt: skip
    return found


def _spread(field: Difference, plan: Plan, effect: float) -> list[Quantity]:
    zones = [zone for zone in plan.zones if zone.level == GRATE]
    if len(zones) < 2:
        return []
    was, is_now = (np.ptp(side, axis=1) for side in field.sides([_against_mean(plan, zone) for zone in zones]))
    change = is_now - was
    low, high = (float(q) for q in np.quantile(change, (LOW, HIGH)))
    return [
        Quantity(
            "spread", "K", "hottest zone of the grate less coldest", float(was.mean()), float(is_now.mean()),
            float(change.mean()), low, high, float(change.std()), low > 0.0 or high < 0.0, (), None, effect,
        )
    ]  # fmt: skip


def _by_cook(side: Sequence[CookTold], number: Callable[[CookTold], CookNumber | None]) -> list[CookNumber]:
    """Give the number of each cook; stretches of one cook are not as many cooks, but their mean."""
    of_cook: dict[str, list[CookNumber]] = {}
    for cook in side:
        if (told := number(cook)) is not None:
            of_cook.setdefault(cook.cook, []).append(told)
    return [
        CookNumber(float(np.mean([n.value for n in told])), sum(n.variance for n in told) / len(told) ** 2)
        for told in of_cook.values()
    ]


def _numbers(before: Sequence[CookTold], after: Sequence[CookTold], effect_kelvin: float) -> list[Quantity]:
    asked: tuple[tuple[Key, Literal["K", "min", "h"], str, Callable[[CookTold], CookNumber | None], float, float], ...]
    asked = (
        ("rhythm", "min", "time between refuels", lambda c: c.rhythm, RHYTHM_SD_MINUTES, 10.0),
        ("stall", "h", "length of the meat's stall", lambda c: c.stall, STALL_SD_HOURS, 1.0),
        ("flat-less-point", "K", "flat above its point, on the way", lambda c: c.flat_less_point, MEAT_SD_KELVIN,
         effect_kelvin),
    )  # fmt: skip
    found = []
    for key, unit, what, number, cook_sd, effect in asked:
        first, second = (_by_cook(side, number) for side in (before, after))
        if not first or not second:
            continue
        told = compare(first, second, cook_sd)
        was, is_now = (float(np.mean([n.value for n in side])) for side in (first, second))
        budget = tuple(Budget(source, round(variance, 4), per_cook=True) for source, variance in told.budget)
        per_cook = told.sd**2 / (1.0 / len(first) + 1.0 / len(second))
        found.append(
            Quantity(
                key, unit, what, was, is_now, told.amount, told.low, told.high, told.sd, told.shown, budget,
                cooks_needed(effect, per_cook, 0.0), effect,
            )
        )  # fmt: skip
    return found
