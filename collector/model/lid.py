"""The lid as the chamber shows it: open on a fall no fire can make, shut on the first lasting rise.

An opening is a fall at the grate and under the lid together, greater than any gust of the last hour.
"""

import math
from collections import deque

import numpy as np

from collector.model.field import Array
from collector.model.rhythm import JOIN_SECONDS
from collector.model.robust import median

__all__ = ["LidWatch"]

GRATE_KELVIN, TOP_KELVIN = 5.0, 25.0
"""A fall at the grate and one under the lid within a minute that weigh the same."""
OPENED = 2.2
"""The two falls in these units add up to so much when the lid is opened; gusts take less (tuned on nights of another
simulator, where openings add up to 2.7 and more and gusts to 2.0 at most)."""
RESTLESS, RESTLESS_SECONDS = 1.8, 3600.0
"""In a restless pit, an opening is this many times the greatest fall of the time before, with the lid shut."""
ONSET_SECONDS = 180.0
"""An opening grows for less than this before it is seen."""
SHUT_RISE_KELVIN = 1.0
HELD_OPEN_SECONDS = 1200.0
FALL_SECONDS = 60.0
"""Falls are measured over so long."""
SETTLING_SECONDS = 420.0
"""Probes lag and the air mixes: for so long after the lid is shut, no zone is judged."""
NOT_RISING_SECONDS = 300.0
NOT_RISING_KELVIN = 1.0
REGAINED_SHARE = 0.4
"""With so much of the fall regained the lid is surely shut: what is lost later is lost to the fire."""


class LidWatch:
    """Follows the lid of one pit."""

    def __init__(self) -> None:
        self.shut_unix: float | None = None
        """When it was shut last; None before the first time."""
        self._opened: dict[float, bool] = {}
        """When each opening was seen to begin, and whether it counts: the cook may say that it was none."""
        self._open_unix: float | None = None
        self._unseen = 0
        """Openings the cook told of that the curves do not show."""
        self._told: float | None = None
        """When the newest of them was: it may show yet."""
        self.regained = True
        """The level has come back far enough from the last opening to tell that the lid did shut."""
        self._shut_at = -math.inf
        self._high = -math.inf
        """The most the grate has said since."""
        self._before = math.nan
        self._low = math.nan
        self._restless: deque[tuple[float, float]] = deque()
        """When falls were greatest with the lid shut, each less than those before it, and how great they were."""
        self._newest: deque[tuple[float, float]] = deque()
        """Falls so new that they may be the beginning of an opening."""

    def look(self, now_unix: float, step_seconds: float, past: Array, grate_fall: float, top_fall: float) -> bool:
        """Take one look; tell whether the lid was opened just now.

        Args:
            now_unix: the time.
            step_seconds: since the last look.
            past: the grate's mean over the last minute, newest last, degrees Celsius.
            grate_fall: how far the middle probe of the grate fell within a minute, kelvin.
            top_fall: the same under the lid.
        """
        grate = float(past[-1])
        if grate != grate:
            return False  # neither a fall nor a rise can be told
        if self._open_unix is None and grate > self._low + REGAINED_SHARE * (self._before - self._low):
            self.regained = True
        if self._open_unix is None:
            self._high = max(self._high, grate)
            if not self._falls(now_unix, grate_fall, top_fall) or self._just_shut(now_unix, grate):
                return False
            known = past[np.isfinite(past)]
            self._before = float(known.max()) if known.size else math.nan
            self._open_unix = now_unix - step_seconds
            self._opened[self._open_unix] = True
            if self._told is not None and self._open_unix - self._told <= JOIN_SECONDS:
                self._unseen -= 1
            self._told = None
            self._low = grate
            self.regained = False
            return True
        self._low = min(self._low, grate)
        if grate > self._low + SHUT_RISE_KELVIN:
            if self._opened[self._open_unix]:
                self.shut_unix = now_unix
            self._open_unix = None
            self._shut_at, self._high = now_unix, grate
        return False

    def _falls(self, now_unix: float, grate_fall: float, top_fall: float) -> bool:
        """Tell whether the pit falls as with an open lid, at the grate and under the lid together."""
        at_grate = grate_fall / GRATE_KELVIN
        both = at_grate + (top_fall / TOP_KELVIN if top_fall == top_fall else at_grate)
        past, newest = self._restless, self._newest
        while newest and now_unix - newest[0][0] > ONSET_SECONDS:
            when, fall = newest.popleft()
            while past and past[-1][1] <= fall:
                past.pop()
            past.append((when, fall))
        while past and now_unix - past[0][0] > RESTLESS_SECONDS:
            past.popleft()
        if both > max(OPENED, RESTLESS * past[0][1] if past else 0.0):
            newest.clear()
            return True
        if both == both and self.settled(now_unix):
            newest.append((now_unix, both))
        return False

    def _just_shut(self, now_unix: float, grate_celsius: float) -> bool:
        """Tell whether the fall of the last minute is that of the opening that has just ended."""
        return now_unix - self._shut_at < FALL_SECONDS and grate_celsius > self._high - SHUT_RISE_KELVIN

    @property
    def open_unix(self) -> float | None:
        """Since when it stands open; None while it is shut."""
        return self._open_unix if self._open_unix is not None and self._opened[self._open_unix] else None

    @property
    def newest_unix(self) -> float:
        """When it was opened last, as far as that counts; 0 before the first time."""
        return max((began for began, counts in self._opened.items() if counts), default=0.0)

    @property
    def openings(self) -> int:
        """How often it was opened."""
        return sum(self._opened.values()) + self._unseen

    def tell(self, time_unix: float) -> None:
        """Take an opening the cook says he made: one that was seen near it is the same, or the next that will be."""
        if not any(counts and abs(t - time_unix) <= JOIN_SECONDS for t, counts in self._opened.items()):
            self._unseen += 1
            self._told = time_unix

    def confirm(self, opened_unix: float) -> None:
        """Count an opening that was seen to begin at this time, though it was deleted."""
        if opened_unix in self._opened:
            self._opened[opened_unix] = True

    def delete(self, opened_unix: float) -> None:
        """Count it no more, nor what it cost: the level fell for another reason."""
        if opened_unix not in self._opened:
            return
        self._opened[opened_unix] = False
        if opened_unix == max(self._opened):
            self.shut_unix, self.regained = None, True

    def settled(self, now_unix: float) -> bool:
        """Tell whether the air has mixed since the lid was shut, or it seems open for longer than anybody holds it.

        What only the air under the lid showed may be over long before the grate rises; a fire must not go unwatched
        for it.
        """
        if self.open_unix is not None:
            return now_unix - self.open_unix > HELD_OPEN_SECONDS
        return self.shut_unix is None or now_unix - self.shut_unix > SETTLING_SECONDS

    def lost_kelvin(self, level_celsius: float, past: Array, usual_celsius: float) -> float:
        """Say how far the level stands below where a lid opening found it, while it does not rise; else 0.

        After an opening the level climbs, or at least stops falling not far below. Where it does neither, the lid is
        still open, or did not close.

        Args:
            level_celsius: the level.
            past: the grate over the last `NOT_RISING_SECONDS`, newest last.
            usual_celsius: what the pit is meant to run at: what an opening found above it is no loss.
        """
        if self.newest_unix == 0.0 or self.regained:
            return 0.0
        third = max(1, past.size // 3)
        rising = float(median(past[-third:]) - median(past[:third])) > NOT_RISING_KELVIN
        return 0.0 if rising else min(self._before, usual_celsius) - level_celsius
