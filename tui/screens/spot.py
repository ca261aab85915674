"""A reading by hand: where, and what it was."""

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from collector.model.meat.spots import Spot

__all__ = ["SpotScreen"]

Reader = Callable[[str, str], Spot]
"""Makes the reading of where and value as they were typed.

Raises:
    ValueError: they say none; why is told in the dialog, and what was typed stays.
"""


class SpotScreen(ModalScreen[Spot | None]):
    """Gives back the reading, or None.

    Args:
        where: the place that is meant unless another is typed.
        unit: of a number without one, `F` or `C`.
        read: makes the reading.
        pit: where it will be kept; empty where there is one pit only.
        value: what stands there already.
    """

    BINDINGS: ClassVar = [("escape", "dismiss(None)", "close")]

    def __init__(self, where: str, unit: str, read: Reader, pit: str = "", value: str = "") -> None:
        super().__init__()
        self._where = where
        self._unit = unit
        self._read = read
        self._pit = pit
        self._value = value

    def compose(self) -> ComposeResult:
        """Make the two fields."""
        of = f" for {self._pit}" if self._pit else ""
        with Vertical(id="sheet"):
            hint = f"read by hand{of}; Enter keeps it, Tab changes the field, Esc drops it"
            yield Static(hint, classes="hint", markup=False)
            yield Input(self._where, placeholder="where: flat, thin end; or a zone", max_length=60, id="where")
            yield Input(self._value, placeholder=f"198 (°{self._unit}), 92 C, or bread 3", max_length=20, id="value")
            yield Static("", classes="hint", id="why", markup=False)

    def on_mount(self) -> None:
        """Begin with the value where the place is known."""
        self.query_one("#value" if self._where else "#where", Input).focus()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Go on to the value, or give the reading back; what is no reading stays to be mended."""
        where, value = (self.query_one(f"#{name}", Input) for name in ("where", "value"))
        if event.input is where and not value.value.strip():
            value.focus()
            return
        try:
            spot = self._read(where.value.strip(), value.value.strip())
        except ValueError as error:
            self.query_one("#why", Static).update(str(error))
            return
        self.dismiss(spot)
