"""The alarms as a list from which one can be chosen."""

from typing import ClassVar

from collector.snapshot import AlarmView, Snapshot
from tui.draw.alarms import alarm_lines, pressing
from tui.draw.view import View
from tui.widgets.kept_list import KeptList, Row

__all__ = ["AlarmList"]


class AlarmList(KeptList):
    """Shows every alarm that is not normal."""

    empty: ClassVar = "no alarm"

    def rows(self, snapshot: Snapshot, view: View, width: int) -> list[Row]:
        """Write one row an alarm."""
        return [(a.key, alarm_lines(a, snapshot.now_unix, view, width), True) for a in snapshot.alarms]

    @property
    def chosen(self) -> AlarmView | None:
        """The alarm that is highlighted, else the most pressing one; None when there is none."""
        if self.given is None:
            return None
        snapshot, _ = self.given
        key = self.chosen_key
        if key is not None:
            return next((a for a in snapshot.alarms if a.key == key), None)
        wanting = pressing(snapshot) or list(snapshot.alarms)
        return wanting[0] if wanting else None
