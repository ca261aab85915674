"""A panel of lines that a pure function writes for the width there is."""

from collections.abc import Callable

from textual.widgets import Static

from collector.snapshot import Snapshot
from tui.draw.line import Line, wrapped
from tui.draw.view import View
from tui.widgets.contained import contained
from tui.widgets.roles import contents

__all__ = ["TextPanel"]

Writer = Callable[[Snapshot, View, int], list[Line]]


class TextPanel(Static):
    """Shows what a function of `tui.draw` writes."""

    def __init__(self, writer: Writer, *, id: str | None = None) -> None:  # noqa: A002  Textual's own name
        super().__init__(id=id)
        self._writer = writer
        self._given: tuple[Snapshot, View] | None = None
        self._written: tuple[list[Line], bool] | None = None

    def show(self, snapshot: Snapshot, view: View) -> None:
        """Show this snapshot."""
        self._given = (snapshot, view)
        self._write()

    def on_resize(self) -> None:
        """Write for the new width, and take as many rows as that has: the library drops a layout asked for just now."""
        self._write()
        self.call_after_refresh(self._write)

    def _write(self) -> None:
        if self._given is None or not self.size.width:
            return
        snapshot, view = self._given
        width = self.size.width
        lines = contained(
            lambda: self._writer(snapshot, view, width), lambda words: wrapped(((words, "alarm"),), width, 2)
        )
        if (lines, view.old) != self._written:  # the same words again would be drawn again
            self._written = lines, view.old
            self.update(contents(lines, old=view.old), layout=False)
        if len(lines) != self.size.height:  # a line each: more or fewer of them have to be laid out, the same ones not
            self.refresh(layout=True)
