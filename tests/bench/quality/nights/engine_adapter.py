"""A night through coldside's payload reader, pipeline and engine. The one module here that knows what they are called.

Everything that the scorers take of coldside is in `PlayedNight`, in °F and seconds from the start.
"""

import math
import time
from dataclasses import dataclass

import msgspec
import numpy as np
from numpy.typing import NDArray

from adapters.reading import Quality, Reading, Reason
from collector.comparing.told import CookTold
from collector.engine import Engine
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.pipeline import Pipeline
from collector.settings.load import parse
from collector.settings.sources import reader_of
from collector.snapshot import AlarmState, Mark, PartView, Priority, Snapshot, TrendPoint
from tests.bench.quality.mapping import map_of
from tests.bench.quality.nights.comparing import cook_of, is_half_of_a_pair
from tests.bench.quality.nights.config_text import config_text
from tests.bench.quality.nights.night_files import Array, Night, read_stream

__all__ = ["MILESTONES", "MeatForecast", "PlayedNight", "StandingAlarm", "alarm_direction", "play_night"]

LOOK_SECONDS = 120.0
SOURCE = "pit"
COLUMNS = (
    "t",
    "level",
    "door_open",
    "steady",
    "used",
    "silent",
    "blamed",
    "bad",
    "zone",
    "zone_sd",
    "deficit",
    "watched",
)
QUIET = (AlarmState.NORMAL, AlarmState.RETURNED)
MILESTONES = frozenset(
    {"wrap-ready", "done", "stall-long", "danger-soon", "danger-over", "slow-come-up", "come-up-over"}
)
"""Rules that mark a step of the cook rather than trouble with the pit."""


@dataclass(frozen=True, slots=True)
class StandingAlarm:
    """One alarm from when it was raised until it returned; infinite where it stood to the end."""

    rule: str
    subject: str
    raised: float
    cleared: float
    message: str
    calls: bool
    """It calls a person."""


@dataclass(frozen=True, slots=True)
class MeatForecast:
    """When a part is to be done: 10th, 50th and 90th percentile, s; NaN where none is given."""

    part: str
    low: float
    median: float
    high: float


@dataclass(frozen=True, slots=True)
class PlayedNight:
    """What coldside made of a night, at looks every two minutes."""

    probes: tuple[str, ...]
    t: Array
    """(looks,)"""
    level: Array
    """Level of the grate that the fire alarms go by, °F."""
    door_open: NDArray[np.bool_]
    """The phase says that the door is open."""
    steady: NDArray[np.bool_]
    used: NDArray[np.bool_]
    """(looks, probes)"""
    silent: NDArray[np.bool_]
    blamed: NDArray[np.bool_]
    """Left out for a reason other than silence or a reading that is out of date."""
    bad: NDArray[np.bool_]
    """A reading since the last look was not good."""
    zone: Array
    """(looks, zones of the night)"""
    zone_sd: Array
    deficit: Array
    """How far each zone is below the grate's mean."""
    watched: NDArray[np.bool_]
    """The screen does not say that the zone is not watched."""
    map_mean: Array
    """(looks, cells); NaN without a map"""
    map_sd: Array
    direction: NDArray[np.int8]
    """Where the drift alarm that stands says that the fire goes: 1, -1, or 0 without one."""
    meat: tuple[tuple[MeatForecast, ...], ...]
    alarms: tuple[StandingAlarm, ...]
    doors_seen: Array
    cook: CookTold | None
    """What a comparison takes of it, where the night is half of a pair."""
    readings: int
    cpu_seconds: float


def alarm_direction(rule: str, message: str) -> int:
    """Tell which way a drift alarm says that the fire goes: 1 hot, -1 cold, 0 when it is no drift alarm."""
    if "drift" not in rule and not rule.startswith(("pit-", "fire-", "running-")):
        return 0
    return 1 if "hot" in message or "hot" in rule else -1


def is_watched(snapshot: Snapshot, zone: str) -> bool:
    """Tell whether the screen claims to watch a zone; a snapshot without such a word claims it of every zone."""
    view = next(view for view in snapshot.zones if view.name == zone)
    return bool(getattr(view, "watched", True))


def has_bad_reading(engine: Engine, row: int) -> bool:
    """Tell whether the newest reading of a probe was judged to be not good; a private part of the engine."""
    return engine._quality[row] is not Quality.GOOD


