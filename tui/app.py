"""The dashboard: takes what the feed says, hands it to the screens, sends what the cook does."""

import time
from dataclasses import replace
from typing import ClassVar

from textual.app import App
from textual.binding import Binding
from textual.notifications import SeverityLevel
from textual.screen import Screen
from textual.worker import Worker, WorkerState

from collector import wire
from collector.snapshot import AlarmState, Snapshot
from tui.actions import ACTIONS
from tui.alarm_bell import AlarmBell
from tui.client import ClientState, Feed
from tui.commander import Commander
from tui.draw.alarms import pressing
from tui.draw.banner import Standing, Trouble, trouble
from tui.draw.colour_scale import ColourDepth
from tui.draw.line import fit
from tui.draw.trend_log import TrendLog
from tui.draw.view import View
from tui.errors import VersionRefused
from tui.messages import HistoryArrived, NewsArrived, TrendArrived
from tui.palette import DashboardCommands
from tui.screens.bed import BedScreen
from tui.screens.board import BoardScreen
from tui.switches import Switches
from tui.terminal import colour_depth, refuse_unfit, speaks_utf8
from tui.themes import THEMES, theme_named

__all__ = ["Dashboard", "run_dashboard"]

TICK_SECONDS = 0.5


class Dashboard(Commander, Switches, App[None]):
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
    NOTIFICATION_TIMEOUT = 3.0
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
        self.alarm_bell = AlarmBell(on=bell)
        self._theme_wanted = theme_named(theme)
        self.keys = dict(keys or {})
        self._depth = depth or colour_depth(self.no_color)
        self._came_unix = 0.0
        self._came_monotonic: float | None = None
        self._refused = ""
        self.paused: Snapshot | None = None

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
        self.set_keymap({id_: key for id_, key in self.keys.items() if id_ in known})
        if strange := sorted(set(self.keys) - known):
            self.notify(f"no such action in the config's keys: {', '.join(strange)}", severity="warning", timeout=10.0)

    def notify(
        self,
        message: str,
        *,
        title: str = "",
        severity: SeverityLevel = "information",
        timeout: float | None = None,
        markup: bool = False,
    ) -> None:
        """Say one thing in one line at the foot of the screen; what was said before it goes."""
        said = " ".join(f"{title} {message}".split())
        line = fit(said, self.size.width - 2, ascii_only=self.view.ascii_only).rstrip()
        self.clear_notifications()
        super().notify(line, severity=severity, timeout=timeout, markup=markup)

    def on_ready(self) -> None:
        """Listen, now that there is a board to show it on."""
        self.run_worker(self._listen(), name="feed", exit_on_error=False)
        self.set_interval(TICK_SECONDS, self.look_again)
        self.look_again()

    async def _listen(self) -> None:
        async for message in self.client:
            if isinstance(message, wire.News):
                self.post_message(NewsArrived(message.snapshot))
            elif isinstance(message, wire.History):
                self.post_message(HistoryArrived(message.points))
            elif isinstance(message, wire.Trend):
                self.post_message(TrendArrived(message.points))

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """Show why the feed will never come; any other failure of it is a fault of ours and ends the app."""
        if event.worker.name == "feed" and event.state is WorkerState.ERROR:
            error = event.worker.error
            if not isinstance(error, VersionRefused):
                raise error or RuntimeError("the feed failed")
            self._refused = str(error)
            self.look_again()

    def on_history_arrived(self, message: HistoryArrived) -> None:
        """Take the trend so far."""
        self.trend_log.replace(message.points)

    def on_trend_arrived(self, message: TrendArrived) -> None:
        """Take the new rows of the trend."""
        for point in message.points:
            self.trend_log.add(point)

    def on_news_arrived(self, message: NewsArrived) -> None:
        """Take a newer snapshot."""
        self.newest = message.snapshot
        self._came_unix, self._came_monotonic = time.time(), time.monotonic()
        self.look_again()
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
            paused_unix=self.paused.now_unix if self.paused else None,
            store=newest.store if newest else None,
            cook_now_unix=newest.now_unix if newest else 0.0,
        )

    def look_again(self) -> None:
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
        self.board.show(self.paused or self.newest, self.trend_log, self.view)
        if isinstance(self.screen, BedScreen):
            self.screen.show(self.newest, self.view)

    def _ring(self, found: Trouble | None) -> None:
        """Ring for what calls a person."""
        causes = (
            {a.key for a in pressing(self.newest) if a.state is AlarmState.UNACKNOWLEDGED} if self.newest else set()
        )
        if found is not None and found.role == "alarm":
            causes.add(found.headline.split()[0])
        if self.alarm_bell.due(causes, time.monotonic()):
            self.bell()


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
