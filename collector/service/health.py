"""Whether readings flow through the collector: what the watchdog of the service manager is fed by.

A restart mends a collector that hangs. It mends neither a probe that is off, nor a broker that is gone, nor a disk that
refuses; so none of these keeps the sign of life back. What does: the engine's time stands still, readings wait for the
pipeline though the disk has room, or one commit hangs.
"""

from collections.abc import Sequence

import msgspec

from adapters.source import SourceCounts

__all__ = ["Flow", "Pulse", "hangs"]

TICK_SECONDS = 15.0
"""The tick comes once a second; a board that is very busy may be late."""
WAITING_SECONDS = 60.0
COMMIT_SECONDS = 120.0
"""An SD card may take half a minute for one write (common practice, no source)."""


class Pulse(msgspec.Struct, frozen=True):
    """What tells how the collector fares; ages in seconds."""

    since_tick: float
    """Since the engine's time was moved last."""
    waiting_since: float
    """For how long readings have waited at some source without one being taken; 0 where none waits."""
    commit_since: float
    """How long the commit under way has taken; 0 where none is."""
    held_back: bool
    """The store takes nothing, so sources are held back, and that is shown."""


class Flow:
    """Follows whether what sources hear is taken from them.

    Args:
        sources: how many.
    """

    def __init__(self, sources: int) -> None:
        self._taken = [-1] * sources
        self._since = [0.0] * sources

    def waiting_seconds(self, now: float, counts: Sequence[SourceCounts]) -> float:
        """Give for how long readings have waited at some source without one being taken, by a clock that only rises."""
        longest = 0.0
        for row, count in enumerate(counts):
            waits = count.heard - count.undecodable - count.repeated - count.skipped - count.dropped > count.yielded
            if not waits or count.yielded != self._taken[row]:
                self._taken[row], self._since[row] = count.yielded, now
            longest = max(longest, now - self._since[row])
        return longest


def hangs(pulse: Pulse) -> str:
    """Say what hangs, empty where nothing does."""
    if pulse.since_tick > TICK_SECONDS:
        return f"the engine has stood still for {pulse.since_tick:.0f} s"
    if pulse.commit_since > COMMIT_SECONDS:
        return f"a commit has hung for {pulse.commit_since:.0f} s"
    if pulse.waiting_since > WAITING_SECONDS and not pulse.held_back:
        return f"readings have waited for {pulse.waiting_since:.0f} s"
    return ""
