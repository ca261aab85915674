"""The bottom line; a click on a hint presses its key."""

from collections.abc import Iterator

from textual.content import Content
from textual.events import Leave, MouseDown, MouseMove
from textual.screen import Screen
from textual.widget import Widget

from tui.draw.hints import Hint, hint_line
from tui.draw.hints import HintLine as Drawn
from tui.widgets.roles import content

__all__ = ["HintLine"]


class HintLine(Widget):
    """Shows the keys that do something here; one line, drawn as one, as each hint made a widget of its own is slow."""

    ALLOW_SELECT = False

    def __init__(self) -> None:
        super().__init__()
        self._drawn = Drawn(())

    def on_mount(self) -> None:
        """Follow what the keys do."""
        self.screen.bindings_updated_signal.subscribe(self, self._changed)

    def _changed(self, screen: Screen[object]) -> None:
        if self.is_attached and screen is self.screen:
            self.refresh()

    def render(self) -> Content:
        """Write the hints that fit."""
        self._drawn = hint_line(self._hints(), self.size.width)
        return content(self._drawn.line)

    def _hints(self) -> list[Hint]:
        """List the keys that have a hint, in the order in which they are of use."""
        rank = getattr(self.app, "hint_rank", None)
        shown = dict(self._shown())
        if rank is not None:
            ranks = {action: rank(action) for action in shown}
            shown = {action: shown[action] for action in sorted(shown, key=lambda a: ranks[a] or 0)}
            shown = {action: hint for action, hint in shown.items() if ranks[action] is not None}
        return list(shown.values())

    def _shown(self) -> Iterator[tuple[str, Hint]]:
        told: set[str] = set()
        for _, binding, enabled, tooltip in self.screen.active_bindings.values():
            if binding.show and enabled and binding.action not in told:  # of several keys for one thing the first
                told.add(binding.action)
                shown = self.app.get_key_display(binding)
                yield binding.action, Hint(binding.key, shown, binding.description, tooltip)

    def on_mouse_down(self, event: MouseDown) -> None:
        """Press the key."""
        if (hint := self._drawn.hint_at(event.x)) is not None:
            self.app.simulate_key(hint.key)

    def on_mouse_move(self, event: MouseMove) -> None:
        """Say more of the hint under the mouse."""
        hint = self._drawn.hint_at(event.x)
        self.tooltip = (hint.help or None) if hint is not None else None

    def on_leave(self, _: Leave) -> None:
        """Say no more of it."""
        self.tooltip = None
