"""Two families of pairs cooked in the rehearsal's pits: one changed by plates, one by where its stack begins.

A pit is cooked in several times over, each cook with weather, fire and moods of its own; that takes a minute and is
kept under the temporary folder. What probes would show anywhere follows from the air of each minute, so pairs of every
size, and put-backs and exchanges of probes without end, are drawn from the same cooks.
"""

import os
import pickle
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from msgspec.structs import replace
from numpy.random import Generator
from numpy.typing import NDArray

from adapters.rehearsal.drawn import NightKind, draw_night
from adapters.rehearsal.night import Night
from adapters.rehearsal.pit import Bump, Pattern, Pit, RehearsalProbe
from adapters.rehearsal.places import Places
from adapters.rehearsal.rehearsal import Rehearsal
from collector.model.difference import GUESSED_CELSIUS
from collector.model.field import Array
from tests.bench.quality.pairs.pair import Pair, far_end, handled, noise, put_back, stretch_of, with_scales
from tests.bench.quality.recorded import folder

__all__ = ["PITS", "draw_plates", "draw_stack", "prepare"]

PITS = 12
COOKS = 3
"""Of the pit as it is, and of the pit with its stack higher up."""
SETTLED_MINUTES, LID_MINUTES = 45, 12
USUAL_RISE = 97.0
"""Of the grate over the air outside, kelvin, at which a pattern has its size (`adapters/rehearsal/places.py`)."""
FAR_SHARE = 2.0 / 3.0
_CELLS = (30, 8)


@dataclass(frozen=True, slots=True)
class Cooked:
    """The air of a cook, minute by minute; steady ones only."""

    air: Array
    """Shape (minutes, 2, nodes)."""
    ambient: Array
    fire_kelvin: Array
    gust: Array

    @property
    def rise(self) -> float:
        """How far the grate stood over the air outside, mean."""
        return float(np.mean(self.air[:, 0].mean(axis=1) - self.ambient))


@dataclass(frozen=True, slots=True)
class Kept:
    """A pit and its cooks, as they are kept."""

    night: Night
    plain: tuple[Cooked, ...]
    raised: tuple[Cooked, ...]
    """With the stack higher up."""
    high: Pit
    """The pit of these."""
    raised_kelvin: float
    """What raising it does to the far end's deficit at the usual rise, of two cooks alike in all else."""
    nodes_m: Array


def prepare(pit: int) -> None:
    """Cook in a pit, where that was not done before."""
    _kept(pit)


@lru_cache(maxsize=4)
def _kept(pit: int) -> Kept:
    path = folder() / f"pairs-{pit}.pickle"
    if path.exists():
        kept = pickle.loads(path.read_bytes())
        assert isinstance(kept, Kept)
        return kept
    made = _cook_in(pit)
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_suffix(f".{os.getpid()}")
    beside.write_bytes(pickle.dumps(made, protocol=5))
    beside.replace(path)
    return made


def _cook_in(pit: int) -> Kept:
    random = np.random.default_rng([77, pit])
    drawn = draw_night(NightKind.QUIET if pit % 3 else NightKind.LIDS, 90_000 + pit, 10)
    night = replace(
        drawn, meat=None, probes=tuple(p for p in drawn.probes if p.level == "grate" and p.duty == "chamber")
    )
    # What the pattern adds is put on afterwards, so the air is cooked without
    high = replace(night.pit, stack_inlet_m=night.pit.stack_inlet_m + float(random.uniform(0.4, 0.9)) * night.pit.lid_m)
    plain = tuple(_cook(night, night.pit, random) for _ in range(COOKS))
    raised = tuple(_cook(night, high, random) for _ in range(COOKS))
    nodes = Rehearsal(night).chamber.x_m
    alike = [_deficit(night, where, _cook(night, where, None), nodes) for where in (night.pit, high)]
    return Kept(night, plain, raised, high, alike[1] - alike[0], nodes)


