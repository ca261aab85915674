"""Nights drawn at random from a seed: another pit, another cook, other probes and other troubles each time.

A drawn pit is a tuned one: while nothing is wrong the cook holds it near his target and no zone of the grate runs
far below the mean. What is drawn is rejected or scaled until that is true of a run without probes, whose truth is
that of the night itself (fire, wind and probes draw from streams of their own). Ranges are common practice, no
source.
"""

import copy
import enum
import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

import msgspec
import numpy as np
from msgspec.structs import replace
from numpy.random import Generator
from numpy.typing import NDArray

from adapters.rehearsal.night import AirLeak, FaultKind, LidOpening, Night, ProbeFault, Zone
from adapters.rehearsal.pit import Bump, FireHabit, Flesh, Meat, Pattern, Pit, RehearsalProbe, Weather
from adapters.rehearsal.places import Places
from adapters.rehearsal.rehearsal import Rehearsal, Simulation

__all__ = ["NightKind", "draw_night", "steady_seconds"]

Array = NDArray[np.float64]

_HOUR, _MINUTE = 3600.0, 60.0
_SAMPLE_AREA = 0.6
"""Length times width of the pit whose constants are known, square metres."""
_WARM_BELOW_KELVIN = 9.0
_SETTLED_SECONDS = 45 * _MINUTE
_TROUBLE_AFTER_WARM = 1.6 * _HOUR
_TRIAL_SECONDS = 5.5 * _HOUR
_LEVEL_MINUTES = 150
_WARM_WITHIN_SECONDS = 110 * _MINUTE
_TUNED_KELVIN = 4.3
_SWING_KELVIN = (3.0, 12.0)
_DEEPEST_KELVIN = (11.6, 17.4)
_COLD_KELVIN, _COLD_MINUTES = 8.3, 30
"""A cold spot that is meant stays this deep for longer than the definition asks (see `truth.py`)."""
_SLIGHT_KELVIN = (3.0, 4.8)
_RECOVERY_SECONDS = 600.0
_TRIES, _LEAK_TRIES = 60, 4


class NightKind(enum.StrEnum):
    """What sort of night it is."""

    QUIET = "quiet"
    WINDY = "windy"
    LIDS = "lids"
    """A restless cook: the door is opened 12 to 25 times."""
    FAULTY = "faulty"
    """Probes that lie, and nothing else."""
    COLD = "cold"
    """A zone of the grate goes cold."""
    COLD_FAULTY = "cold-faulty"
    COLD_LIDS = "cold-lids"
    FADING = "fading"
    """The fire dies for want of splits or of dry ones, or runs away, heaped up and with the intake left open."""


_COLD_KINDS = (NightKind.COLD, NightKind.COLD_FAULTY, NightKind.COLD_LIDS)
_LID_KINDS = (NightKind.LIDS, NightKind.COLD_LIDS)
_FAULTY_KINDS = (NightKind.FAULTY, NightKind.COLD_FAULTY)


def steady_seconds(night: Night, simulation: Simulation) -> float:
    """Return from when a night is steady: 45 min after the grate first came within 9 K of the cook's target."""
    warm = simulation.grate_celsius >= night.habit.target_celsius - _WARM_BELOW_KELVIN
    return float(simulation.seconds[int(np.argmax(warm))]) + _SETTLED_SECONDS if warm.any() else math.inf


def draw_night(kind: NightKind, seed: int, grate_probes: int | None = None) -> Night:
    """Draw a night; the same arguments give the same night.

    Args:
        kind: what sort.
        seed: which of them.
        grate_probes: how many probes stand on the grate; 6 to 12, mostly 8 to 10, when None. The pit and what
            happens to it do not depend on it.

    Raises:
        RuntimeError: no pit that can be tuned was found in many tries.
    """
    night = _without_probes(kind, seed)
    probe_random, fault_random = (np.random.default_rng(stream) for stream in _streams(kind, seed)[2:4])
    night = _with_flesh(_with_probes(night, probe_random, grate_probes), np.random.default_rng(_streams(kind, seed)[4]))
    if kind in _FAULTY_KINDS:
        night = replace(night, faults=_faults(night, fault_random))
    return night


