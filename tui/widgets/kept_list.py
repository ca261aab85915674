"""A list from which one thing can be chosen, and stays chosen while others come and go."""

from typing import ClassVar

from textual.content import Content
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from collector.snapshot import Snapshot
from tui.draw.view import View

__all__ = ["KeptList", "Row"]

Row = tuple[str, Content, bool]
"""Key, text, and whether it can be chosen."""


class KeptList(OptionList):
    """Shows what its subclass reads out of the newest snapshot."""

    empty: ClassVar[str]
    """What stands there when there is nothing."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002  Textual's own name
        super().__init__(id=id)
        self.given: tuple[Snapshot, View] | None = None
        self._keys: list[tuple[str, bool]] = []

    def rows(self, snapshot: Snapshot, view: View, width: int) -> list[Row]:
        """Write the rows for a width in cells; each key once."""
        raise NotImplementedError

    def show(self, snapshot: Snapshot, view: View) -> None:
        """Show what this snapshot tells."""
        self.given = (snapshot, view)
        self._write()

    def on_resize(self) -> None:
        """Write for the new width."""
        self._write()

    def on_focus(self) -> None:
        """Begin with the first that can be chosen."""
        if self.highlighted is None:
            self.highlighted = next((i for i, (_, choosable) in enumerate(self._keys) if choosable), None)

    @property
    def chosen_key(self) -> str | None:
        """Key of the one that is highlighted."""
        if self.highlighted is None or self.highlighted >= len(self._keys):
            return None
        return self._keys[self.highlighted][0]

    def _write(self) -> None:
        if self.given is None:
            return
        rows = self.rows(*self.given, max(10, self.scrollable_content_region.width - 2))
        keys = [(key, choosable) for key, _, choosable in rows]
        if keys == self._keys and keys:
            for index, (_, text, _) in enumerate(rows):
                self.replace_option_prompt_at_index(index, text)
            return
        chosen = self.chosen_key
        self._keys = keys
        self.clear_options()
        self.add_options(
            [Option(text, id=key, disabled=not choosable) for key, text, choosable in rows]
            or [Option(self.empty, disabled=True)]
        )
        self.highlighted = next((i for i, (key, _) in enumerate(keys) if key == chosen), None)