def _cook(night: Night, pit: Pit, random: Generator | None) -> Cooked:
    """Cook on another night, with another wind, another wood; on the very same night without random numbers."""
    other = replace(night, pit=pit, seed=night.seed if random is None else int(random.integers(1, 2**31)))
    if random is not None:
        u, weather, habit = random.uniform, night.weather, night.habit
        other = replace(
            other,
            weather=replace(
                weather,
                ambient_celsius=weather.ambient_celsius + u(-8.0, 8.0),
                wind_metres_per_second=weather.wind_metres_per_second * u(0.4, 2.5),
            ),
            habit=replace(
                habit,
                target_celsius=habit.target_celsius + u(-3.0, 3.0),
                period_seconds=habit.period_seconds * u(0.85, 1.2),
                moisture=habit.moisture * u(0.9, 1.15),
            ),
            lids=tuple(replace(lid, start=lid.start + u(-1200.0, 1200.0)) for lid in night.lids),
        )
    run = Rehearsal(other)
    minutes: list[tuple[Array, float, float, float]] = []
    shut: list[bool] = []
    while run.now < other.duration_seconds:
        if run.now % 60.0 == 0.0:
            ambient = run.ambient_celsius
            gust = run.wind - other.weather.wind_metres_per_second
            minutes.append((run.chamber.air.copy(), ambient, run.fire.celsius - ambient, gust))
            shut.append(not any(0.0 <= run.now - lid.start < lid.seconds + 60.0 * LID_MINUTES for lid in run.lids))
        run.step()
    grate = np.array([air[0].mean() for air, _, _, _ in minutes])
    warm = int(np.argmax(grate >= other.habit.target_celsius - 9.0)) + SETTLED_MINUTES
    kept: NDArray[np.bool_] = np.array(shut) & (np.arange(len(grate)) >= warm)
    columns = [np.array(column)[kept] for column in zip(*minutes, strict=True)]
    return Cooked(*columns)


def _cells(pit: Pit) -> tuple[RehearsalProbe, ...]:
    columns, rows = _CELLS
    return tuple(
        RehearsalProbe("", x_m=(c + 0.5) / columns * pit.length_m, y_m=(r + 0.5) / rows * pit.width_m)
        for r in range(rows)
        for c in range(columns)
    )


def _shown(pit: Pit, cooked: Cooked, places: tuple[RehearsalProbe, ...], nodes: Array) -> Array:
    """Give the temperature of places of the grate minute by minute, shape (minutes, places)."""
    at = Places(pit, nodes, places)
    rows = zip(cooked.air, cooked.ambient, cooked.fire_kelvin, cooked.gust, strict=True)
    return np.array([at.celsius(air, float(a), float(f), float(g)) for air, a, f, g in rows])


def _deficit(night: Night, pit: Pit, cooked: Cooked, nodes: Array) -> float:
    """Give the far end's deficit of a cook, brought to the usual rise."""
    field = _shown(pit, cooked, _cells(pit), nodes).mean(axis=0).reshape(_CELLS[::-1])
    x = (np.arange(_CELLS[0]) + 0.5) / _CELLS[0] * night.pit.length_m
    return far_end(field, x, FAR_SHARE * night.pit.length_m) * USUAL_RISE / cooked.rise


def draw_plates(seed: int, size: float, cooks: int) -> Pair:
    """Draw a pair whose change is one of plates: the ends, a place of the grate, a tilt."""
    return _draw(seed, size, cooks, raised=False)


def draw_stack(seed: int, size: float, cooks: int) -> Pair:
    """Draw a pair whose stack begins higher up after the change, and whose plates make up the rest of it."""
    return _draw(seed, size, cooks, raised=True)