def _streams(kind: NightKind, seed: int) -> list[np.random.SeedSequence]:
    """Give streams for pit, troubles, probes, faults and meat; one that is added goes to the end."""
    return np.random.SeedSequence([seed, list(NightKind).index(kind)]).spawn(5)


@lru_cache(maxsize=4)
def _without_probes(kind: NightKind, seed: int) -> Night:
    """Draw all but the probes and their faults: it takes seconds, and is the same however many probes there are."""
    pit_random, trouble_random = (np.random.default_rng(stream) for stream in _streams(kind, seed)[:2])
    for _ in range(_TRIES):
        tuned = _tuned(_bare_night(kind, seed, pit_random), pit_random)
        if tuned is not None:
            opened = _with_lids(kind, tuned, trouble_random)
            if kind in _LID_KINDS:
                opened = _levelled(opened)
            night = _with_trouble(kind, opened, trouble_random)
            if night is not None:
                return night
    raise RuntimeError(f"no pit of {kind} {seed} could be tuned")


def _bare_night(kind: NightKind, seed: int, random: Generator) -> Night:
    """Draw pit, habit, weather and zones, not yet tuned."""
    u = random.uniform
    length, width = round(u(0.9, 1.8), 2), round(u(0.45, 0.75), 2)
    size = length * width / _SAMPLE_AREA
    lid, light = u(0.2, 0.35), u(0.7, 1.6)
    pit = Pit(
        length_m=length,
        width_m=width,
        stack_inlet_m=lid * u(0.0, 0.25),
        lid_m=lid,
        stack_pipe_m=u(0.6, 1.1),
        firebox_capacity=28_000.0 * size**0.8 * u(0.6, 1.6),
        firebox_loss=8.0 * size**0.8 * u(0.8, 1.3),
        air_capacity=6_000.0 * size * light,
        wall_capacity=26_000.0 * size * u(0.7, 1.7),
        inner_conductance=26.0 * size * u(0.8, 1.25),
        outer_conductance=7.5 * size**0.9 * u(0.6, 1.2),
        mixing=4.0 * size * u(0.7, 1.5),
        axial_mixing=80.0 * size * light * u(0.8, 1.3),
        entrained=u(0.968, 0.985),
        flow_capacity=18.0 * size**0.9 * u(0.85, 1.2),
        grate_share=u(0.62, 0.78),
        firebox_radiation=1.25 * size * u(0.4, 1.1),
        wall_excess_kelvin=u(1.0, 5.0),
        door_deficit_kelvin=u(-0.5, 2.0),
    )
    period = u(25.0, 60.0) * _MINUTE
    weather, target = _weather(kind, random), round(u(105.0, 135.0), 1)
    heat = size**0.9 * (target - weather.ambient_celsius + 4.0) / 103.0
    habit = FireHabit(
        target_celsius=target,
        period_seconds=period,
        period_share=u(0.15, 0.30),
        bed_megajoules=35.5 * heat * (period / (41 * _MINUTE)) ** 0.4,
        moisture=u(0.12, 0.22),
        embers_kilograms=0.5 * size,
        warm_up_bed_megajoules=42.0 * heat,
        gain_per_kelvin=u(0.008, 0.02),
        intake_per_kelvin=u(0.006, 0.018),
        largest_split_kilograms=2.2 * max(1.0, size) * max(1.0, period / (41 * _MINUTE)),
    )
    return Night(
        f"{kind}-{seed}",
        int(random.integers(1, 2**31)),
        1_790_000_000.0 + 60.0 * int(random.integers(0, 500_000)),
        round(u(8.0, 13.0) * 60.0) * _MINUTE,
        (),
        _zones(length, width, random),
        pit,
        habit,
        weather,
        None,
        offset_kelvin=u(0.3, 1.0),
        resolution_kelvin=0.5 if u() < 0.2 else 0.1,
    )


def _weather(kind: NightKind, random: Generator) -> Weather:
    u = random.uniform
    windy = kind is NightKind.WINDY
    return Weather(
        ambient_celsius=u(0.0, 25.0),
        night_fall_kelvin=u(2.0, 9.0),
        wind_metres_per_second=u(2.5, 5.5) if windy else u(0.2, 2.0),
        gust_metres_per_second=u(1.2, 3.0) if windy else u(0.2, 0.9),
        gust_seconds=u(40.0, 180.0),
    )


