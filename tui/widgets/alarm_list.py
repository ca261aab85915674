"""The alarms as a list from which one can be chosen."""

from typing import ClassVar

from textual.binding import BindingType

from collector.snapshot import Snapshot
from tui.actions import bindings
from tui.draw.alarms import AlarmRow, alarm_rows, calls_lines
from tui.draw.view import View
from tui.widgets.kept_list import KeptList, Row

__all__ = ["AlarmList"]


CALLS = " calls"
"""Key of what is said of all calls: no alarm has it."""


class AlarmList(KeptList):
    """Shows every trouble with its alarms, then what is shelved or out of service."""

    BINDINGS: ClassVar[list[BindingType]] = [*bindings("alarms")]
    empty: ClassVar = "no alarm"

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002  Textual's own name
        super().__init__(id=id)
        self._shown: list[AlarmRow] = []

    def rows(self, snapshot: Snapshot, view: View, width: int) -> list[Row]:
        """Write one row a trouble and, where there is room, one for each of its alarms."""
        self._shown = alarm_rows(snapshot, view, width, self.scrollable_content_region.height)
        rows: list[Row] = [(row.key, row.lines, True) for row in self._shown]
        if standing := calls_lines(snapshot, view, width):
            rows.append((CALLS, standing, False))
        return rows

    def forget(self) -> None:
        """Let nothing be chosen any more: what comes next is of another pit."""
        super().forget()
        self._shown = []

    @property
    def chosen(self) -> AlarmRow | None:
        """The row that is highlighted, else the most pressing one; None when there is none."""
        key = self.chosen_key
        if key is not None:
            return next((row for row in self._shown if row.key == key), None)
        return self._shown[0] if self._shown else None
