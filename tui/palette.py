"""Our commands in Textual's command palette, each with its key."""

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, cast

from textual.command import DiscoveryHit, Hit, Hits, Provider
from textual.content import Content

from tui.actions import Action

if TYPE_CHECKING:
    from tui.app import Dashboard

__all__ = ["DashboardCommands"]


class DashboardCommands(Provider):
    """Offers every action of the table."""

    @property
    def _dashboard(self) -> "Dashboard":
        return cast("Dashboard", self.app)

    def _command(self, action: Action) -> Callable[[], None]:
        return partial(self._dashboard.run_by_id, action.id, self._pit)

    async def startup(self) -> None:
        """Remember which pit is shown while a command is looked for."""
        self._pit = self._dashboard.shown_index

    def _offered(self) -> list[tuple[Action, str]]:
        offered = (a for a in self._dashboard.offered() if a.id != "commands")
        return [(a, f"{a.label}  ({self._dashboard.key_of(a.id, a.key)})") for a in offered]

    async def discover(self) -> Hits:
        """Offer all before anything is typed."""
        for action, text in self._offered():
            yield DiscoveryHit(text, self._command(action), help=action.help)

    async def search(self, query: str) -> Hits:
        """Offer what matches by its label, or what it does."""
        matcher = self.matcher(query)
        for action, text in self._offered():
            score = max(matcher.match(text), matcher.match(action.help) * 0.9)
            if score > 0:
                yield Hit(score, Content(text), self._command(action), text=text, help=action.help)
