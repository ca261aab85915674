"""The dashboard: takes what the feeds say, hands it to the screens, sends what the cook does."""

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, ClassVar

from msgspec.structs import replace
from textual.app import App
from textual.binding import Binding
from textual.notifications import SeverityLevel
from textual.screen import Screen
from textual.worker import Worker, WorkerState

from collector import wire
from collector.snapshot import AlarmState, Snapshot
from tui.actions import ACTIONS
from tui.alarm_bell import AlarmBell
from tui.client import Feed
from tui.commander import Commander
from tui.draw.alarms import pressing
from tui.draw.banner import trouble
from tui.draw.colour_scale import ColourDepth
from tui.draw.line import fit
from tui.draw.pits import PitGlance
from tui.draw.trend_log import TrendLog
from tui.draw.view import View
from tui.errors import ClientError
from tui.messages import HistoryArrived, NewsArrived, TrendArrived
from tui.palette import DashboardCommands
from tui.pit import Pit, pits_of
from tui.pit_switch import PitSwitch
from tui.screens.bed import BedScreen
from tui.screens.board import BoardScreen
from tui.switches import Switches
from tui.terminal import colour_depth, refuse_unfit, speaks_utf8
from tui.themes import THEMES, theme_named

__all__ = ["Dashboard", "run_app", "run_dashboard"]

TICK_SECONDS = 0.5
ARROWS = {"→": "right", "←": "left", "↑": "up", "↓": "down"}
"""Keys that the terminal library writes as a sign."""