def _zones(length: float, width: float, random: Generator) -> tuple[Zone, ...]:
    """Tile the grate with 3 to 5 zones along its length, one of them sometimes split across."""
    count = int(random.integers(3, 6))
    inner = (np.arange(1, count) + random.uniform(-0.18, 0.18, count - 1)) * length / count
    edges = [0.0, *np.round(inner, 3).tolist(), length]
    split = int(random.integers(0, count)) if count < 5 and random.uniform() < 0.3 else None
    zones: list[Zone] = []
    for row, (x0, x1) in enumerate(pairwise(edges)):
        if row == split:
            zones.append(Zone(f"{row + 1} back", "grate", x0, x1, 0.0, width / 2.0))
            zones.append(Zone(f"{row + 1} door", "grate", x0, x1, width / 2.0, width))
        else:
            zones.append(Zone(f"{row + 1}", "grate", x0, x1, 0.0, width))
    return tuple(zones)


def _pattern(pit: Pit, random: Generator) -> Pattern:
    """Draw what a grate has of its own: corners, walls, the plume of the baffle; a few kelvin."""
    u = random.uniform
    length, width = pit.length_m, pit.width_m
    bumps = [
        Bump(u(0.0, length), u(0.0, width), u(0.08, 0.35) * length, u(0.15, 0.7) * width, u(-3.0, 3.0))
        for _ in range(int(random.integers(2, 6)))
    ]
    corner_x, corner_y = (length if u() < 0.5 else 0.0), (width if u() < 0.5 else 0.0)
    bumps.append(Bump(corner_x, corner_y, u(0.1, 0.2) * length, u(0.2, 0.4) * width, u(-4.0, 4.0)))
    plume_y = u(0.3, 0.7) * width
    bumps.append(Bump(u(0.1, 0.35) * length, plume_y, u(0.06, 0.15) * length, u(0.15, 0.35) * width, u(0.5, 4.0)))
    return Pattern(
        tuple(bumps),
        fire_end_kelvin=u(-2.0, 4.0),
        stack_end_kelvin=u(-3.0, 2.0),
        back_kelvin=u(-1.5, 3.0),
        door_kelvin=u(-3.0, 1.5),
        wall_reach_m=u(0.05, 0.2),
        flare_share=u(0.0, 0.5),
        gust_kelvin=u(-0.15, 0.25),
    )


class _Trial(msgspec.Struct, frozen=True):
    """What a run of the first hours without probes says of a pit."""

    level_celsius: float
    swing_kelvin: float
    """Of the saw-tooth: greatest less least between two splits, as a median."""
    fire_kelvin: float
    deficit_kelvin: Array
    """Mean of each zone below the grate's mean, shape (zones,)."""


