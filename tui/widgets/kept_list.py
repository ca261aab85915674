"""A list from which one thing can be chosen, and stays chosen while others come and go."""

from typing import ClassVar

from textual.widgets import OptionList
from textual.widgets.option_list import Option

from collector.snapshot import Snapshot
from tui.draw.line import Line, wrapped
from tui.draw.view import View
from tui.widgets.contained import contained
from tui.widgets.roles import contents

__all__ = ["KeptList", "Row"]

FAULT_ROW = " fault"
"""Key of the row that says that the list is not available."""
Row = tuple[str, list[Line], bool]
"""Key, text, and whether it can be chosen."""


class KeptList(OptionList):
    """Shows what its subclass reads out of the newest snapshot."""

    empty: ClassVar[str]
    """What stands there when there is nothing."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002  Textual's own name
        super().__init__(id=id)
        self.given: tuple[Snapshot, View] | None = None
        self._rows: list[Row] = []
        self._old = False

    def rows(self, snapshot: Snapshot, view: View, width: int) -> list[Row]:
        """Write the rows for a width in cells; each key once."""
        raise NotImplementedError

    def show(self, snapshot: Snapshot, view: View) -> None:
        """Show what this snapshot tells."""
        self.given = (snapshot, view)
        self._write()

    def forget(self) -> None:
        """Let nothing be chosen any more: what comes next is of another pit."""
        self.given, self._rows = None, []
        self.clear_options()

    def on_resize(self) -> None:
        """Write for the new width."""
        self._write()

    def on_focus(self) -> None:
        """Begin with the first that can be chosen."""
        if self.highlighted is None:
            self.highlighted = next((i for i, (*_, choosable) in enumerate(self._rows) if choosable), None)

    @property
    def chosen_key(self) -> str | None:
        """Key of the one that is highlighted."""
        if self.highlighted is None or self.highlighted >= len(self._rows):
            return None
        return self._rows[self.highlighted][0]

    def _write(self) -> None:
        if self.given is None:
            return
        snapshot, view = self.given
        width = max(10, self.scrollable_content_region.width - 2)
        rows = contained(
            lambda: self.rows(snapshot, view, width),
            lambda words: [(FAULT_ROW, wrapped(((words, "alarm"),), width, 2), False)],
        )
        chosen, before, was_old = self.chosen_key, self._rows, self._old
        self._rows, self._old = rows, view.old
        if self.option_count and [row[0] for row in rows] == [row[0] for row in before]:
            for index, (row, last) in enumerate(zip(rows, before, strict=True)):
                if row != last or view.old != was_old:  # the same words again would be laid out and drawn again
                    self.replace_option_prompt_at_index(index, contents(row[1], old=view.old))
            return
        self.clear_options()
        self.add_options(
            [Option(contents(text, old=view.old), id=key, disabled=not choosable) for key, text, choosable in rows]
            or [Option(self.empty, disabled=True)]
        )
        self.highlighted = next((i for i, (key, *_) in enumerate(rows) if key == chosen), None)
