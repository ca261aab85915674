"""Which piece of meat went over into which phase: a short list, Enter tells it."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from tui.draw.phases import PhaseStep

__all__ = ["PieceScreen"]


class PieceScreen(ModalScreen[PhaseStep | None]):
    """Gives back the step that was chosen, or None.

    Args:
        steps: what can be told of which piece, the likeliest first.
        pit: where it lies; empty where there is one pit only.
    """

    BINDINGS: ClassVar = [("escape", "dismiss(None)", "close")]

    def __init__(self, steps: tuple[PhaseStep, ...], pit: str = "") -> None:
        super().__init__()
        self._steps = steps
        self._pit = pit

    def compose(self) -> ComposeResult:
        """Make the list."""
        of = f" at {self._pit}" if self._pit else ""
        with Vertical(id="sheet"):
            yield Static(
                f"meat{of}: what happened just now? Enter tells it, Esc drops it", classes="hint", markup=False
            )
            yield OptionList(*(Option(Content(step.words)) for step in self._steps))

    def on_mount(self) -> None:
        """Begin with the first."""
        self.query_one(OptionList).highlighted = 0

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Give it back."""
        self.dismiss(self._steps[event.option_index])
