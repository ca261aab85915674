"""Opens the store and the cook in it at the start of a run; what stands in the way is mended where it can be."""

import logging
import math
import sqlite3
import time
from pathlib import Path

import msgspec

from collector.clock import Clock, boot_name
from collector.cooks import Opened, open_cook
from collector.errors import StoreBusyError, StoreDamagedError, StoreError, StoreVersionError
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.model.plan import Plan
from collector.pipeline import Pipeline
from collector.store.archive import Archive
from collector.store.damage import is_broken, is_damage, set_aside
from collector.store.database import Database
from collector.store.row import AFTER_SECONDS, unix_of
from collector.version import VERSION as COLDSIDE

__all__ = ["AWAY_SECONDS", "OpenStore", "open_store", "take_up"]

log = logging.getLogger(__name__)

DAY_SECONDS = 86400.0
AWAY_SECONDS = 30.0
"""A longer absence is put on record, and no probe is called silent for it."""


class OpenStore(msgspec.Struct, frozen=True):
    """The store of this run."""

    database: Database
    opened: Opened
    boot_began_ms: int
    """From when on what is on record was written since the machine started; milliseconds since the epoch."""
    set_aside: str = ""
    """What became of a store that was damaged, for the record; empty where none was."""


def open_store(
    path: Path, plan: Plan, clock: Clock, *, cook: str, start_unix: float | None, keep_days: float, settled_only: bool
) -> OpenStore:
    """Open the store and the cook in it; of a damaged store all goes on that can be read, and the file is kept.

    Old cooks go where a new one begins.

    Args:
        path: of the store.
        plan: the set-up.
        clock: set forward where the record is ahead of it.
        cook: name of a new cook; empty to go on with the open one.
        start_unix: the time; None: the clock's.
        keep_days: cooks that ended longer ago are deleted when a new one begins; 0: none are.
        settled_only: of these only what a server holds whole.

    Raises:
        StoreError: it cannot be used.
    """
    try:
        return _open(path, plan, clock, cook, start_unix, keep_days, settled_only=settled_only)
    except StoreDamagedError as error:
        log.error("%s", error)  # noqa: TRY400 - the cause is in the sentence
    except (StoreError, OSError):
        raise
    except Exception:
        if not is_broken(path):
            raise  # a fault of ours, and a sound store stays where it is
        log.exception("%s: what is on record makes no sense", path)
    kept = set_aside(path, time.strftime("%Y%m%d-%H%M%S"))
    aside = f"the store was damaged and is kept as {kept}; {_salvaged(kept, path, plan)}"
    log.error("%s", aside)
    try:
        fresh = _open(path, plan, clock, cook, start_unix, keep_days, settled_only=settled_only)
    except (StoreBusyError, StoreVersionError):
        raise
    except Exception as error:  # what was read makes no sense together
        log.exception("%s: what was read of it cannot be used", path)
        again = set_aside(path, time.strftime("%Y%m%d-%H%M%S-salvaged"))
        aside += f", but that cannot be used ({error}) and is kept as {again}; it goes on in a fresh one"
        fresh = _open(path, plan, clock, cook, start_unix, keep_days, settled_only=settled_only)
    return OpenStore(fresh.database, fresh.opened, fresh.boot_began_ms, aside)


def take_up(opened: Opened, pipeline: Pipeline, now_unix: float) -> None:
    """Go on with a resumed cook: steps the last run did not get to write, and the time nobody listened.

    Args:
        opened: the cook.
        pipeline: of its engine.
        now_unix: the time.
    """
    if opened.same_plan:
        pipeline.batch.transitions += [
            e for e in opened.events if isinstance(e, Transition) and e.time_unix >= opened.plan_unix
        ]
    now = math.floor(now_unix * 1000.0) / 1000.0  # as it will be on record
    away = now - max(opened.alive_unix, opened.engine.now_unix)
    if away > AWAY_SECONDS:
        log.warning("the collector was away for %.0f s", away)
        text = f"the collector was away for {away:.0f} s"
        pipeline.act(Action(ActionKind.RESUME, seconds=away, text=text), now)


def _salvaged(kept: Path, path: Path, plan: Plan) -> str:
    """Bring what can be read of a damaged store to where it was; say what came of it."""
    from collector.store.salvage import said_of, salvage

    try:
        found = salvage(kept, path, plan_json=msgspec.json.encode(plan).decode())
    except StoreError as error:
        return f"{error}, so the night goes on in a fresh one"
    for line in said_of(found):
        log.warning("%s", line)
    return f"the night goes on with {said_of(found)[0]}"


def _open(
    path: Path, plan: Plan, clock: Clock, cook: str, start_unix: float | None, keep_days: float, *, settled_only: bool
) -> OpenStore:
    database = Database(path)
    try:
        now = _time_after_the_record(path, clock) if start_unix is None else start_unix
        boot_ms = database.boot_began_ms(boot_name(), int(now * 1000))
        opened = open_cook(database, plan, now, name=cook, coldside=COLDSIDE)
        if keep_days and not opened.resumed:
            _forget_old(database, now - keep_days * DAY_SECONDS, settled_only=settled_only)
    except sqlite3.Error as error:
        database.close()
        kind = StoreDamagedError if is_damage(error) else StoreError
        raise kind(f"{path}: cannot be used as a store: {error}") from error
    except BaseException:
        database.close()
        raise
    return OpenStore(database, opened, boot_ms)


def _forget_old(database: Database, before_unix: float, *, settled_only: bool) -> None:
    """Delete the cooks that ended before a time; that this cannot be done now is no reason not to collect."""
    with Archive(database.path) as archive:
        old = archive.ended_before(before_unix)
    if settled_only:
        settled = database.settled()
        kept = [cook.name for cook in old if cook.number not in settled]
        if kept:
            log.info("cooks past their time stay until the server has all of them: %s", ", ".join(kept))
        old = [cook for cook in old if cook.number in settled]
    try:
        gone = database.forget(old)
    except StoreError as error:
        log.warning("old cooks stay for now: %s", error)
        return
    if old:
        names = ", ".join(cook.name for cook in old)
        log.info("deleted %d readings of cooks past their time: %s", gone, names)


def _time_after_the_record(path: Path, clock: Clock) -> float:
    """Give the time, never before what is on record: a clock set back, or a store played ahead of it.

    Time then runs on from the end of the record; order on record is worth more than the hour on the wall.
    """
    with Archive(path) as archive:
        newest = archive.cooks(newest=1)
        times = [time for cook in newest for time in (cook.started_unix, cook.ended_unix) if time is not None]
        times += [archive.alive_unix(cook) + AFTER_SECONDS for cook in newest]
        last = max([unix_of(archive.last_ordinal()), *times])  # a cook may go on though nothing is heard in it
    ahead = last - clock.now()
    if ahead > 0:
        clock.set_forward(ahead)
        if ahead > AWAY_SECONDS:
            log.warning("the clock is %.0f s behind the record; times go on from the record's end", ahead)
    return clock.now()
