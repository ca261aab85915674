"""A time of the cook to go to."""

import re
from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from tui.commands.moment import moment_of

__all__ = ["MomentScreen", "moment_within"]

_MINUTES = re.compile(r"([+-]?)(\d{1,4})\Z")


def moment_within(text: str, shown_unix: float, start_unix: float, end_unix: float) -> float:
    """Give the moment that is meant, Unix seconds.

    Args:
        text: `90`: so many minutes after the start; `+30`, `-30`: from the moment shown; or a time, see `moment_of`.
        shown_unix: the moment shown.
        start_unix: when the cook began.
        end_unix: when it ended.

    Raises:
        ValueError: it is none, or not within the cook; the message says so.
    """
    match = _MINUTES.match(text.strip())
    if match is None:
        return moment_of(text, start_unix, end_unix)
    seconds = 60.0 * int(match[2])
    found = {"": start_unix + seconds, "+": shown_unix + seconds, "-": shown_unix - seconds}[match[1]]
    if not start_unix <= found <= end_unix:
        lasted = (end_unix - start_unix) / 60.0
        raise ValueError(f"{text.strip()} minutes are not within the cook, which lasted {lasted:.0f}")
    return found


class MomentScreen(ModalScreen[float | None]):
    """Gives back the moment that was written, Unix seconds, or None.

    Args:
        start_unix: when the cook began.
        end_unix: when it ended.
        shown_unix: the moment shown.
    """

    BINDINGS: ClassVar = [("escape", "dismiss(None)", "close")]

    def __init__(self, start_unix: float, end_unix: float, shown_unix: float) -> None:
        super().__init__()
        self._shown_unix = shown_unix
        self._span = (start_unix, end_unix)

    def compose(self) -> ComposeResult:
        """Make the field."""
        with Vertical(id="sheet"):
            yield Static("go to a time of this cook: Enter goes there, Esc stays", classes="hint", markup=False)
            yield Input(placeholder="02:15, or minutes: 90 from the start, +30 or -30 from here", max_length=40)
            yield Static("", id="wrong", classes="hint", markup=False)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Give it back, or say what is wrong with it."""
        try:
            self.dismiss(moment_within(event.value, self._shown_unix, *self._span))
        except ValueError as error:
            self.query_one("#wrong", Static).update(str(error))
