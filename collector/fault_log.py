"""Writes faults of coldside's own to the log: at once with their traceback, then hourly with how often they came."""

import logging
from collections.abc import Iterable

from collector.faults import Fault

__all__ = ["FaultLog"]

log = logging.getLogger(__name__)

AGAIN_SECONDS = 3600.0


class FaultLog:
    """Keeps a fault that comes every second from filling the disk."""

    def __init__(self) -> None:
        self._written: dict[str, tuple[float, int]] = {}
        """When each part was last written of, and how often it had failed by then."""

    def write(self, faults: Iterable[Fault], now_seconds: float) -> None:
        """Write what is new.

        Args:
            faults: all on record.
            now_seconds: of a clock that is never set.
        """
        for fault in faults:
            last, count = self._written.get(fault.part, (-AGAIN_SECONDS, 0))
            if fault.count == count or now_seconds - last < AGAIN_SECONDS:
                continue
            self._written[fault.part] = now_seconds, fault.count
            since = "" if not count else f", {fault.count - count} times since it was last written here"
            log.error(
                "%s: a fault of coldside's, contained; %s, %d times in all%s\n%s",
                fault.part, fault.error, fault.count, since, fault.traceback, extra={"peer": fault.part},
            )  # fmt: skip
