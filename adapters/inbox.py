"""A bounded queue of readings that keeps what matters when it is full.

When it is full it gives up the oldest reading that is not the newest of its probe, and counts it. A reading that
carries a receipt is never given up: its sender waits for an acknowledgement, so the sender is held back instead
(`Inbox.held` tells how many are in here).
"""

from collections import deque

from adapters.reading import Reading

__all__ = ["Inbox"]


class Inbox:
    """First in, first out, at most `capacity` readings beside those that carry a receipt.

    `put` and `get` are O(1) amortised: a reading that is spared once moves aside and is not looked at again.
    """

    def __init__(self, capacity: int = 4096) -> None:
        if capacity < 1:
            raise ValueError("an inbox needs room for at least one reading")
        self.capacity = capacity
        self.dropped = 0
        self.held = 0
        self._queue: deque[tuple[int, Reading]] = deque()
        self._spared: dict[int, Reading] = {}
        """Readings moved aside because they were the newest of their probe, or held; all older than the queue."""
        self._newest: dict[str, int] = {}
        """Ordinal of the newest reading of each key that is still in here."""
        self._next = 0

    def __len__(self) -> int:
        return len(self._queue) + len(self._spared)

    def put(self, reading: Reading) -> int:
        """Take in a reading; return how many were given up for it (0 or more)."""
        ordinal = self._next
        self._next += 1
        before = self.dropped
        previous = self._newest.get(reading.key)
        self._newest[reading.key] = ordinal
        if previous is not None:
            spared = self._spared.get(previous)
            if spared is not None and spared.receipt is None and len(self) - self.held >= self.capacity:
                del self._spared[previous]
                self.dropped += 1
        if reading.receipt is not None:
            self.held += 1
        else:
            while len(self) - self.held >= self.capacity and self._give_up_one():
                pass
        self._queue.append((ordinal, reading))
        return self.dropped - before

    def get(self) -> Reading | None:
        """Take out the oldest reading, or None when there is none."""
        if self._spared:
            ordinal = next(iter(self._spared))
            reading = self._spared.pop(ordinal)
        elif self._queue:
            ordinal, reading = self._queue.popleft()
        else:
            return None
        if self._newest.get(reading.key) == ordinal:
            del self._newest[reading.key]
        if reading.receipt is not None:
            self.held -= 1
        return reading

    def _give_up_one(self) -> bool:
        """Give up the oldest reading that may go; return whether there is still something to give up."""
        while self._queue:
            ordinal, reading = self._queue.popleft()
            if reading.receipt is None and self._newest.get(reading.key) != ordinal:
                self.dropped += 1
                return True
            self._spared[ordinal] = reading
        for ordinal, reading in self._spared.items():
            if reading.receipt is None and self._newest.get(reading.key) != ordinal:
                break
        else:
            for ordinal, reading in self._spared.items():
                if reading.receipt is None:
                    break
            else:
                return False
        reading = self._spared.pop(ordinal)
        if self._newest.get(reading.key) == ordinal:
            del self._newest[reading.key]
        self.dropped += 1
        return True
