"""What this terminal can show, found out before the first character is drawn."""

import locale
import os
import sys
from collections.abc import Mapping

from rich.console import Console

from tui.draw.colour_scale import ColourDepth
from tui.errors import TerminalUnfit

__all__ = ["colour_depth", "refuse_unfit", "speaks_utf8"]

DEPTHS: dict[str | None, ColourDepth] = {
    "truecolor": "truecolor", "256": "256", "standard": "16", "windows": "truecolor", None: "none",
}  # fmt: skip


def refuse_unfit(environment: Mapping[str, str] = os.environ) -> None:
    """Refuse a terminal that would only show a mess.

    Raises:
        TerminalUnfit: it cannot move its cursor, or the screen is not a terminal at all.
    """
    instead = "; `coldside status --watch` prints plain lines instead"
    if environment.get("TERM", "") in ("dumb", "unknown"):
        raise TerminalUnfit(f"TERM={environment['TERM']}: this terminal cannot draw a dashboard{instead}")
    screen = sys.__stderr__
    if screen is None or not screen.isatty():
        raise TerminalUnfit(f"the dashboard is drawn on standard error, which is no terminal here{instead}")
    if sys.__stdin__ is None or not sys.__stdin__.isatty():
        raise TerminalUnfit(f"standard input is no terminal, so no key would be heard{instead}")


def speaks_utf8() -> bool:
    """Tell whether the locale can write more than ASCII."""
    return "utf" in locale.getpreferredencoding(do_setlocale=False).lower() or sys.flags.utf8_mode == 1


def colour_depth(no_color: bool, environment: Mapping[str, str] = os.environ) -> ColourDepth:
    """Find how many colours there are; with NO_COLOR none."""
    if no_color:
        return "none"
    console = Console(file=sys.__stderr__, force_terminal=True, _environ=environment)
    return DEPTHS.get(console.color_system, "16")
