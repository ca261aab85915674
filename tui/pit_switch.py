"""Which pit is shown: by hand, and at the bed by itself where another gets into trouble."""

import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, cast

from tui.draw.banner import trouble
from tui.draw.pits import PitGlance, Rank, first_in_trouble, pit_rank
from tui.pit import Pit
from tui.screens.bed import BedScreen
from tui.widgets.pit_strip import PitStrip

if TYPE_CHECKING:
    from tui.app import Dashboard

__all__ = ["PitSwitch"]

TURNED_SECONDS = 2.0
"""After another pit came on the screen by itself, acknowledging waits so long: the key was meant for what was read."""


class PitSwitch:
    """The part of the app that knows all pits and which of them is on the screen."""

    def __init__(self, pits: tuple[Pit, ...]) -> None:
        super().__init__()
        self.pits = pits
        self.shown_index = 0
        self._ranks = [Rank.WELL] * len(pits)
        self._turned_monotonic: float | None = None

    @property
    def _board_of(self) -> "Dashboard":
        return cast("Dashboard", self)

    @property
    def shown(self) -> Pit:
        """The pit on the screen."""
        return self.pits[self.shown_index]

    def turned_by_itself(self) -> bool:
        """Tell whether the pit on the screen came there by itself, just now."""
        turned = self._turned_monotonic
        return turned is not None and time.monotonic() - turned < TURNED_SECONDS

    def action_next_pit(self, step: int) -> None:
        """Show the next pit, or the one before."""
        if len(self.pits) > 1:
            self.action_show_pit((self.shown_index + step) % len(self.pits))

    def action_show_pit(self, index: int) -> None:
        """Show the pit at a number from 0; one that is not there leaves all as it is."""
        if index < len(self.pits):
            self._turned_monotonic = None
            self._show(index)

    def on_pit_strip_chosen(self, event: PitStrip.Chosen) -> None:
        """Show the pit that was clicked."""
        self.action_show_pit(event.index)

    def show_first_in_trouble(self) -> None:
        """Show the pit that wants a person most."""
        view = self._board_of.view
        glances = [PitGlance(p.name, p.newest, trouble(p.standing(), view)) for p in self.pits]
        self._show(first_in_trouble(glances, self.shown_index))

    def follow_trouble(self, pits: Sequence[PitGlance]) -> None:
        """At the bed, show the pit that has just got into worse trouble than the one on the screen."""
        ranks = [pit_rank(pit) for pit in pits]
        risen = [i for i, (now, before) in enumerate(zip(ranks, self._ranks, strict=True)) if now > before]
        self._ranks = ranks
        if not isinstance(self._board_of.screen, BedScreen) or not risen:
            return
        worst = max(risen, key=lambda i: ranks[i])
        if ranks[worst] > max(ranks[self.shown_index], Rank.SEEN) and worst != self.shown_index:
            self._turned_monotonic = time.monotonic()
            self._show(worst)

    def _show(self, index: int) -> None:
        if index == self.shown_index:
            return
        app = self._board_of
        self.shown_index = index
        app.board.forget()
        app.clear_notifications()
        if isinstance(app.screen, BedScreen):
            app.screen.forget()
        app.show_newest()
        app.call_later(app.look_again)
