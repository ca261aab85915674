"""One line of text to keep as a mark."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

__all__ = ["NoteScreen"]


class NoteScreen(ModalScreen[str | None]):
    """Gives back what was written, or None.

    Args:
        pit: where it will be kept; empty where there is one pit only.
        text: what stands there already.
    """

    BINDINGS: ClassVar = [("escape", "dismiss(None)", "close")]

    def __init__(self, pit: str = "", text: str = "") -> None:
        super().__init__()
        self._pit = pit
        self._text = text

    def compose(self) -> ComposeResult:
        """Make the field."""
        of = f" for {self._pit}" if self._pit else ""
        with Vertical(id="sheet"):
            yield Static(f"note{of}, kept with the time it is entered", classes="hint", markup=False)
            yield Input(self._text, placeholder="what you did or saw; Enter keeps it, Esc drops it", max_length=400)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Give it back; an empty one counts as none."""
        self.dismiss(event.value.strip() or None)
