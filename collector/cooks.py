"""Which cook the collector is in: the open one goes on after a restart, a new one begins after a long silence."""

import datetime as dt
import logging

import msgspec
from msgspec.structs import replace

from collector.calibrations import lines_of
from collector.engine import Engine, Event
from collector.model.meat.renamed import carried_over
from collector.model.plan import Plan
from collector.replay import rebuild
from collector.snapshot import TrendPoint
from collector.store.archive import Archive
from collector.store.database import Database
from collector.store.record import Cook
from collector.store.row import AFTER_SECONDS, ordinal_at, unix_of
from collector.store.schema import SEQUENCE_BITS
from collector.usual import COOKS, usual_deficits

__all__ = ["RESUME_WITHIN_SECONDS", "Opened", "open_cook"]

log = logging.getLogger(__name__)

RESUME_WITHIN_SECONDS = 6 * 3600.0
"""A cook whose last reading is younger than this goes on."""


class Opened(msgspec.Struct, frozen=True):
    """The cook to record, and what is known of it already."""

    number: int
    engine: Engine
    last_ordinal: int
    resumed: bool
    same_plan: bool
    """The cook goes on under the plan it had: a replay gives the log that was written."""
    plan_unix: float
    """Since when it runs under this plan; what was judged before was judged under another."""
    alive_unix: float
    """The last sign of life of the collector that recorded it: its trend goes on when no probe is heard."""
    events: tuple[Event, ...]
    """What happened in it so far, for the log (which may lack the end) and the trend."""

    @property
    def trend(self) -> list[TrendPoint]:
        """The trend so far."""
        return [e for e in self.events if isinstance(e, TrendPoint)]


def open_cook(database: Database, plan: Plan, now_unix: float, *, name: str = "", coldside: str = "") -> Opened:
    """Go on with the open cook, or begin one.

    Args:
        database: the store, already held.
        plan: the set-up from the config; calibrations on record are put into it, those from before the cook began.
        now_unix: the time.
        name: a new cook of this name; empty: go on if there is one to go on with.
        coldside: version, for the record.

    Raises:
        StoreError: the name is taken, or the store cannot be used.
    """
    with Archive(database.path) as archive:
        last_ordinal = archive.last_ordinal()
        cooks = archive.cooks(newest=COOKS)
        current = cooks[-1] if cooks else None
        if current is not None and current.ended_unix is None:
            if not name and -60.0 <= now_unix - current.last_unix <= RESUME_WITHIN_SECONDS:
                return _resume(database, archive, current, plan, last_ordinal)
            database.end_cook(current.number, round(current.last_unix * 1000))
        name = name or _free_name(now_unix, set(archive.names()))
        plan = plan.calibrated(lines_of(archive.calibrations()))
        plan = replace(plan, usual_kelvin=usual_deficits(archive, cooks, plan))
    after_ms = max([(last_ordinal >> SEQUENCE_BITS), *(round(cook.started_unix * 1000) for cook in cooks[-1:])])
    started_ms = max(int(now_unix * 1000), after_ms + 1)
    number = database.begin_cook(name, started_ms, msgspec.json.encode(plan).decode(), coldside)
    return Opened(
        number,
        Engine(plan, name, started_ms / 1000),
        last_ordinal,
        False,
        True,
        started_ms / 1000,
        started_ms / 1000,
        (),
    )


def _resume(database: Database, archive: Archive, cook: Cook, plan: Plan, last_ordinal: int) -> Opened:
    plan = plan.calibrated(lines_of(archive.calibrations(before=cook)))  # those since are actions of the cook
    earlier = archive.cooks(newest=COOKS, before_unix=cook.started_unix)
    plan = replace(plan, usual_kelvin=usual_deficits(archive, earlier, plan))
    plan_from, last = archive.plans(cook)[-1]
    meat, told = carried_over(last.meat, plan.meat)
    for said in told:
        log.warning("%s", said)
    plan = replace(plan, meat=meat)
    plan_json = msgspec.json.encode(plan).decode()
    stored = msgspec.json.encode(last).decode()
    if stored != plan_json:
        # the engine of before judged on until the last sign of life, though nothing may have been heard since
        from_id = max(last_ordinal + 1, plan_from + 1, ordinal_at(archive.alive_unix(cook) + AFTER_SECONDS))
        database.change_plan(cook.number, from_id, plan_json)
    engine, events = rebuild(archive, cook, plan)
    since = max(cook.started_unix, unix_of(plan_from))
    alive = archive.alive_unix(cook)
    return Opened(cook.number, engine, last_ordinal, True, stored == plan_json, since, alive, tuple(events))


def _free_name(now_unix: float, taken: set[str]) -> str:
    day = dt.datetime.fromtimestamp(now_unix, dt.UTC).astimezone().strftime("%Y-%m-%d")
    if day not in taken:
        return day
    return next(f"{day}-{k}" for k in range(2, 10_000) if f"{day}-{k}" not in taken)
