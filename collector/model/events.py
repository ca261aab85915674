"""The newest marks of a cook: what he did, what the curves show, and what he said of that.

An event that the curves show has an identity, its kind and its time to the second, by which the cook confirms or
deletes it. What he marks himself near such an event is the same event, and confirms it.
"""

import math
from collections import deque
from datetime import UTC, datetime

from msgspec.structs import replace

from collector.model.rhythm import JOIN_SECONDS
from collector.snapshot import Mark, Verdict

__all__ = ["EventBook"]

KEPT = 200
SEEN = "seen-"
SAME = {"split": f"{SEEN}refuel", "lid": f"{SEEN}lid"}
"""What the curves show of a thing the cook marks."""


class EventBook:
    """Holds the newest marks of one cook."""

    def __init__(self) -> None:
        self._marks: deque[Mark] = deque(maxlen=KEPT)
        self._told: dict[str, float] = {}
        """When the cook marked what the curves have not shown yet, by the kind of event he would find there."""

    def add(self, mark: Mark) -> Mark:
        """Take a mark; give it as it is kept.

        One that the curves show gets its identity, and is confirmed where the cook had marked the same before. One of
        the cook's confirms the nearest that the curves had shown.
        """
        if mark.kind.startswith(SEEN):
            told = self._told.pop(mark.kind, -math.inf)
            same = abs(mark.time_unix - told) <= JOIN_SECONDS
            mark = replace(mark, event=_identity(mark), verdict=Verdict.CONFIRMED if same else None)
        elif mark.kind in SAME:
            self._join(SAME[mark.kind], mark.time_unix)
        self._marks.append(mark)
        return mark

    def _join(self, kind: str, time_unix: float) -> None:
        """Confirm the event that the cook has marked, or wait for it."""
        seen = self._nearest(kind, time_unix)
        if seen is None:
            self._told[kind] = time_unix
        else:
            self.judge(seen.event, Verdict.CONFIRMED)

    def _nearest(self, kind: str, time_unix: float) -> Mark | None:
        """Give the mark of a kind nearest to a time, within `JOIN_SECONDS` and not deleted."""
        near = [
            m for m in self._marks
            if m.kind == kind and m.verdict is not Verdict.DELETED and abs(m.time_unix - time_unix) <= JOIN_SECONDS
        ]  # fmt: skip
        return min(near, key=lambda m: abs(m.time_unix - time_unix), default=None)

    def find(self, event: str) -> Mark:
        """Give the event of this identity.

        Raises:
            KeyError: none of the newest marks has it.
        """
        found = next((m for m in self._marks if m.event and m.event == event), None)
        if found is None:
            raise KeyError(event)
        return found

    def judge(self, event: str, verdict: Verdict) -> None:
        """Keep what the cook said of an event; one that is no longer kept is let go."""
        for i, mark in enumerate(self._marks):
            if mark.event and mark.event == event:
                self._marks[i] = replace(mark, verdict=verdict)

    def marks(self) -> tuple[Mark, ...]:
        """Give all, oldest first."""
        return tuple(self._marks)


def _identity(mark: Mark) -> str:
    """Name an event by its kind and its time, basic format of ISO 8601."""
    return f"{mark.kind.removeprefix(SEEN)}/{datetime.fromtimestamp(mark.time_unix, UTC):%Y%m%dT%H%M%SZ}"
