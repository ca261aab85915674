"""The dashboard: takes what the feed says, hands it to the screens, sends what the cook does."""

import time
from dataclasses import replace
from typing import ClassVar

from textual.app import App
from textual.binding import Binding
from textual.screen import Screen
from textual.worker import Worker, WorkerState

from collector import wire
from collector.snapshot import Snapshot
from tui.actions import ACTIONS
from tui.client import ClientState, Feed
from tui.commander import Commander
from tui.draw.alarms import pressing
from tui.draw.banner import Standing, Trouble, trouble
from tui.draw.colour_scale import ColourDepth
from tui.draw.trend_log import TrendLog
from tui.draw.view import View
from tui.errors import VersionRefused
from tui.messages import HistoryArrived, NewsArrived, TrendArrived
from tui.palette import DashboardCommands
from tui.screens.bed import BedScreen
from tui.screens.board import BoardScreen
from tui.screens.help import HelpScreen
from tui.terminal import colour_depth, refuse_unfit, speaks_utf8
from tui.themes import THEMES, theme_named

__all__ = ["Dashboard", "run_dashboard"]

TICK_SECONDS = 0.5
BELL_SECONDS = 30.0
"""How often the bell rings while an alarm is not acknowledged."""


class Dashboard(Commander, App[None]):
    """The whole dashboard.

    Args:
        client: the feed; see `tui.client.Feed`.
        fahrenheit: show °F.
        theme: `dark`, `light` or `high-contrast`.
        ascii_only: ASCII characters only.
        keys: other keys by action id, see `tui.actions`.
        bell: ring the terminal bell at an alarm.
        depth: how many colours; None finds out.
    """

    CSS_PATH = "dashboard.tcss"
    TITLE = "coldside"
    COMMANDS: ClassVar = {DashboardCommands}
    BINDINGS: ClassVar = [Binding("ctrl+c", "quit", "quit", show=False)]

    def __init__(
        self,
        client: Feed,
        *,
        fahrenheit: bool = False,
        theme: str = "dark",
        ascii_only: bool = False,
        keys: dict[str, str] | None = None,
        bell: bool = False,
        depth: ColourDepth | None = None,
    ) -> None:
        super().__init__()
        self.client = client
        self.view = View(fahrenheit=fahrenheit, ascii_only=ascii_only)
        self.newest: Snapshot | None = None
        self.trend_log = TrendLog()
        self.bell_on = bell
        self._theme_wanted = theme_named(theme)
        self._keys = dict(keys or {})
        self._depth = depth or colour_depth(self.no_color)
        self._came_unix = 0.0
        self._came_monotonic: float | None = None
        self._refused = ""
        self._paused_unix: float | None = None
        self._paused: Snapshot | None = None
        self._rung: tuple[frozenset[str], float] = (frozenset(), 0.0)

    def get_default_screen(self) -> Screen[None]:
        """Start on the board."""
        self._board = BoardScreen(self._depth)
        return self._board

    @property
    def board(self) -> BoardScreen:
        """The board, whichever screen is on top."""
        return self._board

    def on_mount(self) -> None:
        """Take our themes and keys."""
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = self._theme_wanted
        self.set_class(self.view.ascii_only, "-ascii")
        known = {a.id for a in ACTIONS}
        self.set_keymap({id_: key for id_, key in self._keys.items() if id_ in known})
        if strange := sorted(set(self._keys) - known):
            self.notify(f"no such action in the config's keys: {', '.join(strange)}", severity="warning")

    def on_ready(self) -> None:
        """Listen, now that there is a board to show it on."""
        self.run_worker(self._listen(), name="feed", exit_on_error=False)
        self.set_interval(TICK_SECONDS, self._tick)
        self._tick()

    async def _listen(self) -> None:
        async for message in self.client:
            if isinstance(message, wire.News):
                self.post_message(NewsArrived(message.snapshot))
            elif isinstance(message, wire.History):
                self.post_message(HistoryArrived(message.points))
            elif isinstance(message, wire.Trend):
                self.post_message(TrendArrived(message.point))

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """Show why the feed will never come; any other failure of it is a fault of ours and ends the app."""
        if event.worker.name == "feed" and event.state is WorkerState.ERROR:
            error = event.worker.error
            if not isinstance(error, VersionRefused):
                raise error or RuntimeError("the feed failed")
            self._refused = str(error)
            self._tick()

    def on_history_arrived(self, message: HistoryArrived) -> None:
        """Take the trend so far."""
        self.trend_log.replace(message.points)

    def on_trend_arrived(self, message: TrendArrived) -> None:
        """Take one more row of the trend."""
        self.trend_log.add(message.point)

    def on_news_arrived(self, message: NewsArrived) -> None:
        """Take a newer snapshot."""
        self.newest = message.snapshot
        self._came_unix, self._came_monotonic = time.time(), time.monotonic()
        self._tick()
        self.show_newest()

    def standing(self) -> Standing:
        """Say how we stand towards the collector now."""
        link, newest = self.client.link, self.newest
        came = self._came_monotonic
        return Standing(
            now_unix=time.time(),
            up=link.state is ClientState.UP,
            ever_up=link.state is not ClientState.CONNECTING,
            since_unix=link.since_unix,
            why=link.why,
            refused=self._refused,
            news_seconds=None if came is None else time.monotonic() - came,
            news_unix=self._came_unix,
            paused_unix=self._paused_unix,
            store=newest.store if newest else None,
            cook_now_unix=newest.now_unix if newest else 0.0,
        )

    def _tick(self) -> None:
        """Look whether what is shown is still true."""
        if not self.is_running:  # the timer may fire once more while the screens are being taken down
            return
        found = trouble(self.standing(), self.view)
        old = found is not None and found.old
        if old != self.view.old:
            self.view = replace(self.view, old=old)
            self.show_newest()
        self.board.show_trouble(found, self.view)
        if isinstance(self.screen, BedScreen):
            self.screen.show_trouble(found)
        self._ring(found)

    def show_newest(self) -> None:
        """Hand the newest snapshot down; while paused only the alarm line moves."""
        if self.newest is None or not self.is_running:
            return
        self.board.show_pressing(self.newest, self.view)
        self.board.show(self._paused or self.newest, self.trend_log, self.view)
        if isinstance(self.screen, BedScreen):
            self.screen.show(self.newest, self.view)

    def _ring(self, found: Trouble | None) -> None:
        """Ring at each new cause and every half minute while one stands."""
        if not self.bell_on:
            return
        causes = {a.key for a in pressing(self.newest) if a.state == "unacknowledged"} if self.newest else set()
        if found is not None and found.role == "alarm":
            causes.add(found.headline.split()[0])
        before, rung = self._rung
        if causes - before or (causes and time.monotonic() - rung > BELL_SECONDS):
            self.bell()
            rung = time.monotonic()
        self._rung = (frozenset(causes), rung)

    def key_of(self, id_: str, otherwise: str) -> str:
        """Give the key an action is bound to now, as it is written on a keyboard."""
        return self.get_key_display(Binding(self._keys.get(id_, otherwise).split(",")[0], ""))

    def run_by_id(self, id_: str | None) -> None:
        """Run an action of the table on the board."""
        action = next((a.action for a in ACTIONS if a.id == id_), None)
        if action is not None:
            self.call_later(self.run_action, action, self.board)

    def action_help(self) -> None:
        """List the keys; run what is chosen."""
        self.push_screen(HelpScreen({a.id: self.key_of(a.id, a.key) for a in ACTIONS}), self.run_by_id)

    def action_bed(self) -> None:
        """Show a few large numbers."""
        self.push_screen(BedScreen())
        self.call_after_refresh(self._after_screen)

    def _after_screen(self) -> None:
        self.show_newest()
        self._tick()

    def action_unit(self) -> None:
        """Change the unit."""
        self.view = replace(self.view, fahrenheit=not self.view.fahrenheit)
        self.show_newest()

    def action_pause(self) -> None:
        """Hold the picture still, or let it go on."""
        holding = self._paused is None and self.newest is not None
        self._paused = self.newest if holding else None
        self._paused_unix = time.time() if holding else None
        self._tick()
        self.show_newest()

    def action_toggle_bell(self) -> None:
        """Ring at alarms, or not."""
        self.bell_on = not self.bell_on
        self.notify(f"bell {'on' if self.bell_on else 'off'}")

    def action_next_theme(self) -> None:
        """Take the next theme."""
        names = [theme.name for theme in THEMES]
        self.theme = names[(names.index(self.theme) + 1) % len(names)]
        self.call_after_refresh(self.show_newest)


async def run_dashboard(
    client: Feed,
    *,
    fahrenheit: bool = False,
    theme: str = "dark",
    ascii_only: bool = False,
    keys: dict[str, str] | None = None,
    mouse: bool = True,
    bell: bool = False,
) -> None:
    """Show the dashboard until it is closed.

    Raises:
        TerminalUnfit: this terminal cannot show it.
    """
    refuse_unfit()
    app = Dashboard(
        client, fahrenheit=fahrenheit, theme=theme, ascii_only=ascii_only or not speaks_utf8(), keys=keys, bell=bell
    )
    await app.run_async(mouse=mouse)
