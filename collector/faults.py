"""Contains a fault of coldside's own: one part that raises is replaced, counted and reported; the rest goes on. Pure.

Every view and every judgement is made of parts, and each part is built through `FaultBook.attempt`. The log, the
screens and the calls to people read from the book what failed.
"""

import traceback
from collections.abc import Callable
from pathlib import PurePath
from typing import Any, TypeVar

import msgspec
from msgspec.structs import replace

from adapters.text import clean_text
from collector.snapshot import AlarmState, FaultView, Priority, TroubleView

__all__ = ["CALLING_PART", "CALL_AFTER_SECONDS", "FAULT_KEY", "NOT_AVAILABLE", "Fault", "FaultBook", "place_of"]

T = TypeVar("T")

CALL_AFTER_SECONDS = 120.0
"""A critical part that has failed for this long calls somebody: longer than a restart of a part takes, short against
the half hour in which a fire dies (common practice, no source)."""
HOLD_SECONDS = 120.0
"""A fault counts as over when its part has worked for this long, so that one that comes and goes stays one fault."""
CALLING_PART = "calls to people"
"""The part that works out whom to call about what."""
NOT_AVAILABLE = "not available: a fault of coldside's, reported"
"""What stands in for the words of a part that fails."""
MOST_FRAMES, MOST_ERROR_CHARACTERS = 20, 300
FAULT_KEY = "fault/"
"""How the key of a trouble begins that stands for a fault; the part follows."""


class Fault(msgspec.Struct, frozen=True):
    """A part that has failed at least once."""

    part: str
    """What failed: `fire`, `meat brisket`, `alarm cold-spot/flat side`."""
    critical: bool
    """The safety of the night depends on it: its last value is never shown as the present one."""
    count: int
    since_unix: float
    """First failure of this spell."""
    last_unix: float
    """Newest failure."""
    failing: bool
    """The newest attempt failed."""
    error: str
    """Kind of the error and the line of code that raised it, without any text from outside."""
    traceback: str
    """Of the newest failure, for the log."""
    good_unix: float | None = None
    """When the value that is shown instead was built; None where none is shown."""
    acknowledged: bool = False


class FaultBook:
    """Runs parts, and keeps what failed."""

    def __init__(self) -> None:
        self._faults: dict[str, Fault] = {}
        self._good: dict[str, tuple[float, Any]] = {}

    @property
    def records(self) -> tuple[Fault, ...]:
        """Every part that has ever failed, in the order of its first failure."""
        return tuple(self._faults.values())

    def attempt(
        self,
        part: str,
        now_unix: float,
        build: Callable[[], T],
        otherwise: Callable[[], T],
        *,
        critical: bool = False,
        keep: bool = False,
        lasting: bool = True,
    ) -> T:
        """Build a part; where that raises, record the fault and give what stands in for it.

        Args:
            part: its name, one of a bounded number.
            now_unix: the cook's time.
            build: makes the part.
            otherwise: makes the stand-in, and must not raise.
            critical: see `Fault.critical`.
            keep: keep the newest good value and give that instead of the stand-in. Not for critical parts.
            lasting: a fault stands until the part works. False: of what is built only when somebody asks, which may
                never be again; it is over after `HOLD_SECONDS`.
        """
        try:
            built = build()
        except Exception as error:  # noqa: BLE001 - the one place where any fault of a part is contained
            self.record(part, now_unix, error, critical=critical, lasting=lasting)
            if keep and part in self._good:
                good_unix, good = self._good[part]
                self._faults[part] = replace(self._faults[part], good_unix=good_unix)
                value: T = good
                return value
            return otherwise()
        if keep:
            self._good[part] = now_unix, built
        if part in self._faults:
            self.works(part, now_unix)
        return built

    def record(
        self, part: str, now_unix: float, error: Exception, *, critical: bool = False, lasting: bool = False
    ) -> None:
        """Record that a part failed; see `attempt`."""
        before = self._faults.get(part)
        goes_on = before is not None and _standing(before, now_unix)
        self._faults[part] = Fault(
            part,
            critical,
            count=1 if before is None else before.count + 1,
            since_unix=before.since_unix if before is not None and goes_on else now_unix,
            last_unix=now_unix,
            failing=lasting,
            error=place_of(error),
            traceback=_traceback_of(error),
            acknowledged=before is not None and goes_on and before.acknowledged,
        )

    def works(self, part: str, now_unix: float) -> None:
        """Record that a part works: a fault of it is over some time later."""
        fault = self._faults.get(part)
        if fault is not None and fault.failing:
            self._faults[part] = replace(fault, failing=False, last_unix=now_unix)

    def failing(self, part: str) -> bool:
        """Tell whether the newest attempt of a part failed."""
        fault = self._faults.get(part)
        return fault is not None and fault.failing

    def standing(self, now_unix: float) -> list[Fault]:
        """List the faults that stand, critical ones first, the oldest first among equals."""
        found = [fault for fault in self._faults.values() if _standing(fault, now_unix)]
        return sorted(found, key=lambda fault: (not fault.critical, fault.since_unix))

    def acknowledge(self, key: str) -> bool:
        """Take an acknowledgement of the fault with this key, or of all where it is empty; tell whether one stood."""
        named = [
            part for part, fault in self._faults.items() if key in ("", FAULT_KEY + part) and not fault.acknowledged
        ]
        for part in named:
            self._faults[part] = replace(self._faults[part], acknowledged=True)
        return bool(named)

    def views(self, now_unix: float) -> tuple[FaultView, ...]:
        """Show the faults that stand."""
        return tuple(
            FaultView(f.part, f.critical, f.count, f.since_unix, f.last_unix, f.error, f.good_unix)
            for f in self.standing(now_unix)
        )

    def troubles(self, now_unix: float, *, calling_only: bool = False) -> tuple[TroubleView, ...]:
        """Show each standing fault as a trouble of its own, so that every screen and every channel has it.

        Args:
            now_unix: the cook's time.
            calling_only: leave out critical faults that are too young to call anybody.
        """
        nan = float("nan")
        return tuple(
            TroubleView(
                FAULT_KEY + fault.part,
                Priority.URGENT if fault.critical else Priority.NOTE,
                AlarmState.ACKNOWLEDGED if fault.acknowledged else AlarmState.UNACKNOWLEDGED,
                True,
                fault.since_unix,
                f"{fault.part}: not available",
                _what_to_do(fault),
                nan,
                nan,
                "",
                (),
            )
            for fault in self.standing(now_unix)
            if not (calling_only and fault.critical and now_unix - fault.since_unix < CALL_AFTER_SECONDS)
        )


def _standing(fault: Fault, now_unix: float) -> bool:
    return fault.failing or now_unix - fault.last_unix < HOLD_SECONDS


def _what_to_do(fault: Fault) -> str:
    if fault.critical:
        return "a fault of coldside's, reported in its log; go and look at the pit, this is not watched"
    return "a fault of coldside's, reported in its log; the alarms and the record go on"


def place_of(error: Exception) -> str:
    """Say which kind of error it was and which line raised it. The error's own text may come from outside."""
    frames = traceback.extract_tb(error.__traceback__)
    if not frames:
        return type(error).__name__
    last = frames[-1]
    return f"{type(error).__name__} in {PurePath(last.filename).name}, line {last.lineno}"


def _traceback_of(error: Exception) -> str:
    """Write where an error came from; its own text may be of any length, and from outside."""
    where = "".join(traceback.format_tb(error.__traceback__, limit=-MOST_FRAMES))
    return f"{where}{type(error).__name__}: {clean_text(str(error), MOST_ERROR_CHARACTERS)}"
