"""The frame around a panel: its title with the key that leads to it."""

from textual.containers import VerticalScroll

__all__ = ["Panel"]


class Panel(VerticalScroll, can_focus=True):
    """A framed, scrolling, focusable place for one widget."""
