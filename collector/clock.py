"""The collector's clock: wall time that never runs backwards.

Wall time at the start, carried on by a clock that counts through suspend. A wall clock set forward (the network time
arriving late on a board without a battery) is followed; one set back is not, until the next start: an hour lived
twice would put readings out of order.
"""

import ctypes
import time
from collections.abc import Callable
from pathlib import Path

__all__ = ["Clock", "boot_name", "synchronised"]

STEP_SECONDS = 2.0
TIMEX_BYTES = 256
"""Room for the kernel's `struct timex`, all zero: asks, and sets nothing."""
TIME_ERROR = 5


def synchronised() -> bool | None:
    """Tell whether the wall clock is kept by the network's or a receiver's time (`adjtimex(2)`); None: not known."""
    try:
        state = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(TIMEX_BYTES))
    except (OSError, AttributeError):
        return None
    return None if state < 0 else state != TIME_ERROR


def boot_name() -> str:
    """Give the kernel's name of this start of the machine; empty where it has none."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    except OSError:
        return ""


class Clock:
    """Tells Unix seconds UTC, never less than it told before.

    Args:
        sure: tells whether the wall clock can be trusted; None where that is not known.
    """

    def __init__(self, sure: Callable[[], bool | None] = synchronised) -> None:
        self._sure = sure
        self._was_sure = sure()
        self.late_seconds = 0.0
        """By how much all was too early that this clock told before it was followed forward and vouched for."""
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
        unsure, self._was_sure = self._was_sure is False, self._sure()
        if step > STEP_SECONDS:
            self._anchor_unix += step
            self._told_behind = False
            if unsure:
                self.late_seconds += step
        elif step < -STEP_SECONDS and not self._told_behind:
            self._told_behind = True
        else:
            return None
        self.steps.append((ours, step))
        del self.steps[:-100]
        return step
