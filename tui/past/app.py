"""The dashboard of a past cook: the same board, a line to move along, and keys that change nothing."""

import time
from typing import ClassVar

from textual.binding import Binding
from textual.screen import ModalScreen

from tui.actions import ACTIONS, Action
from tui.app import Dashboard
from tui.commander import Commander
from tui.draw.banner import Standing, Trouble
from tui.draw.scrubber import day_and_clock, replay_line, track_line
from tui.past.feed import NOTHING_CHANGES, PastFeed
from tui.past.moment import MomentScreen
from tui.pit import Pit
from tui.screens.bed import BedScreen
from tui.widgets.scrubber import Scrubber

__all__ = ["PastDashboard", "PastPit"]

SPEEDS = (1.0, 10.0, 60.0, 240.0, 1200.0)
FRAME_SECONDS = 0.25
FOLLOW_SECONDS = 0.5
"""While it loads, the newest of it is shown so often: each picture takes time from the loading."""
MOVES = tuple(a for a in ACTIONS if a.place == "replay")


def _name(action: str) -> str:
    return action.removeprefix("app.").split("(")[0]


def _changes(action: str) -> bool:
    """Tell whether an action changes something at the pit, and not only what is shown of it."""
    return hasattr(Commander, f"action_{_name(action)}")


class PastPit(Pit):
    """A pit that was: its values are never stale, and never those of now."""

    def __init__(self, feed: PastFeed) -> None:
        super().__init__(feed)
        self._feed = feed

    def standing(self) -> Standing:
        """Say that all is well with the link, but for a record that cannot be read."""
        now = time.time()
        return Standing(
            now, up=True, ever_up=True, since_unix=now, news_seconds=0.0, refused=self._feed.fault, asked="THE RECORD"
        )


