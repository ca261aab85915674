"""A stored cook played once more for its report: what it looked like as it went, and what is on record of it."""

import math
from collections import Counter
from collections.abc import Callable, Mapping

import msgspec
import numpy as np
from msgspec.structs import replace

from adapters.reading import Quality, Reason
from collector.engine import Engine, Event
from collector.errors import StoreError
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.model.field import Array
from collector.model.plan import Plan
from collector.model.vitals import DeviceVitals
from collector.replay import steps
from collector.report.health import Absence
from collector.snapshot import Mark, Snapshot, SpotView, TrendPoint, Verdict
from collector.store.record import Cook, Record
from collector.store.row import unix_of, verdict_of
from collector.store.schema import SEQUENCE_BITS

__all__ = ["Played", "play"]

MOMENT_SECONDS = 120.0
"""A look at everything, the meat's forecasts too, costs some milliseconds; what moves faster is in the trend."""


class Played(msgspec.Struct, frozen=True):
    """A cook as its report takes it. It is played under its last plan; alarms are those on record, as they came."""

    cook: Cook
    plan: Plan
    plan_changes_unix: tuple[float, ...]
    """When the set-up was another one."""
    end_unix: float
    """Where the record ends."""
    moments: tuple[Snapshot, ...]
    """The cook about every two minutes, oldest first, the last as it ended."""
    trend_unix: Array
    """Times of the trend, shape (n,), every ten seconds."""
    grate_celsius: Array
    """Mean of the grate, shape (n,)."""
    zone_celsius: Array
    """Shape (zones, n)."""
    probe_celsius: Array
    """As each probe said, calibrated, believed or not, shape (probes, n)."""
    marks: tuple[Mark, ...]
    """All, oldest first, each with what the cook said of it."""
    spots: tuple[SpotView, ...]
    """All readings by hand, oldest first."""
    alarms: tuple[Transition, ...]
    units: Mapping[str, str]
    """Of each rule's value."""
    vitals: Mapping[str, tuple[DeviceVitals, ...]]
    """By source, oldest first."""
    verdicts: tuple[Mapping[tuple[Quality, Reason], int], ...]
    """Of each probe of the plan: its readings by what the screening said."""
    heard_unix: tuple[Array, ...]
    """Of each probe of the plan: when it was heard."""
    absences: tuple[Absence, ...]


def play(record: Record, cook: Cook, progress: Callable[[float], None] = lambda _: None) -> Played:
    """Play a cook.

    Args:
        record: what is on record.
        cook: which.
        progress: is told how far it is, from 0 to 1, every two minutes of the cook.

    Raises:
        StoreError: there is not one reading of it, or no plan.
    """
    plans = record.plans(cook)
    if not plans or not cook.readings:
        raise StoreError(f"nothing was recorded in the cook {cook.name}: there is nothing to report")
    plan = plans[-1][1]
    engine = Engine(plan, cook.name, cook.started_unix)
    events: list[Event] = []
    moments: list[Snapshot] = []
    absences: list[Absence] = []
    due = -math.inf
    for ordinal, told, happened in steps(record, cook, engine):
        events += happened
        if isinstance(told, Action) and told.kind is ActionKind.RESUME:
            at_unix = unix_of(ordinal)
            absences.append(Absence(at_unix - told.seconds, at_unix, told.text))
        if engine.now_unix >= due:
            moments.append(engine.snapshot())
            progress((engine.now_unix - cook.started_unix) / max(1.0, cook.last_unix - cook.started_unix))
            due = (engine.now_unix // MOMENT_SECONDS + 1.0) * MOMENT_SECONDS
    events += engine.advance(max(engine.now_unix, record.alive_unix(cook)))
    if not moments or engine.now_unix > moments[-1].now_unix:
        moments.append(engine.snapshot())
    rows = [e for e in events if isinstance(e, TrendPoint)]
    verdicts, heard = _heard(record, cook, plan)
    vitals: dict[str, list[DeviceVitals]] = {}
    for _, one in record.vitals(cook):
        vitals.setdefault(one.source, []).append(one)
    return Played(
        cook, plan, tuple(unix_of(from_id) for from_id, _ in plans[1:]), engine.now_unix, tuple(moments),
        np.array([row.time_unix for row in rows]), np.array([row.grate_celsius for row in rows]),
        np.array([row.zones for row in rows], dtype=np.float64).reshape(len(rows), len(plan.zones)).T,
        np.array([row.probes for row in rows], dtype=np.float64).reshape(len(rows), len(plan.probes)).T,
        _marks([e for e in events if isinstance(e, Mark)], moments), _spots(moments), tuple(record.alarm_log(cook)),
        {rule.rule: rule.unit for rule in engine.rules()}, {k: tuple(v) for k, v in vitals.items()},
        verdicts, heard, tuple(absences),
    )  # fmt: skip


def _heard(
    record: Record, cook: Cook, plan: Plan
) -> tuple[tuple[Mapping[tuple[Quality, Reason], int], ...], tuple[Array, ...]]:
    """Count the readings of each probe by verdict, and say when it was heard."""
    number = {key: series for series, key in record.series().items()}
    columns = record.columns(cook)
    verdicts, heard = [], []
    for probe in plan.probes:
        told = columns.series == number.get((probe.source, probe.key), -1)
        by_verdict: Counter[tuple[Quality, Reason]] = Counter()
        for flags, count in zip(*np.unique(columns.flags[told], return_counts=True), strict=True):
            by_verdict[verdict_of(int(flags))] += int(count)
        verdicts.append(by_verdict)
        heard.append((columns.ordinal[told & columns.valued] >> SEQUENCE_BITS) / 1000)
    return tuple(verdicts), tuple(heard)


def _marks(marks: list[Mark], moments: list[Snapshot]) -> tuple[Mark, ...]:
    """Give every mark what the cook said of it later; a snapshot holds only the newest."""
    said: dict[str, Verdict | None] = {}
    for moment in (*moments[::30], moments[-1]):
        said.update((mark.event, mark.verdict) for mark in moment.marks if mark.event)
    told = [replace(mark, verdict=said.get(mark.event, mark.verdict)) if mark.event else mark for mark in marks]
    return tuple(sorted(told, key=lambda mark: mark.time_unix))


def _spots(moments: list[Snapshot]) -> tuple[SpotView, ...]:
    """Give all readings by hand; a snapshot holds only the newest."""
    found = dict.fromkeys(spot for moment in (*moments[::30], moments[-1]) for spot in moment.spots)
    return tuple(sorted(found, key=lambda spot: (spot.time_unix, spot.kind, spot.where)))
