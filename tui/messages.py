"""What the feed tells the app, as Textual messages."""

from typing import Any

from textual.message import Message

from collector.snapshot import Snapshot, TrendPoint, TrendStretch
from tui.pit import Pit

__all__ = ["HistoryArrived", "NewsArrived", "TrendArrived"]


class NewsArrived(Message):
    """A newer snapshot of a pit; one that waits is replaced by the next."""

    def __init__(self, pit: Pit, snapshot: Snapshot) -> None:
        super().__init__()
        self.pit = pit
        self.snapshot = snapshot

    def can_replace(self, message: Any) -> bool:
        """Let the newest of a pit stand for those before it."""
        return isinstance(message, NewsArrived) and message.pit is self.pit


class HistoryArrived(Message):
    """The trend so far, after each new link."""

    def __init__(self, pit: Pit, stretches: tuple[TrendStretch, ...]) -> None:
        super().__init__()
        self.pit = pit
        self.stretches = stretches


class TrendArrived(Message):
    """New rows of the trend."""

    def __init__(self, pit: Pit, points: tuple[TrendPoint, ...]) -> None:
        super().__init__()
        self.pit = pit
        self.points = points