class PastDashboard(Dashboard):
    """Shows a past cook.

    Args:
        feed: the cook.
        begin_unix: the moment to begin with; None: where its record ends, once it is loaded.
        speed: how many times as fast as it was it runs.
        choices: as of `Dashboard`.
    """

    BINDINGS: ClassVar = [
        Binding(a.key, a.action.removeprefix("app."), a.label, show=a.footer, id=a.id, tooltip=a.help, priority=True)
        for a in MOVES
    ]
    replays = True

    def __init__(
        self, feed: PastFeed, *, begin_unix: float | None = None, speed: float = 60.0, **choices: object
    ) -> None:
        super().__init__([PastPit(feed)], **choices)  # type: ignore[arg-type]
        self.feed = feed
        feed.on_progress = self._more
        self._begin_unix = begin_unix
        self._moved = False
        self._plays = False
        self._pace = speed
        self._frame_at = time.monotonic()
        self._followed_at = 0.0

    def on_ready(self) -> None:
        """Load the cook, and show what there is of it; Textual calls the dashboard's own `on_ready` after this."""
        past = self.feed.past
        self.board.mount(Scrubber(past.start_unix, past.end_unix), before=0)
        self.run_worker(self.feed.load(), name="load", group="feed", exit_on_error=False)
        self.set_interval(FRAME_SECONDS, self._frame)
        self._draw()

    def on_unmount(self) -> None:
        """Let go of the record."""
        self.feed.close()

    def offered(self) -> list[Action]:
        """List the actions that are of use: none that changes the pit."""
        return [action for action in super().offered() if not _changes(action.action)]

    def hint_rank(self, action: str) -> int | None:
        """Say where an action belongs in the bottom line: moves come first, what changes the pit nowhere."""
        if _changes(action):
            return None
        return 0 if any(_name(action) == _name(move.action) for move in MOVES) else 1

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Leave the keys of the line to whoever writes, in a dialog say."""
        if isinstance(self.screen, ModalScreen) and any(a.action.startswith(f"app.{action}") for a in MOVES):
            return False
        return super().check_action(action, parameters)

    def _more(self) -> None:
        """More of the cook can be shown: while nobody has moved, show the newest of it, or what was asked for."""
        now, past = time.monotonic(), self.feed.past
        if not self._moved and (past.loaded or now - self._followed_at > FOLLOW_SECONDS):
            self._followed_at = now
            self.feed.go_to(past.loaded_unix if self._begin_unix is None else self._begin_unix)
        self._draw()

    def _go(self, unix: float) -> None:
        self._moved = True
        if unix > self.feed.past.loaded_unix and not self.feed.past.loaded:
            self.notify("that is still being loaded")
        self.feed.go_to(unix)
        self._draw()

    def _frame(self) -> None:
        """Let the cook run on."""
        now = time.monotonic()
        passed, self._frame_at = now - self._frame_at, now
        if self._plays:
            self.feed.go_to(self.feed.shown_unix + self._pace * passed)
            if self.feed.shown_unix >= self.feed.past.end_unix:
                self._plays = False
            self._draw()

    def _draw(self) -> None:
        if not self.is_running or not self.board.query(Scrubber):
            return
        past, at, width = self.feed.past, self.feed.shown_unix, self.size.width
        share = (past.loaded_unix - past.start_unix) / (past.end_unix - past.start_unix)
        runs = self._pace if self._plays else 0.0
        away = past.away(at) is not None
        at_begin = self._begin_unix is not None and past.loaded_unix >= self._begin_unix
        follows = not (self._moved or past.loaded or at_begin or self.feed.fault)
        replay = replay_line(
            past.cook.name, at, past.start_unix, runs, self.view, width, loaded=share, away=away, follows=follows
        )
        happened = [(h.time_unix, h.kind) for h in past.happenings]
        track = track_line(
            past.start_unix, past.end_unix, past.loaded_unix, at, happened, self.view, width, past.absences
        )
        self.board.query_one(Scrubber).show(replay, track)
        if isinstance(self.screen, BedScreen):
            told = (
                f"{past.cook.name}, {day_and_clock(at, self.view)}: {self.feed.fault or 'a past cook, not the pit now'}"
            )
            self.screen.show_trouble(Trouble("REPLAY", told, "warn", old=False))

    def look_again(self) -> None:
        """Keep saying, on every screen, that this is not the pit."""
        super().look_again()
        self._draw()

    def _ring(self, glances: object) -> None:
        """Never ring for what is over."""

    def on_resize(self) -> None:
        """Draw the line anew for another width."""
        self._draw()

    def on_scrubber_moved(self, message: Scrubber.Moved) -> None:
        """Go to the moment that was clicked."""
        self._go(message.unix)

    def action_play(self) -> None:
        """Let it run, from the start where it is at its end, or let it stand."""
        self._moved = True
        self._plays = not self._plays
        if self._plays and self.feed.shown_unix >= self.feed.past.end_unix - 1.0:
            self.feed.go_to(self.feed.past.start_unix)
        self._frame_at = time.monotonic()
        self._draw()

    def action_move(self, seconds: float) -> None:
        """Go so many seconds on, or back."""
        self._go(self.feed.shown_unix + seconds)

    def action_happening(self, step: int) -> None:
        """Go to the next alarm or mark, or the one before."""
        found = self.feed.past.next_happening(self.feed.shown_unix, step)
        if found is None:
            self.notify("nothing more happened" if step > 0 else "nothing happened before")
            return
        self._go(found.time_unix)
        self.notify(found.text, timeout=4.0)

    def action_edge(self, share: float) -> None:
        """Go to the start or to the end."""
        past = self.feed.past
        self._go(past.start_unix if not share else past.end_unix)

    def action_speed(self, step: int) -> None:
        """Run faster, or slower."""
        if step > 0:
            self._pace = min((s for s in SPEEDS if s > self._pace), default=self._pace)
        else:
            self._pace = max((s for s in SPEEDS if s < self._pace), default=self._pace)
        self.notify(f"{self._pace:g} times as fast as it was")
        self._draw()

    def action_moment(self) -> None:
        """Ask for a time and go there."""

        def go(unix: float | None) -> None:
            if unix is not None:
                self._go(unix)

        past = self.feed.past
        self.push_screen(MomentScreen(past.start_unix, past.end_unix, self.feed.shown_unix), go)

    action_pause = action_play

    def _refuse(self, *_: object, **__: object) -> None:
        """Say that nothing can be changed, before anything is asked for."""
        self.notify(NOTHING_CHANGES)

    action_mark = action_note = action_piece = action_spot = action_judge_event = _refuse
    action_acknowledge = action_acknowledge_all = action_shelve = action_unshelve = _refuse
    action_remove = action_restore = _refuse
