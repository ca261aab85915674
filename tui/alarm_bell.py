"""When the terminal bell rings: at each new cause, and again while one stands. Pure: the caller brings the time."""

__all__ = ["AGAIN_SECONDS", "AlarmBell"]

AGAIN_SECONDS = 30.0


class AlarmBell:
    """Remembers what it has rung for."""

    def __init__(self, *, on: bool) -> None:
        self.on = on
        self._before: set[str] = set()
        self._rung_seconds = 0.0

    def due(self, causes: set[str], now_seconds: float) -> bool:
        """Tell whether to ring now for these causes, by a monotonic clock."""
        new = bool(causes - self._before)
        self._before = set(causes)
        ring = self.on and (new or (bool(causes) and now_seconds - self._rung_seconds >= AGAIN_SECONDS))
        if ring:
            self._rung_seconds = now_seconds
        return ring
