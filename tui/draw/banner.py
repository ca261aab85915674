"""What must never be overlooked: no link, old values, unsaved readings, a frozen view."""

import msgspec

from collector.snapshot import StoreView
from tui.draw.line import Role
from tui.draw.view import View
from tui.draw.words import age, clock_seconds

__all__ = ["STALE_SECONDS", "UNSAVED_SECONDS", "Standing", "Trouble", "trouble"]

STALE_SECONDS = 5.0
"""Without news for longer than this, what is on the screen counts as old."""
UNSAVED_SECONDS = 60.0
"""Readings that wait longer than this for the disk count as unsaved."""


class Standing(msgspec.Struct, frozen=True):
    """How the dashboard stands towards its collector."""

    now_unix: float
    up: bool
    ever_up: bool
    since_unix: float
    """When the link came to stand as it does."""
    why: str = ""
    refused: str = ""
    """Why this collector will never do; empty otherwise."""
    asked: str = "THIS COLLECTOR"
    """What is asked, where it will never do."""
    news_seconds: float | None = None
    """Since the newest snapshot came; None when none ever did."""
    news_unix: float = 0.0
    """When that was."""
    paused_unix: float | None = None
    """The cook's own time in the picture that is held; None while it goes on."""
    store: StoreView | None = None
    cook_now_unix: float = 0.0
    """The cook's own time in the newest snapshot."""
    played: bool = False
    """The cook has a time of its own: that of a clock on the wall says nothing beside it."""


class Trouble(msgspec.Struct, frozen=True):
    """A banner: what is wrong, and what that means."""

    headline: str
    meaning: str
    role: Role
    old: bool
    """The values on the screen are not the present ones."""
    short: str = ""
    """In a word or two, where several pits are told of; empty where the pit is well all the same."""


def trouble(standing: Standing, view: View) -> Trouble | None:
    """Name the worst that stands between the screen and the truth; None when all is well."""
    if standing.refused:
        return Trouble(f"CANNOT READ {standing.asked}", standing.refused, "alarm", old=True, short="NO LINK")
    if not standing.up:
        return _no_link(standing, view)
    if standing.news_seconds is None:
        if standing.now_unix - standing.since_unix > STALE_SECONDS:
            return Trouble(
                "NO NEWS", "connected, but the collector has sent nothing yet", "alarm", old=True, short="STALE"
            )
        return Trouble("CONNECTED", "waiting for the first values", "warn", old=True, short="waiting")
    if standing.news_seconds > STALE_SECONDS:
        return Trouble(
            "STALE" if standing.played else f"STALE since {clock_seconds(standing.news_unix, view)}",
            f"connected, but nothing new for {age(standing.news_seconds)}: these values are old", "alarm", old=True,
            short="STALE",
        )  # fmt: skip
    return _not_saved(standing) or _paused(standing, view)


def _no_link(standing: Standing, view: View) -> Trouble:
    if not standing.ever_up and not standing.why and standing.now_unix - standing.since_unix <= STALE_SECONDS:
        return Trouble("CONNECTING", "to the collector", "warn", old=True, short="waiting")
    why = standing.why or "no answer yet"
    if not standing.ever_up:
        return Trouble("NO COLLECTOR", f"{why}; trying again and again", "warn", old=True, short="NO LINK")
    lost = standing.news_unix or standing.since_unix
    since = "" if standing.played else f" since {clock_seconds(lost, view)}"
    return Trouble(
        f"LOST the collector{since}",
        f"{why}; what you see is {age(standing.now_unix - lost)} old", "alarm", old=True, short="NO LINK",
    )  # fmt: skip


def _not_saved(standing: Standing) -> Trouble | None:
    store = standing.store
    if store is None:
        return None
    if store.fault:
        told = f"{store.fault}; {store.unsaved} readings wait in memory"
        return Trouble("NOT SAVED", told, "alarm", old=False, short="NOT SAVED")
    if store.unsaved and store.last_commit_unix is not None:
        late = standing.cook_now_unix - store.last_commit_unix
        if late > UNSAVED_SECONDS and not store.throwaway:
            told = f"{store.unsaved} readings wait, the last commit was {age(late)} ago"
            return Trouble("NOT SAVED", told, "alarm", old=False, short="NOT SAVED")
    return None


def _paused(standing: Standing, view: View) -> Trouble | None:
    if standing.paused_unix is None:
        return None
    held = age(standing.cook_now_unix - standing.paused_unix)
    at = clock_seconds(standing.paused_unix, view)
    return Trouble(f"PAUSED at {at}", f"the picture is {held} old; alarms still come in", "warn", old=False)
