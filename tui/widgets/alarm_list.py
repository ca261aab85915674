"""The alarms as a list from which one can be chosen."""

from textual.widgets import OptionList
from textual.widgets.option_list import Option

from collector.snapshot import AlarmView, Snapshot
from tui.draw.alarms import alarm_lines, pressing
from tui.draw.view import View
from tui.widgets.roles import contents

__all__ = ["AlarmList"]


class AlarmList(OptionList):
    """Shows every alarm that is not normal; the chosen one stays chosen while others come and go."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002  Textual's own name
        super().__init__(id=id)
        self._given: tuple[Snapshot, View] | None = None
        self._keys: list[str] = []

    def show(self, snapshot: Snapshot, view: View) -> None:
        """Show the alarms of this snapshot."""
        self._given = (snapshot, view)
        self._write()

    def on_resize(self) -> None:
        """Write for the new width."""
        self._write()

    def on_focus(self) -> None:
        """Begin with the first."""
        if self.highlighted is None and self._keys:
            self.highlighted = 0

    @property
    def chosen(self) -> AlarmView | None:
        """The alarm that is highlighted, else the most pressing one; None when there is none."""
        if self._given is None:
            return None
        snapshot, _ = self._given
        if self.highlighted is not None and self.highlighted < len(self._keys):
            key = self._keys[self.highlighted]
            return next((a for a in snapshot.alarms if a.key == key), None)
        wanting = pressing(snapshot) or list(snapshot.alarms)
        return wanting[0] if wanting else None

    def _write(self) -> None:
        if self._given is None:
            return
        snapshot, view = self._given
        width = max(10, self.scrollable_content_region.width - 2)
        keys = [alarm.key for alarm in snapshot.alarms]
        written = [contents(alarm_lines(a, snapshot.now_unix, view, width), old=view.old) for a in snapshot.alarms]
        if keys == self._keys and keys:
            for index, prompt in enumerate(written):
                self.replace_option_prompt_at_index(index, prompt)
            return
        chosen = self._keys[self.highlighted] if self.highlighted is not None and self._keys else None
        self._keys = keys
        self.clear_options()
        self.add_options(
            [Option(prompt, id=key) for key, prompt in zip(keys, written, strict=True)]
            or [Option("no alarm", disabled=True)]
        )
        self.highlighted = keys.index(chosen) if chosen in keys else None
