"""What this terminal can show, found out before the first character is drawn."""

import os
import sys
from collections.abc import Mapping

from rich.console import Console

from tui.draw.colour_scale import ColourDepth
from tui.errors import TerminalUnfit

__all__ = ["colour_depth", "refuse_unfit", "speaks_utf8"]

COERCED = ("", "C.UTF-8", "C.utf8", "UTF-8")
"""What Python itself may have put into LC_CTYPE (PEP 538)."""

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


def speaks_utf8(environment: Mapping[str, str] = os.environ) -> bool:
    """Tell whether the locale says that the terminal can write more than ASCII.

    The environment is asked, not Python's own encoding: Python takes UTF-8 for itself in the C locale, and may have
    set LC_CTYPE to say so. Where nothing is said, the terminal is taken to be of this century.
    """
    chosen = environment.get("LC_ALL", "")
    if not chosen and environment.get("LC_CTYPE", "") not in COERCED:
        chosen = environment["LC_CTYPE"]
    chosen = chosen or environment.get("LANG", "")
    return not chosen or "utf" in chosen.lower()


def colour_depth(no_color: bool, environment: Mapping[str, str] = os.environ) -> ColourDepth:
    """Find how many colours there are; with NO_COLOR none."""
    if no_color:
        return "none"
    console = Console(file=sys.__stderr__, force_terminal=True, _environ=environment)
    return DEPTHS.get(console.color_system, "16")
