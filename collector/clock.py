"""The collector's clock: wall time that never runs backwards.

Wall time at the start, carried on by a clock that counts through suspend. A wall clock set forward (the network time
arriving late on a board without a battery) is followed; one set back is not, until the next start: an hour lived
twice would put readings out of order.
"""

import time

__all__ = ["Clock"]

STEP_SECONDS = 2.0


class Clock:
    """Tells Unix seconds UTC, never less than it told before."""

    def __init__(self) -> None:
        self._anchor_unix = time.time()
        self._anchor_boot = self._boot()
        self.steps: list[tuple[float, float]] = []
        """Steps seen: when by our clock, and by how many seconds the wall clock was set."""
        self._told_behind = False

    @staticmethod
    def _boot() -> float:
        return time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic()

    def now(self) -> float:
        """Tell the time."""
        return self._anchor_unix + self._boot() - self._anchor_boot

    def set_forward(self, seconds: float) -> None:
        """Tell a later time from now on: the record is ahead of the wall clock."""
        self._anchor_unix += seconds
        self._told_behind = True

    def look(self) -> float | None:
        """Compare with the wall clock; return the step in seconds when it was set since the last look."""
        ours = self.now()
        step = time.time() - ours
        if step > STEP_SECONDS:
            self._anchor_unix += step
            self._told_behind = False
        elif step < -STEP_SECONDS and not self._told_behind:
            self._told_behind = True
        else:
            return None
        self.steps.append((ours, step))
        del self.steps[:-100]
        return step
