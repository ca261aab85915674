"""The two lines over the board of a past cook: that it is one, and where in it we are; a click goes there."""

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.events import Click
from textual.message import Message
from textual.widgets import Static

from tui.draw.line import Line
from tui.draw.scrubber import moment_at
from tui.widgets.roles import content

__all__ = ["Scrubber"]


class Scrubber(Vertical):
    """Shows what it is given.

    Args:
        start_unix: when the cook began.
        end_unix: when it ended.
    """

    class Moved(Message):
        """A moment was clicked."""

        def __init__(self, unix: float) -> None:
            super().__init__()
            self.unix = unix

    def __init__(self, start_unix: float, end_unix: float) -> None:
        super().__init__()
        self._span = (start_unix, end_unix)

    def compose(self) -> ComposeResult:
        """Make both lines."""
        yield Static(id="replay")
        yield Static(id="track")

    def show(self, replay: Line, track: Line) -> None:
        """Show both lines."""
        if not self.query("#replay"):
            return
        self.query_one("#replay", Static).update("".join(text for text, _ in replay))
        self.query_one("#track", Static).update(content(track))

    def on_click(self, event: Click) -> None:
        """Go to the moment that is clicked."""
        self.post_message(self.Moved(moment_at(event.x, *self._span, self.size.width)))
