"""One night through the engine: which alarms stood when, which probes were believed, what the map said."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from adapters.reading import Quality, Reading, Reason
from adapters.rehearsal.night import Night
from collector.engine import Engine
from collector.model.alarm import Transition
from collector.model.plan import Plan, Probe, Zone
from collector.snapshot import AlarmState, ChamberView, Snapshot
from tests.bench.quality.mapping import left_out_of, map_of
from tests.bench.quality.recorded import CELLS, Recorded
from tests.bench.quality.score import Standing

__all__ = ["MapLook", "Played", "plan_of", "play"]

Array = NDArray[np.float64]
SOURCE = "pit"
LOOK_SECONDS = 60.0
MAP_SECONDS = 300.0
STATED_KELVIN = (0.3, 0.5, 1.0)
"""Classes a cook may read on the leaflet of a probe, as a standard deviation."""


@dataclass(frozen=True, slots=True)
class MapLook:
    """The map of the grate at one moment, and the readings it had."""

    seconds: float
    mean: Array
    """°C, shape (cells,), row by row from the back."""
    sd: Array
    left_out: Array
    """Residuals of the probes, each predicted from the others, kelvin."""
    x_m: Array
    y_m: Array
    celsius: Array
    """Places and newest values of the probes in use, shape (used,)."""


@dataclass(frozen=True, slots=True)
class Played:
    """What the engine made of a night. Probes are those of the night, in its order."""

    alarms: tuple[Standing, ...]
    seconds: Array
    """When it was looked at, shape (looks,)."""
    doubted: NDArray[np.bool_]
    """Not used, or a reading since the last look was not good; shape (looks, probes)."""
    unused: NDArray[np.bool_]
    unexplained: NDArray[np.bool_]
    """Not used, heard, and no reason given; shape (looks, probes)."""
    maps: tuple[MapLook, ...]


def plan_of(night: Night) -> Plan:
    """Set up what the cook of a drawn night would."""
    pit, target = night.pit, night.habit.target_celsius
    stated = next((kelvin for kelvin in STATED_KELVIN if kelvin >= night.offset_kelvin), STATED_KELVIN[-1])
    reach = round(float(np.random.default_rng(night.seed).uniform(8.0, 14.0)), 1)
    probes = tuple(
        Probe(p.key, SOURCE, p.key, p.duty, p.level if p.duty == "chamber" else None, p.x_m, p.y_m, stated)
        for p in night.probes
    )
    levels = ("grate", "top") if any(p.duty == "chamber" and p.level == "top" for p in night.probes) else ("grate",)
    return Plan(
        ChamberView(night.name, "cylinder", pit.length_m, pit.width_m, levels),
        probes,
        tuple(Zone(z.name, z.level, z.x0_m, z.x1_m, z.y0_m, z.y1_m) for z in night.zones),
        target,
        target - reach,
        target + reach,
    )


def standing(transitions: list[Transition], started_unix: float) -> tuple[Standing, ...]:
    """Make of transitions from when to when each alarm stood, seconds from the start."""
    began: dict[str, float] = {}
    found: list[Standing] = []
    for step in transitions:
        at = step.time_unix - started_unix
        quiet = (AlarmState.NORMAL, AlarmState.RETURNED)
        if step.after is AlarmState.UNACKNOWLEDGED and step.before in quiet:
            began[step.key] = at
        elif step.after in quiet and step.key in began:
            found.append(Standing(step.key, began.pop(step.key), at))
    found += [Standing(key, at, math.inf) for key, at in began.items()]
    return tuple(sorted(found, key=lambda alarm: alarm.raised))


def play(recorded: Recorded, *, with_maps: bool) -> Played:
    """Feed the engine what the probes sent, in order."""
    night = recorded.night
    engine = Engine(plan_of(night), night.name, night.start_unix)
    keys = [probe.key for probe in night.probes]
    transitions: list[Transition] = []
    looks: list[tuple[float, list[bool], list[bool], list[bool]]] = []
    maps: list[MapLook] = []
    not_good = [False] * len(keys)
    due = LOOK_SECONDS
    columns = zip(
        recorded.sent_seconds.tolist(), recorded.sent_probe.tolist(), recorded.sent_celsius.tolist(), strict=True
    )
    for seconds, row, celsius in columns:
        if seconds >= due:
            transitions += [e for e in engine.advance(night.start_unix + due) if isinstance(e, Transition)]
            snapshot = engine.snapshot()
            looks.append(_look(due, snapshot, not_good))
            if with_maps and due % MAP_SECONDS == 0.0:
                maps += _map_look(due, snapshot, night)
            not_good = [False] * len(keys)
            due = (seconds // LOOK_SECONDS + 1.0) * LOOK_SECONDS
        at = night.start_unix + seconds
        taken, events = engine.take(Reading(SOURCE, keys[row], celsius, at, None), at)
        transitions += [event for event in events if isinstance(event, Transition)]
        not_good[row] |= taken.quality is not Quality.GOOD
    return Played(
        standing(transitions, night.start_unix),
        np.array([seconds for seconds, _, _, _ in looks]),
        np.array([doubted for _, doubted, _, _ in looks]),
        np.array([unused for _, _, unused, _ in looks]),
        np.array([unexplained for _, _, _, unexplained in looks]),
        tuple(maps),
    )


def _look(seconds: float, snapshot: Snapshot, not_good: list[bool]) -> tuple[float, list[bool], list[bool], list[bool]]:
    unused = [probe.duty == "chamber" and not probe.used for probe in snapshot.probes]
    doubted = [bad or out for bad, out in zip(not_good, unused, strict=True)]
    unexplained = [
        out and probe.reason is Reason.NONE and probe.quality is Quality.GOOD and not probe.silent
        for out, probe in zip(unused, snapshot.probes, strict=True)
    ]
    return seconds, doubted, unused, unexplained


def _map_look(seconds: float, snapshot: Snapshot, night: Night) -> list[MapLook]:
    columns, rows = CELLS
    x_m = (np.arange(columns) + 0.5) / columns * night.pit.length_m
    y_m = (np.arange(rows) + 0.5) / rows * night.pit.width_m
    xx, yy = np.meshgrid(x_m, y_m)
    drawn = map_of(snapshot, xx.ravel(), yy.ravel())
    used = [p for p in snapshot.probes if p.used and p.level == "grate" and not math.isnan(p.celsius)]
    if drawn is None or not used:
        return []
    return [
        MapLook(
            seconds, drawn[0], drawn[1], left_out_of(snapshot),
            np.array([p.x_m for p in used]), np.array([p.y_m for p in used]), np.array([p.celsius for p in used]),
        )
    ]  # fmt: skip
