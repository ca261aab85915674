"""A time of the cook to go to."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from tui.commands.moment import moment_of

__all__ = ["MomentScreen"]


class MomentScreen(ModalScreen[float | None]):
    """Gives back the moment that was written, Unix seconds, or None.

    Args:
        start_unix: when the cook began.
        end_unix: when it ended.
    """

    BINDINGS: ClassVar = [("escape", "dismiss(None)", "close")]

    def __init__(self, start_unix: float, end_unix: float) -> None:
        super().__init__()
        self._span = (start_unix, end_unix)

    def compose(self) -> ComposeResult:
        """Make the field."""
        with Vertical(id="sheet"):
            yield Static("go to a time of this cook", classes="hint", markup=False)
            yield Input(placeholder="02:15, Enter goes there, Esc stays", max_length=40)
            yield Static("", id="wrong", classes="hint", markup=False)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Give it back, or say what is wrong with it."""
        try:
            self.dismiss(moment_of(event.value, *self._span))
        except ValueError as error:
            self.query_one("#wrong", Static).update(str(error))
