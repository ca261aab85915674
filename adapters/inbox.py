"""A bounded queue of readings that keeps what matters when it is full.

When it is full it gives up the oldest reading that is not the newest of its probe, and counts it. A reading that
carries a receipt is never given up: its sender waits for an acknowledgement, so the sender is held back instead
(`Inbox.held` tells how many are in here).
"""

from collections import deque

from adapters.reading import Reading

__all__ = ["Inbox"]


class Inbox:
    """First in, first out; holds at most `capacity` readings beside those that carry a receipt.

    Every operation is O(1) amortised: a reading that must be spared is moved aside once and not looked at again.
    Where more probes speak than there is room for, even the newest of the one longest silent has to go.
    """

    def __init__(self, capacity: int = 4096) -> None:
        if capacity < 1:
            raise ValueError("an inbox needs room for at least one reading")
        self.capacity = capacity
        self.dropped = 0
        self.held = 0
        """Readings with a receipt in here."""
        self._queue: deque[tuple[int, Reading]] = deque()
        self._spared: dict[int, Reading] = {}
        """Readings moved aside, by ordinal: older than all in the queue; held, or the newest of their probe."""
        self._replaceable: dict[str, int] = {}
        """Ordinal of the spared reading of each probe that has no receipt: it goes when a newer one comes."""
        self._newest: dict[str, int] = {}
        """Ordinal of the newest reading of each probe in here."""
        self._next = 0

    def __len__(self) -> int:
        return len(self._queue) + len(self._spared)

    def put(self, reading: Reading) -> None:
        """Take in a reading, giving up an older one when there is no room."""
        ordinal = self._next
        self._next += 1
        if reading.receipt is not None:
            self.held += 1
        else:
            self._make_room(reading.key)
        self._newest[reading.key] = ordinal
        self._queue.append((ordinal, reading))

    def get(self) -> Reading | None:
        """Take out the oldest reading; None when there is none."""
        if self._spared:
            ordinal = next(iter(self._spared))
            reading = self._spared.pop(ordinal)
            if self._replaceable.get(reading.key) == ordinal:
                del self._replaceable[reading.key]
        elif self._queue:
            ordinal, reading = self._queue.popleft()
        else:
            return None
        if self._newest.get(reading.key) == ordinal:
            del self._newest[reading.key]
        if reading.receipt is not None:
            self.held -= 1
        return reading

    def _make_room(self, coming: str) -> None:
        """See that one more reading without a receipt fits."""
        if len(self) - self.held < self.capacity:
            return
        self.dropped += 1
        replaced = self._replaceable.pop(coming, None)
        if replaced is not None:
            del self._spared[replaced]
            return
        while self._queue:
            ordinal, reading = self._queue.popleft()
            newest = self._newest[reading.key] == ordinal and reading.key != coming
            if reading.receipt is None and not newest:
                return
            self._spared[ordinal] = reading
            if reading.receipt is None:
                self._replaceable[reading.key] = ordinal
        key, ordinal = next(iter(self._replaceable.items()))
        del self._replaceable[key], self._spared[ordinal]
        if self._newest.get(key) == ordinal:
            del self._newest[key]
