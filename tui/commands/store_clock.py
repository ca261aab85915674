"""`coldside store clock`: leaps ahead of the wall clock that were followed, and what a wrong one wrote dated back."""

import datetime as dt
from pathlib import Path

import msgspec

from collector.errors import StoreError
from collector.model.action import ActionKind
from collector.store.archive import Archive
from collector.store.database import Database
from collector.store.row import unix_of

__all__ = ["Leap", "date_back", "leap_lines", "leaps_of"]

NEWEST_COOKS = 30


class Leap(msgspec.Struct, frozen=True):
    """A leap of the wall clock that was followed."""

    cook: str
    time_unix: float
    """When it was over, by the clock that had leapt."""
    seconds: float
    """By how much."""


def leaps_of(store: Path) -> list[Leap]:
    """List the leaps of the newest cooks, the newest first.

    Raises:
        StoreError: the store cannot be read.
    """
    with Archive(store) as archive:
        found = [
            Leap(cook.name, unix_of(ordinal), action.seconds)
            for cook in archive.cooks(newest=NEWEST_COOKS)
            for ordinal, action in archive.actions(cook)
            if action.kind is ActionKind.RESUME and action.subject == "clock" and action.seconds >= 60.0
        ]
    return sorted(found, key=lambda leap: -leap.time_unix)


def leap_lines(leaps: list[Leap]) -> list[str]:
    """Write the leaps, numbered from the newest, and what can be done about a wrong one."""
    if not leaps:
        return ["the wall clock has not leapt ahead in the newest cooks"]
    lines = [
        f"{number:3}  {dt.datetime.fromtimestamp(leap.time_unix, dt.UTC).astimezone():%Y-%m-%d %H:%M:%S}  set ahead by "
        f"{_length(leap.seconds)}, cook {leap.cook}"
        for number, leap in enumerate(leaps, start=1)
    ]
    return [*lines, "if one was wrong, stop the collector, then: coldside store clock --back NUMBER"]


def date_back(store: Path, number: int) -> str:
    """Move what was written since a leap back over the time that never was; say what was done.

    The log of alarms is kept as they were raised, each at its own time of then, moved.

    Raises:
        StoreError: there is no such leap, a collector has the store, or the disk refuses.
    """
    leaps = leaps_of(store)
    if not 1 <= number <= len(leaps):
        raise StoreError(f"there is no leap {number}; `coldside store clock` lists {len(leaps)}")
    leap = leaps[number - 1]
    database = Database(store)
    try:
        moved_ms = database.redate(round(leap.time_unix * 1000), -round(leap.seconds * 1000))
    finally:
        database.close()
    if not moved_ms:
        return "nothing was moved: readings of before lie less than a minute before those of after"
    return f"{leap.cook}: what was written since then is dated {_length(-moved_ms / 1000)} earlier"


def _length(seconds: float) -> str:
    minutes = round(seconds / 60.0)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