class Dashboard(Commander, Switches, PitSwitch, App[None]):
    """The whole dashboard.

    Args:
        pits: all of them, or the feed of the only one; see `tui.client.Feed`.
        fahrenheit: show °F.
        theme: `dark`, `light` or `high-contrast`.
        ascii_only: ASCII characters only.
        keys: other keys by action id, see `tui.actions`.
        bell: ring the terminal bell at an alarm.
        depth: how many colours; None finds out.
    """

    CSS_PATH = Path(__file__).with_name("dashboard.tcss")
    TITLE = "coldside"
    NOTIFICATION_TIMEOUT = 3.0
    COMMANDS: ClassVar = {DashboardCommands}
    replays = False
    """Whether a past cook is shown, and not a pit."""
    BINDINGS: ClassVar = [Binding("ctrl+c", "quit", "quit", show=False)]

    def __init__(
        self,
        pits: Feed | Sequence[Pit],
        *,
        fahrenheit: bool = False,
        theme: str = "dark",
        ascii_only: bool = False,
        keys: dict[str, str] | None = None,
        bell: bool = False,
        depth: ColourDepth | None = None,
    ) -> None:
        self._board: BoardScreen | None = None
        self._laid_out = False
        super().__init__(pits_of(pits))
        self.view = View(fahrenheit=fahrenheit, ascii_only=ascii_only)
        self.alarm_bell = AlarmBell(on=bell)
        for known in THEMES:
            self.register_theme(known)
        self.theme = theme_named(theme)  # before anything is styled: all would be styled anew
        self.stylesheet.set_variables(self.get_css_variables())
        self.keys = dict(keys or {})
        self._depth = depth or colour_depth(self.no_color)

    @property
    def newest(self) -> Snapshot | None:
        """The newest snapshot of the pit shown."""
        return self.shown.newest

    @property
    def trend_log(self) -> TrendLog:
        """The trend of the pit shown."""
        return self.shown.trend_log

    def get_default_screen(self) -> Screen[None]:
        """Start on the board."""
        self._board = BoardScreen(self._depth, self.size)
        return self._board

    @property
    def board(self) -> BoardScreen:
        """The board, whichever screen is on top."""
        assert self._board is not None
        return self._board

    def refresh_css(self, animate: bool = True) -> None:
        """Style all anew; before there is anything, that would only read the style sheets twice."""
        if self._board is not None:
            super().refresh_css(animate)

    def on_mount(self) -> None:
        """Take our keys."""
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

    def get_key_display(self, binding: Binding) -> str:
        """Write a key as it is on a keyboard, in the characters that may be shown."""
        told = super().get_key_display(binding)
        if self.view.ascii_only:
            for sign, word in ARROWS.items():
                told = told.replace(sign, word)
        return told

    def on_load(self) -> None:
        """Listen, so that there is something to show once there is a board to show it on."""
        for pit in self.pits:
            self.run_worker(self._listen(pit), name=f"feed {pit.name}", group="feed", exit_on_error=False)

    def on_ready(self) -> None:
        """Look, and show what has come already, now that there is a board and its panels have their places."""
        self._laid_out = True
        self.set_interval(TICK_SECONDS, self.look_again)
        self.look_again()
        self.show_newest()

    async def _listen(self, pit: Pit) -> None:
        """Take what one collector says; why its feed will never come is shown, and the others go on."""
        try:
            async for message in pit.client:
                if isinstance(message, wire.News):
                    self.post_message(NewsArrived(pit, message.snapshot))
                elif isinstance(message, wire.History):
                    self.post_message(HistoryArrived(pit, message.stretches))
                elif isinstance(message, wire.Trend):
                    self.post_message(TrendArrived(pit, message.points))
        except ClientError as error:
            pit.refused = str(error)
            self.look_again()

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """End with any failure of a feed that nobody foresaw: it is a fault of ours."""
        if event.worker.group == "feed" and event.state is WorkerState.ERROR:
            raise event.worker.error or RuntimeError("the feed failed")

    def on_history_arrived(self, message: HistoryArrived) -> None:
        """Take the trend so far."""
        message.pit.trend_log.replace(message.stretches)

    def on_trend_arrived(self, message: TrendArrived) -> None:
        """Take the new rows of the trend."""
        for point in message.points:
            message.pit.trend_log.add(point)

    def on_news_arrived(self, message: NewsArrived) -> None:
        """Take a newer snapshot; only the pit shown is drawn anew."""
        message.pit.take(message.snapshot)
        self.look_again()
        if message.pit is self.shown:
            self.show_newest()

    def look_again(self) -> None:
        """Look whether what is shown is still true, and how the other pits stand."""
        if not self._laid_out or not self.is_running:  # a timer may fire while the screens are being taken down
            return
        glances = tuple(PitGlance(p.name, p.newest, trouble(p.standing(), self.view)) for p in self.pits)
        self.follow_trouble(glances)
        found = glances[self.shown_index].trouble
        old = found is not None and found.old
        if old != self.view.old:
            self.view = replace(self.view, old=old)
            self.show_newest()
        self.board.show_trouble(found, self.view)
        self.board.show_pits(glances, self.shown_index, self.view)
        if isinstance(self.screen, BedScreen):
            self.screen.show_trouble(found)
            self.screen.show_pits(glances, self.shown_index, self.view)
        self._ring(glances)

    def show_newest(self) -> None:
        """Hand the newest snapshot down; while paused only the alarm line moves."""
        picture = self.shown.picture
        if picture is None or self.newest is None or not self._laid_out or not self.is_running:
            return
        self.board.show(picture, self.trend_log, self.view)
        if isinstance(self.screen, BedScreen):
            self.screen.show(self.newest, self.view)

    def _ring(self, glances: Sequence[PitGlance]) -> None:
        """Ring for what calls a person, at any pit."""
        causes: set[str] = set()
        for i, pit in enumerate(glances):
            calling = pressing(pit.snapshot) if pit.snapshot else []
            causes |= {f"{i} {a.key}" for a in calling if a.state is AlarmState.UNACKNOWLEDGED}
            if pit.trouble is not None and pit.trouble.role == "alarm":
                causes.add(f"{i} {pit.trouble.headline.split()[0]}")
        if self.alarm_bell.due(causes, time.monotonic()):
            self.bell()


async def run_dashboard(pits: Feed | Sequence[Pit], **look: Any) -> None:
    """Show the dashboard until it is closed; `look` is as `run_app` takes it.

    Raises:
        TerminalUnfit: this terminal cannot show it.
    """
    await run_app(lambda **how: Dashboard(pits, **how), **look)


async def run_app(
    make: Callable[..., Dashboard],
    *,
    fahrenheit: bool = False,
    theme: str = "dark",
    ascii_only: bool = False,
    keys: dict[str, str] | None = None,
    mouse: bool = True,
    bell: bool = False,
) -> None:
    """Make a dashboard for this terminal and show it until it is closed.

    Raises:
        TerminalUnfit: this terminal cannot show it.
    """
    refuse_unfit()
    app = make(fahrenheit=fahrenheit, theme=theme, ascii_only=ascii_only or not speaks_utf8(), keys=keys, bell=bell)
    await app.run_async(mouse=mouse)
