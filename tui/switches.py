"""What the cook changes about the view: unit, theme, pause, bell, help; nothing of it leaves the dashboard."""

from typing import TYPE_CHECKING, cast

from msgspec.structs import replace
from textual.binding import Binding

from tui.actions import ACTIONS, Action, of_pits
from tui.screens.bed import BedScreen
from tui.screens.help import HelpScreen
from tui.themes import THEMES

if TYPE_CHECKING:
    from tui.app import Dashboard

__all__ = ["Switches"]


class Switches:
    """The part of the app that changes how things are shown."""

    @property
    def _dashboard(self) -> "Dashboard":
        return cast("Dashboard", self)

    def key_of(self, id_: str, otherwise: str) -> str:
        """Give the key an action is bound to now, as it is written on a keyboard."""
        return self._dashboard.get_key_display(Binding(self._dashboard.keys.get(id_, otherwise).split(",")[0], ""))

    def run_by_id(self, id_: str | None, pit: int | None = None) -> None:
        """Run an action of the table on the board.

        Args:
            id_: of the action; None does nothing.
            pit: index of the one it is meant for: that which was shown when the action was looked for.
        """
        dashboard = self._dashboard
        if id_ is not None and pit is not None:
            dashboard.action_show_pit(pit)
        action = next((a.action for a in ACTIONS if a.id == id_), None)
        if action is not None:
            dashboard.call_later(dashboard.run_action, action, dashboard.board)

    def action_help(self) -> None:
        """List the keys; run what is chosen."""
        dashboard = self._dashboard
        keys = {a.id: self.key_of(a.id, a.key) for a in self.offered()}
        pit = dashboard.shown_index
        dashboard.push_screen(HelpScreen(keys), lambda id_: self.run_by_id(id_, pit))

    def offered(self) -> list[Action]:
        """List the actions that are of use with so many pits."""
        places = {"replay"} if not self._dashboard.replays else set[str]()
        return [a for a in ACTIONS if len(self._dashboard.pits) >= of_pits(a) and a.place not in places]

    def action_bed(self) -> None:
        """Show a few large numbers."""
        dashboard = self._dashboard
        dashboard.show_first_in_trouble()
        dashboard.push_screen(BedScreen())
        dashboard.call_after_refresh(self._after_screen)

    def _after_screen(self) -> None:
        dashboard = self._dashboard
        dashboard.show_newest()
        dashboard.look_again()

    def action_unit(self) -> None:
        """Change the unit."""
        dashboard = self._dashboard
        dashboard.view = replace(dashboard.view, fahrenheit=not dashboard.view.fahrenheit)
        dashboard.show_newest()

    def action_pause(self) -> None:
        """Hold the picture still, or let it go on."""
        dashboard = self._dashboard
        pit = dashboard.shown
        pit.paused = pit.newest if pit.paused is None else None
        dashboard.look_again()
        dashboard.show_newest()

    def action_toggle_bell(self) -> None:
        """Ring at alarms, or not."""
        dashboard = self._dashboard
        dashboard.alarm_bell.on = not dashboard.alarm_bell.on
        dashboard.notify(f"bell {'on' if dashboard.alarm_bell.on else 'off'}")

    def action_next_theme(self) -> None:
        """Take the next theme."""
        dashboard = self._dashboard
        names = [theme.name for theme in THEMES]
        dashboard.theme = names[(names.index(dashboard.theme) + 1) % len(names)]
        dashboard.call_after_refresh(dashboard.show_newest)
