"""Which packets are measurements not heard before. Pure: times are passed in."""

from adapters.errors import DecodeError

__all__ = ["Freshness"]

REPEAT_SECONDS = 1.0
"""An unchanged payload counts as a measurement at most this often: devices repeat one several times a second."""
RESTART_SECONDS = 60.0
"""After a silence this long a counter that begins anew is taken for a device that was switched off and on. So whoever
can silence an encrypted device for that long can play its old packets back; refusing them for ever would lose every
device whose battery was changed."""


class Freshness:
    """The packets of one device, by counter where it has one, by payload where it has none."""

    __slots__ = ("_at", "_counter", "_payload", "repeated")

    def __init__(self) -> None:
        self.repeated = 0
        """Packets heard again that were no new measurement."""
        self._payload: bytes | None = None
        self._counter: int | None = None
        self._at = float("-inf")

    def seen(self, payload: bytes, at: float) -> bool:
        """Tell whether this very payload was taken a moment ago; asked before it is decoded."""
        if payload == self._payload and at - self._at < REPEAT_SECONDS:
            self.repeated += 1
            return True
        return False

    def is_new(self, payload: bytes, counter: int | None, at: float, *, must_rise: bool = False) -> bool:
        """Take note of a packet; tell whether it is a measurement not heard before.

        Args:
            payload: its bytes.
            counter: the sender's own count.
            at: when it was heard, seconds of any steady clock.
            must_rise: the packet is encrypted: a count that does not rise is an old packet sent again by somebody.

        Raises:
            DecodeError: the count of an encrypted packet went back.
        """
        if counter is not None and self._counter is not None:
            if counter == self._counter and not self._restarted(payload, at, must_rise=must_rise):
                self.repeated += 1
                return False
            if must_rise and counter < self._counter and at - self._at < RESTART_SECONDS:
                raise DecodeError(f"counter {counter} after {self._counter}: an old packet, sent again")
        self._payload, self._at = payload, at
        if counter is not None:  # a packet cut short does not make the next repetition a measurement
            self._counter = counter
        return True

    def _restarted(self, payload: bytes, at: float, *, must_rise: bool) -> bool:
        """Tell whether the same count may be another measurement: of a device that begins to count at every waking."""
        return not must_rise and payload != self._payload and at - self._at >= RESTART_SECONDS
