"""A short cook of our own for the report: what happens in it is known, and it is played in a second or two."""

import math

import msgspec
from msgspec.structs import replace

from adapters.reading import Reading
from collector.cooks import open_cook
from collector.model.action import Action, ActionKind
from collector.model.meat.piece import MeatPhase, Part, Piece
from collector.model.meat.spots import Spot
from collector.model.plan import Plan, Probe, Zone
from collector.model.vitals import DeviceVitals
from collector.pipeline import Pipeline
from collector.snapshot import ChamberView
from collector.store.database import Database

START = 1_790_000_000.0
HOUR, MINUTE = 3600.0, 60.0
PERIOD = 2100.0
LID = 2.4 * HOUR
SILENT = (2.0 * HOUR, 2.0 * HOUR + 11 * MINUTE)
AWAY = (3.2 * HOUR, 3.2 * HOUR + 6 * MINUTE)
END = 3.5 * HOUR
PLACES = {
    "fire": (0.15, 0.25, 6.0),
    "centre": (0.6, 0.25, 0.0),
    "flat back": (0.9, 0.1, -6.0),
    "flat front": (0.9, 0.4, -7.0),
    "stack": (1.1, 0.25, -9.0),
}
CHAMBER = ChamberView("our pit", "cylinder", 1.2, 0.5, ("grate",))
PROBES = tuple(Probe(n, "house", n, "chamber", "grate", x, y) for n, (x, y, _) in PLACES.items())
MEAT = (Probe("meat flat", "house", "meat flat", "meat"), Probe("meat point", "house", "meat point", "meat"))
BRISKET = Piece(
    "brisket", parts=(Part("flat", "meat flat", 40.0, 52.0), Part("point", "meat point", None, 95.0)), mass_kg=5.0
)
PLAN = Plan(
    CHAMBER, (*PROBES, *MEAT),
    (Zone("firebox end", "grate", 0.0, 0.4, 0.0, 0.5), Zone("middle", "grate", 0.4, 0.8, 0.0, 0.5),
     Zone("flat side", "grate", 0.8, 1.2, 0.0, 0.5)),
    113.0, 99.0, 127.0, meat=(BRISKET,),
)  # fmt: skip


def grate(seconds):
    """Warm up for 40 minutes, then a saw-tooth; the lid is opened once."""
    phase = (seconds % PERIOD) / PERIOD
    saw = 8.0 * ((phase * 3 if phase < 1 / 3 else (1 - phase) * 1.5) - 0.5)
    since = seconds - LID
    dip = 22.0 * math.exp(-since / 700.0) * min(since / 60.0, 1.0) if since > 0 else 0.0
    return min(15.0 + 98.0 * seconds / 2400.0, 113.0 + saw) - dip


def meat(seconds):
    """Cold until 50 minutes, then 20 kelvin an hour."""
    return 5.0 + 20.0 * max(0.0, seconds - 50 * MINUTE) / HOUR


def pipeline_of(path, plan, name="evening", at=0.0):
    database = Database(path)
    opened = open_cook(database, plan, START + at, name=name, coldside="test")
    happened = []
    return database, opened, Pipeline(opened.engine, database.series, opened.last_ordinal, happened.append), happened


def feed(pipeline, plan, begin, end, step=20):
    for k in range(int(begin), int(end), step):
        for i, probe in enumerate(plan.probes):
            if probe.name in ("stack", "meat point") and SILENT[0] <= k < SILENT[1]:
                continue
            if probe.duty == "meat":
                value = meat(k) - (4.0 if probe.name.endswith("point") else 0.0)
            else:
                value = grate(k) + PLACES[probe.name][2] + 0.15 * math.sin(k / 37.0 + i)
            pipeline.take(Reading(probe.source, probe.key, value, START + k + i * 0.01))
        if k % 600 < step:
            pipeline.note(DeviceVitals("house", -60 - k // 3600, 90.0 - k / 3600, 3.0), START + k + 0.5)


def close(database, opened, pipeline, *, ended=True):
    database.commit(opened.number, pipeline.cut(), full=True)
    if ended:
        database.end_cook(opened.number, round(pipeline.engine.now_unix * 1000))
    database.close()


def cook(path):
    """Record the evening."""
    database, opened, pipeline, happened = pipeline_of(path, PLAN)

    def act(kind, at, subject="", **more):
        pipeline.act(Action(kind, subject, **more), START + at)

    feed(pipeline, PLAN, 0, 1.9 * HOUR)
    act(ActionKind.MARK, 1.9 * HOUR + 1, "split", text="oak, 2.1 kg")
    act(ActionKind.SPOT, 1.9 * HOUR + 2, text=msgspec.json.encode(Spot("bread", "flat side", 2.0, 0.9, 0.25)).decode())
    act(ActionKind.SPOT, 1.9 * HOUR + 3, text=msgspec.json.encode(Spot("spot", "brisket flat", 31.5)).decode())
    feed(pipeline, PLAN, 1.9 * HOUR + 20, 2.0 * HOUR + 6 * MINUTE)
    act(ActionKind.ACKNOWLEDGE, 2.0 * HOUR + 6 * MINUTE + 1, "probe-silent/meat point")
    feed(pipeline, PLAN, 2.0 * HOUR + 6 * MINUTE + 20, 2.6 * HOUR)
    act(ActionKind.MEAT_PHASE, 2.6 * HOUR + 1, "brisket", text=str(MeatPhase.WRAPPED))
    feed(pipeline, PLAN, 2.6 * HOUR + 20, AWAY[0])
    act(ActionKind.RESUME, AWAY[1], seconds=AWAY[1] - AWAY[0] + 20.0, text="the collector was away for 6 min")
    feed(pipeline, PLAN, AWAY[1] + 20, END)
    close(database, opened, pipeline)
    return happened


def plan_of(probes, zones=(), meat_pieces=()):
    """A plan with some of the probes."""
    return replace(PLAN, probes=tuple(probes), zones=tuple(zones), meat=tuple(meat_pieces))