class _Recorder:
    """Looks at the engine at fixed times and keeps what the scorers need."""

    def __init__(self, night: Night, engine: Engine, pipeline: Pipeline) -> None:
        self.night, self.engine, self.pipeline = night, engine, pipeline
        cells, width = night.truth["grid_xyz"], night.probes["chamber"]["diameter_m"]
        self.x_m, self.y_m = cells[:, 0], width / 2.0 - cells[:, 1]
        self.start = float(night.probes["start_epoch"])
        self.rows: list[dict[str, object]] = []
        self.moments: list[Snapshot] = []
        self.bad = np.zeros(len(engine.snapshot().probes), bool)

    def look(self, at_unix: float) -> None:
        self.pipeline.advance(at_unix)
        s = self.engine.snapshot()
        if is_half_of_a_pair(self.night):
            self.moments.append(s)
        zones = {zone.name: zone for zone in s.zones}
        ordered = [zones[name] for name in self.night.zones]
        drawn = map_of(s, self.x_m, self.y_m)
        unknown = np.full(len(self.x_m), np.nan)
        standing = [alarm_direction(a.rule, a.message) for a in s.alarms if a.active and alarm_direction(a.rule, "")]
        self.rows.append(
            {
                "t": at_unix - self.start,
                "level": s.fire.level_celsius * 1.8 + 32.0,
                "door_open": str(s.fire.phase) == "lid open",
                "steady": str(s.fire.phase) == "steady",
                "used": [p.used for p in s.probes],
                "silent": [p.silent for p in s.probes],
                "blamed": [not p.used and p.reason is not Reason.NONE for p in s.probes],
                "bad": self.bad.copy(),
                "zone": [z.celsius * 1.8 + 32.0 for z in ordered],
                "zone_sd": [z.sd_kelvin * 1.8 for z in ordered],
                "deficit": [-z.deviation_kelvin * 1.8 for z in ordered],
                "watched": [is_watched(s, name) for name in self.night.zones],
                "map_mean": unknown if drawn is None else drawn[0] * 1.8 + 32.0,
                "map_sd": unknown if drawn is None else drawn[1] * 1.8,
                "direction": standing[0] if standing else 0,
                "meat": tuple(self._forecast(part) for piece in s.meat for part in piece.parts),
            }
        )
        self.bad[:] = False

    def _forecast(self, part: PartView) -> MeatForecast:
        done = part.done
        return MeatForecast(part.name, *(x - self.start for x in (done.low_unix, done.median_unix, done.high_unix)))

    def column(self, name: str) -> np.ndarray:
        return np.array([row[name] for row in self.rows])


def play_night(night: Night) -> PlayedNight:
    """Feed the engine what the collector would have received, in order of arrival."""
    wrapped = night.labels.get("done_s", {}).get("wrap")
    settings = parse(config_text(night.probes, wrap=wrapped is not None), night.folder / "pit.toml")
    reader = reader_of(settings.config.source[0].subscribe[0])
    start = float(night.probes["start_epoch"])
    engine = Engine(settings.plan, night.folder.name, start)
    steps, marks, trend = list[Transition](), list[Mark](), list[TrendPoint]()

    def keep(event: object) -> None:
        if isinstance(event, Transition):
            steps.append(event)
        elif isinstance(event, Mark):
            marks.append(event)
        elif isinstance(event, TrendPoint):
            trend.append(event)

    pipeline = Pipeline(engine, {}, 0, keep)
    recorder = _Recorder(night, engine, pipeline)
    names = tuple(probe.name for probe in settings.plan.probes)
    row_of = {name: row for row, name in enumerate(names)}
    began, count, due, end = time.process_time(), 0, start + LOOK_SECONDS, start + night.seconds

    def look() -> None:
        nonlocal wrapped, due
        if wrapped is not None and start + wrapped < due:  # the pitmaster says so when it happens
            pipeline.act(Action(ActionKind.MARK, "wrap"), start + wrapped)
            wrapped = None
        recorder.look(due)
        due += LOOK_SECONDS

    for reading in read_stream(night.folder):
        at = reading.pop("rx")
        while at >= due and due <= end:
            look()
        for value in reader.read(f"{SOURCE}/{reading['id']}", msgspec.json.encode(reading), at):
            pipeline.take(
                Reading(
                    SOURCE, value.key, value.celsius, at, value.source_unix, value.unit, value.quality, value.reason
                )
            )
            if (row := row_of.get(value.key)) is not None and has_bad_reading(engine, row):
                recorder.bad[row] = True
        count += 1
        if len(pipeline.batch.rows) > 5000:
            pipeline.cut()
    while due <= end:
        look()
    columns = {name: recorder.column(name) for name in COLUMNS}
    return PlayedNight(
        names,
        **columns,
        map_mean=recorder.column("map_mean").astype("f4"),
        map_sd=recorder.column("map_sd").astype("f4"),
        direction=recorder.column("direction").astype(np.int8),
        meat=tuple(row["meat"] for row in recorder.rows),
        alarms=_standing(steps, start),
        doors_seen=np.array([mark.time_unix - start for mark in marks if mark.kind == "seen-lid"]),
        cook=cook_of(night, settings.plan, trend, recorder.moments, marks) if recorder.moments else None,
        readings=count,
        cpu_seconds=time.process_time() - began,
    )


def _standing(steps: list[Transition], start: float) -> tuple[StandingAlarm, ...]:
    """Make of transitions from when to when each alarm stood."""
    began: dict[str, Transition] = {}
    found = []

    def close(key: str, cleared: float) -> None:
        first = began.pop(key)
        rule, _, subject = key.partition("/")
        calls = rule not in MILESTONES and first.priority is not Priority.NOTE
        found.append(StandingAlarm(rule, subject, first.time_unix - start, cleared, first.message, calls))

    for step in steps:
        if step.after is AlarmState.UNACKNOWLEDGED and step.before in QUIET:
            began[step.key] = step
        elif step.after in QUIET and step.key in began:
            close(step.key, step.time_unix - start)
    for key in list(began):
        close(key, math.inf)
    return tuple(sorted(found, key=lambda alarm: alarm.raised))
