"""Keeps anybody from filling the disk through the log: a few lines of one kind from one peer, the rest counted."""

import logging
import time
from collections import OrderedDict
from collections.abc import Callable

import msgspec

__all__ = ["LogLimit"]

BURST_LINES = 20
"""Lines of one kind that may come at once."""
REFILL_SECONDS = 30.0
"""After that, one more this often: 2,880 lines a day, well under a megabyte."""
MOST_KINDS = 1000
"""Kinds that are remembered; the one that was used longest ago goes first."""


class _Kind(msgspec.Struct):
    """How much one kind of line may still say."""

    tokens: float
    filled: float
    left_out: int = 0


class LogLimit(logging.Filter):
    """Lets a burst of one kind of line through, then one now and then with a count of what was left out.

    A kind is a place in the code and, where the line has one (`extra={"peer": …}`), what it is about: an alarm, a
    source, somebody on the network. Lines about what matters name it, so that none of them hides another.

    Args:
        clock: seconds, of a clock that is never set.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self._clock = clock
        self._kinds: OrderedDict[tuple[str, int, str], _Kind] = OrderedDict()

    def filter(self, record: logging.LogRecord) -> bool:
        """Tell whether a line is written; add to it how many like it were not."""
        name = record.pathname, record.lineno, str(getattr(record, "peer", ""))
        now = self._clock()
        kind = self._kinds.get(name)
        if kind is None:
            kind = self._kinds[name] = _Kind(BURST_LINES, now)
            if len(self._kinds) > MOST_KINDS:
                self._kinds.popitem(last=False)
        self._kinds.move_to_end(name)
        kind.tokens = min(BURST_LINES, kind.tokens + (now - kind.filled) / REFILL_SECONDS)
        kind.filled = now
        if kind.tokens < 1.0:
            kind.left_out += 1
            return False
        kind.tokens -= 1.0
        if kind.left_out:
            record.msg = f"{record.getMessage()} ({kind.left_out} more like it were left out)"
            record.args = ()
            kind.left_out = 0
        return True
