"""The strip of all pits; a click goes to the one that is clicked."""

from collections.abc import Sequence

from textual.events import Click
from textual.message import Message
from textual.widgets import Static

from tui.draw.line import Line
from tui.draw.pits import PitGlance, Strip, strip
from tui.draw.view import View
from tui.widgets.roles import content

__all__ = ["PitStrip"]


class PitStrip(Static):
    """Hidden while there is one pit only."""

    class Chosen(Message):
        """A pit was clicked."""

        def __init__(self, index: int) -> None:
            super().__init__()
            self.index = index

    def __init__(self) -> None:
        super().__init__()
        self.display = False
        self._given: tuple[tuple[PitGlance, ...], int, View] | None = None
        self._strip: Strip | None = None
        self._written: Line | None = None

    def show(self, pits: Sequence[PitGlance], shown: int, view: View) -> None:
        """Show these pits."""
        self.display = len(pits) > 1
        self._given = (tuple(pits), shown, view)
        self._write()

    def on_resize(self) -> None:
        """Write for the new width."""
        self._write()

    def _write(self) -> None:
        if self._given is None or not self.display or not self.size.width:
            return
        self._strip = strip(*self._given, self.size.width)
        if self._strip.line != self._written:  # the same words again would be laid out and drawn again
            self._written = self._strip.line
            self.update(content(self._strip.line))

    def on_click(self, event: Click) -> None:
        """Go to the pit that is clicked."""
        index = self._strip.pit_at(event.x) if self._strip is not None else None
        if index is not None:
            self.post_message(self.Chosen(index))
