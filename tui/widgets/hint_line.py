"""The bottom line: keys and what they do, as many whole ones as there is room for."""

from textual.app import ComposeResult
from textual.widgets import Footer
from textual.widgets._footer import FooterKey  # no other way to a hint of the footer

__all__ = ["HintLine"]


class HintLine(Footer):
    """Leaves out the hints that would be cut."""

    def compose(self) -> ComposeResult:
        """Make the hints, those that fit."""
        left = self.app.size.width
        hints = list(super().compose())
        if (rank := getattr(self.app, "hint_rank", None)) is not None:
            hints = [hint for hint in hints if not isinstance(hint, FooterKey) or rank(hint.action) is not None]
            hints.sort(key=lambda hint: rank(hint.action) if isinstance(hint, FooterKey) else 0)
        for hint in hints:
            if isinstance(hint, FooterKey):
                left -= len(hint.key_display) + 1 + len(hint.description)
                if left < 0:
                    return
                left -= 1
            yield hint

    def on_resize(self) -> None:
        """Choose anew for the new width."""
        self.call_after_refresh(self.recompose)