def _trial(night: Night) -> _Trial | None:
    """Run the first hours; None when the pit does not get warm in time."""
    run = Rehearsal(night)
    grate, fire, zones = [], [], []
    while run.now < _TRIAL_SECONDS:
        if run.now == _WARM_WITHIN_SECONDS and run.tending.warming:
            return None
        if run.now % 60.0 == 0.0:
            grate.append(run.grate_celsius)
            fire.append(run.fire.celsius - run.ambient_celsius)
            zones.append(run.zones())
        run.step()
    level = np.array(grate)
    warm = np.flatnonzero(level >= night.habit.target_celsius - _WARM_BELOW_KELVIN)
    if not len(warm) or 60.0 * float(warm[0]) > _WARM_WITHIN_SECONDS:
        return None
    steady = int(warm[0]) + int(_SETTLED_SECONDS / 60.0)
    kept, period = level[steady:], round(night.habit.period_seconds / 60.0)
    swings = [float(np.ptp(kept[at : at + period])) for at in range(0, len(kept) - period, period // 2)]
    deficit = (kept[:, None] - np.array(zones)[steady:]).mean(axis=0)
    settled = kept[-_LEVEL_MINUTES:]
    return _Trial(float(np.median(settled)), float(np.median(swings)), float(np.mean(fire[steady:])), deficit)


def _tuned(night: Night, random: Generator) -> Night | None:
    """Build the bed up until the level is the cook's, then set the plates; None when the pit will not have it."""
    goal = night.habit.target_celsius + random.uniform(-3.0, 3.0)
    swing = random.uniform(*_SWING_KELVIN)
    drawn = _pattern(night.pit, random)
    amount, strength = random.uniform(0.3, 0.9), random.uniform(0.5, 1.2)
    for _ in range(8):
        trial = _trial(night)
        if trial is None:
            night = replace(night, habit=_hotter_start(night.habit))
            continue
        if abs(trial.level_celsius - goal) < 1.0 and _SWING_KELVIN[0] < trial.swing_kelvin < _SWING_KELVIN[1]:
            pattern = replace(drawn, usual_fire_kelvin=trial.fire_kelvin)
            return _with_plates(night, pattern, trial.deficit_kelvin, amount, strength)
        night = _nearer(night, trial, goal, swing)
    return None


def _levelled(night: Night) -> Night:
    """Build the bed higher for what the open door costs."""
    for _ in range(2):
        trial = _trial(night)
        if trial is not None:
            night = replace(night, habit=_with_bed(night.habit, night.habit.target_celsius - trial.level_celsius))
    return night


def _with_bed(habit: FireHabit, wanting_kelvin: float) -> FireHabit:
    higher = min(1.3, max(0.75, 1.0 + 0.025 * wanting_kelvin))
    return replace(habit, bed_megajoules=higher * habit.bed_megajoules)


def _hotter_start(habit: FireHabit) -> FireHabit:
    return replace(
        habit,
        warm_up_bed_megajoules=1.2 * habit.warm_up_bed_megajoules,
        largest_split_kilograms=1.15 * habit.largest_split_kilograms,
    )


def _nearer(night: Night, trial: _Trial, goal_celsius: float, swing_kelvin: float) -> Night:
    """Build the bed higher or lower, and make the firebox of more or less steel, after a trial."""
    habit = _with_bed(night.habit, goal_celsius - trial.level_celsius)
    if _SWING_KELVIN[0] < trial.swing_kelvin < _SWING_KELVIN[1]:
        return replace(night, habit=habit)
    heavier = min(2.0, max(0.5, trial.swing_kelvin / swing_kelvin))
    period = max(25.0 * _MINUTE, habit.period_seconds * min(1.0, heavier**-0.5))
    bed = habit.bed_megajoules * (period / habit.period_seconds) ** 0.4
    return replace(
        night,
        habit=replace(habit, period_seconds=period, bed_megajoules=bed),
        pit=replace(night.pit, firebox_capacity=night.pit.firebox_capacity * heavier),
    )


def _with_plates(night: Night, pattern: Pattern, bare: Array, amount: float, strength: float) -> Night | None:
    """Scale a pattern and tilt it against the fall along the pit until no zone runs far below the mean."""
    middle = np.array([(zone.x0_m + zone.x1_m) / night.pit.length_m - 1.0 for zone in night.zones])
    fall = float(np.polyfit(middle, bare, 1)[0])
    while amount <= 1.2:
        for scale in (strength, 0.8 * strength, 0.6 * strength):
            tried = _scaled(pattern, scale, amount * fall)
            pit = replace(night.pit, pattern=tried)
            if (bare - _excess(replace(night, pit=pit))).max() < _TUNED_KELVIN:
                return replace(night, pit=pit)
        amount += 0.15
    return None


def _scaled(pattern: Pattern, scale: float, tilt_kelvin: float) -> Pattern:
    return replace(
        pattern,
        bumps=tuple(replace(bump, kelvin=scale * bump.kelvin) for bump in pattern.bumps),
        fire_end_kelvin=scale * pattern.fire_end_kelvin,
        stack_end_kelvin=scale * pattern.stack_end_kelvin,
        back_kelvin=scale * pattern.back_kelvin,
        door_kelvin=scale * pattern.door_kelvin,
        tilt_kelvin=tilt_kelvin,
    )


def _excess(night: Night) -> Array:
    """Give how much hotter than the grate's mean the pattern makes each zone in a hot pit, kelvin."""
    whole = Zone("grate", "grate", 0.0, night.pit.length_m, 0.0, night.pit.width_m)
    x_m = np.linspace(0.0, night.pit.length_m, 12)
    flat = np.full((2, 12), 97.0 * night.habit.target_celsius / 110.0)
    fire = night.pit.pattern.usual_fire_kelvin if night.pit.pattern is not None else 0.0
    values = Places(night.pit, x_m, (*night.zones, whole)).celsius(flat, 0.0, fire)
    bare = Places(replace(night.pit, pattern=None), x_m, (*night.zones, whole)).celsius(flat, 0.0)
    own: Array = values - bare
    return np.asarray(own[:-1] - own[-1])


def _warm_seconds(night: Night) -> float:
    """Return when the pit is warm, from a run of its beginning."""
    run = Rehearsal(night)
    while run.grate_celsius < night.habit.target_celsius - _WARM_BELOW_KELVIN and run.now < _TRIAL_SECONDS:
        run.step()
    return run.now


def _with_lids(kind: NightKind, night: Night, random: Generator) -> Night:
    """Let the meat go on and the cook open the door now and then, or all the time."""
    warm = _warm_seconds(night)
    on = warm + random.uniform(10.0, 50.0) * _MINUTE
    count = int(random.integers(12, 26)) if kind in _LID_KINDS else int(random.integers(2, 6))
    openings = [LidOpening(on, round(random.uniform(60.0, 120.0)), "the brisket goes on")]
    first, last = on + 25.0 * _MINUTE, night.duration_seconds - 15.0 * _MINUTE
    slots = (np.arange(count - 1) + random.uniform(0.1, 0.9, count - 1)) / max(1, count - 1)
    openings += [
        LidOpening(start, round(30.0 + 150.0 * random.uniform() ** 2.5), "a look")
        for start in np.round(first + slots * (last - first)).tolist()
    ]
    length = night.pit.length_m
    wrap = on + random.uniform(5.0, 8.0) * _HOUR if random.uniform() < 0.7 else None
    meat = Meat(
        on, wrap, point_x_m=random.uniform(0.3, 0.42) * length, flat_x_m=random.uniform(0.58, 0.72) * length,
        point_half_thickness_m=random.uniform(0.04, 0.055), flat_half_thickness_m=random.uniform(0.026, 0.038),
    )  # fmt: skip
    return replace(night, lids=tuple(openings), meat=meat)


def _with_flesh(night: Night, random: Generator) -> Night:
    """Draw what the meat is made of."""
    if night.meat is None:
        return night
    u = random.uniform
    paper = u() < 0.5
    flesh = Flesh(
        convection=u(11.0, 18.0),
        plateau_celsius=u(58.0, 67.0),
        vapour_pascal=u(2_500.0, 9_000.0),
        water=u(4.0, 10.0),
        sharpness=u(1.2, 4.0),
        seep=u(0.0, 0.1),
        shape=u(0.1, 0.7),
        tip=u(0.0, 0.3),
        wrap_open=u(0.1, 0.5) if paper else u(0.0, 0.08),
        wrap_heat=u(0.8, 1.0),
    )
    return replace(night, meat=replace(night.meat, start_celsius=u(2.0, 8.0), flesh=flesh))


def _with_trouble(kind: NightKind, night: Night, random: Generator) -> Night | None:
    """Let happen what the kind of night says; None when the pit will not have it."""
    earliest = _warm_seconds(night) + _TROUBLE_AFTER_WARM
    if kind in _COLD_KINDS:
        return _with_leak(night, earliest, _DEEPEST_KELVIN, random)
    if kind is NightKind.QUIET and random.uniform() < 0.4:
        return _with_leak(night, earliest, _SLIGHT_KELVIN, random)
    if kind is NightKind.FADING:
        return _with_failing_fire(night, earliest, random)
    return night


def _with_failing_fire(night: Night, earliest: float, random: Generator) -> Night:
    end = night.duration_seconds
    start = random.uniform(earliest, max(earliest + 600.0, end - 3.0 * _HOUR))
    until = math.inf if random.uniform() < 0.6 else start + random.uniform(2.5, 4.5) * _HOUR
    what = random.uniform()
    if what < 0.65:
        return replace(night, unattended=((start, until),))
    if what < 0.8:
        return replace(night, wet_fuel=((start, until),))
    heaped, intake = random.uniform(1.4, 1.9), random.uniform(1.2, 1.5)
    return replace(night, heaped=((start, until, heaped),), intake_left=((start, until, intake),))


def _with_leak(night: Night, earliest: float, deepest: tuple[float, float], random: Generator) -> Night | None:
    """Let air in at one zone so that it lies as deep below the grate's mean as is wanted, at its worst."""
    for _ in range(_LEAK_TRIES):
        row = int(random.integers(0, len(night.zones)))
        wanted = random.uniform(*deepest)
        leak = _scaled_leak(night, _leak(night, row, earliest, wanted, random), row, wanted)
        if leak is not None:
            return replace(night, leaks=(leak,))
    return None


def _leak(night: Night, row: int, earliest: float, deepest: float, random: Generator) -> AirLeak:
    """Draw a leak at a zone; how much of its air lies there unmixed is yet to be found."""
    u, zone, size = random.uniform, night.zones[row], night.pit.length_m * night.pit.width_m / _SAMPLE_AREA
    grow = u(10.0, 90.0) * _MINUTE
    start = u(earliest, max(earliest + 600.0, night.duration_seconds - grow - 1.5 * _HOUR))
    length = zone.x1_m - zone.x0_m
    return AirLeak(
        start,
        grow,
        x_m=zone.x0_m + u(0.3, 0.7) * length,
        y_m=zone.y0_m + u(0.25, 0.75) * (zone.y1_m - zone.y0_m),
        reach_m=u(0.35, 0.6) * length,
        flow_capacity=min(1.0, deepest / 12.0) * u(0.2, 0.8) * size,
        pool_kelvin=0.0,
        end=start + grow + u(2.0, 4.0) * _HOUR if u() < 0.35 else math.inf,
    )


def _scaled_leak(night: Night, leak: AirLeak, row: int, deepest: float) -> AirLeak | None:
    """Find how deep the leak's cold lies so that its zone's greatest deficit is `deepest`; None where none does."""
    begun = Rehearsal(replace(night, probes=(), meat=None))
    while begun.now < leak.start:
        begun.step()
    for _ in range(3):
        deficit, per_kelvin = _deficit(copy.deepcopy(begun), leak, row)
        found = float(deficit.max())
        if abs(found - deepest) < 0.3:
            enough = _longest(deficit >= _COLD_KELVIN) >= _COLD_MINUTES
            return leak if enough == (deepest > _COLD_KELVIN) else None
        kelvin = leak.pool_kelvin + (deepest - found) / float(per_kelvin[int(np.argmax(deficit))])
        if kelvin < 0.0:
            return None
        leak = replace(leak, pool_kelvin=kelvin)
    return None


def _deficit(run: Rehearsal, leak: AirLeak, row: int) -> tuple[Array, Array]:
    """Let it leak and give how far a zone lies below the grate, once a minute while the door has long been shut.

    Returns:
        Deficit, kelvin, and its change with the leak's `pool_kelvin`, both of shape (minutes,).
    """
    night = run.night
    run.leaks = [leak]
    whole = Zone("grate", "grate", 0.0, night.pit.length_m, 0.0, night.pit.width_m)
    places = Places(night.pit, run.chamber.x_m, (night.zones[row], whole))
    pool = places.pool(replace(leak, pool_kelvin=1.0))
    deficit, change = [], []
    while run.now < night.duration_seconds:
        disturbed = any(lid.start <= run.now < lid.start + lid.seconds + _RECOVERY_SECONDS for lid in night.lids)
        if run.now % 60.0 == 0.0 and not disturbed:
            zone, grate = run.at(places).tolist()
            heat = float(run.chamber.air[0].mean() - run.ambient_celsius) / 100.0
            deficit.append(grate - zone)
            change.append(heat * max(0.05, leak.size_at(run.now)) * float(pool[0] - pool[1]))
        run.step()
    return np.array(deficit), np.array(change)


def _longest(flags: NDArray[np.bool_]) -> int:
    longest = run = 0
    for flag in flags.tolist():
        run = run + 1 if flag else 0
        longest = max(longest, run)
    return longest


def _with_probes(night: Night, random: Generator, grate_probes: int | None) -> Night:
    """Set probes: spread over the grate by hand rather than by ruler, some under the lid, two in the meat."""
    usual = int(random.choice([6, 7, 8, 9, 10, 11, 12], p=[0.05, 0.1, 0.25, 0.25, 0.2, 0.1, 0.05]))
    count = usual if grate_probes is None else grate_probes
    pit = night.pit
    interval, lag, noise = random.uniform(3.0, 12.0), random.uniform(8.0, 40.0), random.uniform(0.05, 0.4)
    probes: list[RehearsalProbe] = []

    def add(key: str, duty: str, level: str, x: float, y: float) -> None:
        probes.append(
            RehearsalProbe(
                key, duty, level, round(x, 3), round(y, 3),
                round(interval * random.uniform(0.9, 1.1), 2), lag * random.uniform(0.7, 1.3), noise,
            )
        )  # fmt: skip

    for row, (x, y) in enumerate(_spread(count, pit, random)):
        add(f"grate-{row + 1}", "chamber", "grate", x, y)
    top = int(random.integers(0, 5))
    for row in range(top):
        x = (row + random.uniform(0.2, 0.8)) / top * pit.length_m
        add(f"top-{row + 1}", "chamber", "top", x, random.uniform(0.2, 0.8) * pit.width_m)
    if night.meat is not None:
        for key, x in (("meat-point", night.meat.point_x_m), ("meat-flat", night.meat.flat_x_m)):
            add(key, "meat", "grate", x, pit.width_m / 2.0)
    add("ambient", "ambient", "grate", pit.length_m / 2.0, pit.width_m / 2.0)
    return replace(night, probes=tuple(probes))


def _spread(count: int, pit: Pit, random: Generator) -> list[tuple[float, float]]:
    """Spread places over the grate: of many loose throws the one whose closest two are the farthest apart."""
    margin_x, margin_y = 0.06 * pit.length_m, 0.12 * pit.width_m
    best, widest = np.zeros((count, 2)), -1.0
    for _ in range(40 * count):
        thrown = random.uniform((margin_x, margin_y), (pit.length_m - margin_x, pit.width_m - margin_y), (count, 2))
        apart = np.hypot(*(thrown[:, None, :] - thrown[None, :, :]).transpose(2, 0, 1) / [[[1.0]], [[0.8]]])
        closest = float(apart[np.triu_indices(count, 1)].min())
        gaps = np.diff([0.0, *np.sort(thrown[:, 0]).tolist(), pit.length_m]).max()
        score = closest - 0.4 * float(gaps)
        if score > widest:
            best, widest = thrown, score
    return [(float(x), float(y)) for x, y in best[np.argsort(best[:, 0])]]


_ON_GRATE_ONLY = (FaultKind.DRIFT, FaultKind.WET, FaultKind.SWAPPED)
"""Only where neighbours can tell."""


def _faults(night: Night, random: Generator) -> tuple[ProbeFault, ...]:
    """Draw one to three faults, each of another probe."""
    warm = _warm_seconds(night) + _TROUBLE_AFTER_WARM
    kinds = list(FaultKind)
    free = [probe.key for probe in night.probes if probe.duty == "chamber"]
    faults: list[ProbeFault] = []
    for _ in range(int(random.integers(1, 4))):
        kind = kinds[int(random.integers(0, len(kinds)))]
        allowed = [key for key in free if key.startswith("grate") or kind not in _ON_GRATE_ONLY]
        fault = _fault(kind, allowed, warm, night.duration_seconds, random)
        faults.append(fault)
        free = [key for key in free if key not in (fault.key, fault.other)]
    return tuple(faults)


def _fault(kind: FaultKind, keys: Sequence[str], earliest: float, end: float, random: Generator) -> ProbeFault:
    u = random.uniform
    key = keys[int(random.integers(0, len(keys)))]
    start = u(earliest, max(earliest + 600.0, end - 2.0 * _HOUR))
    until = start + u(1.0, 3.0) * _HOUR if u() < 0.4 else math.inf
    match kind:
        case FaultKind.DRIFT:
            sign = 1.0 if u() < 0.5 else -1.0
            return ProbeFault(key, kind, start, until, kelvin=u(7.0, 20.0), kelvin_per_hour=sign * u(3.0, 15.0))
        case FaultKind.SPIKE:
            return ProbeFault(key, kind, start, until, kelvin=u(15.0, 50.0), every_seconds=u(60.0, 600.0))
        case FaultKind.SWAPPED:
            others = [other for other in keys if other != key]
            return ProbeFault(key, kind, start, until, other=others[int(random.integers(0, len(others)))])
        case FaultKind.WET:
            return ProbeFault(key, kind, start, start + u(10.0, 40.0) * _MINUTE)
        case _:
            return ProbeFault(key, kind, start, until)