def _draw(seed: int, size: float, cooks: int, *, raised: bool) -> Pair:
    random = np.random.default_rng([seed, round(10 * size), cooks, int(raised)])
    u, kept = random.uniform, _kept(seed % PITS)
    pit = kept.night.pit
    assert pit.pattern is not None, "drawn pits have one"
    length, width, nodes = pit.length_m, pit.width_m, kept.nodes_m
    keep = random.permutation(len(kept.night.probes))[: int(random.integers(6, 11))]
    probes = [kept.night.probes[k] for k in sorted(keep.tolist())]
    sides = handled(random, np.array([p.x_m for p in probes]), np.array([p.y_m for p in probes]))
    wanting = size - (kept.raised_kelvin if raised else 0.0)
    changed = _changed(random, replace(kept.high, pattern=pit.pattern) if raised else pit, wanting)
    own_kelvin, place_m, knows_air = u(0.2, 0.9), u(0.01, 0.04), u() < 0.7
    stretches, rises, truths = [], [], []
    for side, held in enumerate(sides):
        chosen = kept.raised if side and raised else kept.plain
        # One cook is in the record once: of plates the sides share the pool, of a raised stack each has its own
        order = random.permutation(COOKS) if raised or not side else None
        for cook in range(cooks):
            cooked = chosen[int(order[cook])] if order is not None else chosen[int(random.integers(0, COOKS))]
            night_pit = _moody(random, changed if side else pit, own_kelvin)
            x, y = put_back(random, held, length, width, place_m)
            tips = tuple(RehearsalProbe("", x_m=float(a), y_m=float(b)) for a, b in zip(x, y, strict=True))
            start = int(random.integers(0, max(1, len(cooked.ambient) - 240)))
            some = Cooked(cooked.air[start:], cooked.ambient[start:], cooked.fire_kelvin[start:], cooked.gust[start:])
            shown = _shown(night_pit, some, tips, nodes) + held.offset
            shown = shown + noise(random, len(shown), len(tips), 4.0, 0.35)
            stretches.append(stretch_of(f"{side}-{cook}", held, np.round(shown, 1), knows_air=knows_air))
            rises.append(some.rise if knows_air else float(shown.mean()) - GUESSED_CELSIUS)
            truths.append(some.rise)
    reference = float(np.mean(rises))
    stretches = list(with_scales(stretches, rises, reference))
    return Pair(
        tuple(stretches[:cooks]), tuple(stretches[cooks:]), length, width, FAR_SHARE * length,
        size * float(np.mean(truths)) / USUAL_RISE,
    )  # fmt: skip


def _changed(random: Generator, pit: Pit, kelvin: float) -> Pit:
    """Give the pit with plates that put its far end lower by so much at the usual rise."""
    pattern, u = pit.pattern, random.uniform
    assert pattern is not None, "drawn pits have one"
    # What hangs on the fire would be another change on another night
    steady = replace(pattern, flare_share=0.0)
    across = u(0.0, pit.width_m)
    shapes: tuple[Callable[[float], Pattern], ...] = (
        lambda k: replace(pattern, tilt_kelvin=pattern.tilt_kelvin - k),
        lambda k: replace(steady, bumps=(*pattern.bumps, Bump(pit.length_m, across, reach, 3.0 * pit.width_m, -k))),
        lambda k: replace(steady, bumps=(*pattern.bumps, Bump(at, across, reach, u_reach, -k))),
    )
    at, reach, u_reach = u(0.75, 0.95) * pit.length_m, u(0.12, 0.3) * pit.length_m, u(0.6, 2.0) * pit.width_m
    shape = shapes[int(random.integers(0, len(shapes)))]
    bare = _pattern_far_end(replace(pit, pattern=shape(0.0)))
    one = _pattern_far_end(replace(pit, pattern=shape(1.0))) - bare
    return replace(pit, pattern=shape(kelvin / one))


def _moody(random: Generator, pit: Pit, kelvin: float) -> Pit:
    """Give the pit as it is on one night: ash, wood, where the meat lies."""
    pattern, u = pit.pattern, random.uniform
    assert pattern is not None, "drawn pits have one"
    bumps = tuple(
        Bump(
            u(0.0, pit.length_m),
            u(0.0, pit.width_m),
            u(0.12, 0.4) * pit.length_m,
            u(0.3, 1.2) * pit.width_m,
            float(random.normal(0.0, 1.2 * kelvin)),
        )
        for _ in range(3)
    )
    tilt = pattern.tilt_kelvin + float(random.normal(0.0, 1.2 * kelvin))
    return replace(pit, pattern=replace(pattern, bumps=(*pattern.bumps, *bumps), tilt_kelvin=tilt))


def _pattern_far_end(pit: Pit) -> float:
    """Give what the pattern alone makes of the far end's deficit at the usual rise and fire."""
    assert pit.pattern is not None, "drawn pits have one"
    nodes = (np.arange(12) + 0.5) / 12 * pit.length_m
    level = Cooked(np.full((1, 2, 12), USUAL_RISE), np.zeros(1), np.array([pit.pattern.usual_fire_kelvin]), np.zeros(1))
    field = _shown(pit, level, _cells(pit), nodes)[0].reshape(_CELLS[::-1])
    x = (np.arange(_CELLS[0]) + 0.5) / _CELLS[0] * pit.length_m
    return far_end(field, x, FAR_SHARE * pit.length_m)
