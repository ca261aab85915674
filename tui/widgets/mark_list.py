"""The marks as a list, from which an event that the curves show can be chosen, confirmed and deleted."""

from typing import ClassVar

from textual.binding import BindingType

from collector.snapshot import Mark, Snapshot
from tui.actions import bindings
from tui.draw.marks import listed, mark_line
from tui.draw.view import View
from tui.widgets.kept_list import KeptList, Row

__all__ = ["MarkList"]


class MarkList(KeptList):
    """Shows every mark, deleted ones greyed, the newest first; only events can be chosen."""

    BINDINGS: ClassVar[list[BindingType]] = [*bindings("marks")]
    empty: ClassVar = "nothing marked, nothing seen"

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002  Textual's own name
        super().__init__(id=id)
        self._shown: list[Mark] = []

    def rows(self, snapshot: Snapshot, view: View, width: int) -> list[Row]:
        """Write one row a mark."""
        self._shown = []  # nothing can be chosen where the list cannot be written
        marks = listed(snapshot)
        self._shown = marks
        return [
            (m.event or f"{len(marks) - i}", [mark_line(m, view, width)], bool(m.event)) for i, m in enumerate(marks)
        ]

    def action_cursor_up(self) -> None:
        """Go up; where nothing is chosen, to the newest event."""
        if self.highlighted is None:
            self.on_focus()
        else:
            super().action_cursor_up()

    @property
    def chosen(self) -> Mark | None:
        """The event that is highlighted; None when none is."""
        return next((m for m in self._shown if m.event and m.event == self.chosen_key), None)

    def forget(self) -> None:
        """Let nothing be chosen any more: what comes next is of another pit."""
        super().forget()
        self._shown = []
