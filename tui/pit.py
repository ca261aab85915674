"""One pit as the dashboard knows it: its collector, its newest snapshot and its trend, whether it is shown or not."""

import math
import time
from collections.abc import Sequence

from collector import wire
from collector.snapshot import Snapshot
from tui.client import ClientState, Feed
from tui.draw.banner import Standing
from tui.draw.trend_log import TrendLog

__all__ = ["Pit", "pits_of"]


class Pit:
    """What came from one collector.

    Args:
        client: its feed; see `tui.client.Feed`.
        name: what the cook calls it; empty where it is the only one.
    """

    def __init__(self, client: Feed, name: str = "") -> None:
        self.client = client
        self.name = name
        self.newest: Snapshot | None = None
        self.paused: Snapshot | None = None
        """The picture that is held; None while it goes on."""
        self.trend_log = TrendLog()
        self.not_taken: dict[type[wire.Request], list[tuple[str, ...]]] = {}
        """What somebody typed and the collector did not take, by the command it was for, oldest first."""
        self.refused = ""
        """Why this collector will never do; empty otherwise."""
        self._came_unix = 0.0
        self._came_monotonic: float | None = None

    def take(self, snapshot: Snapshot) -> None:
        """Take a newer snapshot."""
        self.newest = snapshot
        self._came_unix, self._came_monotonic = time.time(), time.monotonic()

    def typed_before(self, kind: type[wire.Request], otherwise: tuple[str, ...]) -> tuple[str, ...]:
        """Give back, once, the oldest that was typed for a command and not taken."""
        waiting = self.not_taken.get(kind)
        return waiting.pop(0) if waiting else otherwise

    @property
    def picture(self) -> Snapshot | None:
        """What the board shows of it; None while nothing ever came."""
        return self.paused or self.newest

    def standing(self) -> Standing:
        """Say how we stand towards its collector now."""
        link, newest, came = self.client.link, self.newest, self._came_monotonic
        return Standing(
            now_unix=time.time(),
            up=link.state is ClientState.UP,
            ever_up=link.state is not ClientState.CONNECTING,
            since_unix=link.since_unix,
            why=link.why,
            refused=self.refused,
            news_seconds=None if came is None else time.monotonic() - came,
            news_unix=self._came_unix,
            paused_unix=self.paused.now_unix if self.paused else None,
            store=newest.store if newest else None,
            cook_now_unix=newest.now_unix if newest else 0.0,
            played=newest is not None and not math.isclose(newest.speed, 1.0),
        )


def pits_of(pits: "Feed | Sequence[Pit]") -> tuple[Pit, ...]:
    """Make pits of what may be the feed of the only one."""
    if isinstance(pits, Sequence):
        return tuple(pits)
    return (Pit(pits),)
