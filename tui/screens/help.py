"""All keys, searchable; Enter runs the chosen one; and what the short signs mean."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from collector.caution import FIRE_CAUTION
from tui.actions import ACTIONS, Action
from tui.draw.legend import LEGEND

__all__ = ["HelpScreen"]


class HelpScreen(ModalScreen[str | None]):
    """Gives back the id of the chosen action, or None.

    Args:
        keys: the key of each action that is of use, as it is bound now, by id.
    """

    BINDINGS: ClassVar = [("escape", "dismiss(None)", "close"), ("down", "next", "next"), ("up", "last", "last")]

    def __init__(self, keys: dict[str, str]) -> None:
        super().__init__()
        self._keys = keys

    def compose(self) -> ComposeResult:
        """Make the search field and the list."""
        with Vertical(id="sheet"):
            yield Input(placeholder="type to search, Enter runs it, Esc closes")
            yield OptionList()
            yield Static(FIRE_CAUTION, classes="hint", markup=False)
            yield Static("keys can be changed under [display.keys] in the config", classes="hint", markup=False)

    def on_mount(self) -> None:
        """Begin with all."""
        self._fill("")

    def _fill(self, searched: str) -> None:
        words = searched.lower().split()
        found = [a for a in ACTIONS if a.id in self._keys and all(w in self._text(a) for w in words)]
        options = self.query_one(OptionList)
        options.clear_options()
        options.add_options([Option(self._prompt(a), id=a.id) for a in found])
        signs = [(sign, told) for sign, told in LEGEND if all(w in f"{sign} {told}".lower() for w in words)]
        options.add_options([Option(_sign(sign, told), disabled=True) for sign, told in signs])
        if not found and not signs:
            options.add_option(Option(Content(f"{searched.strip()!r} is in no key and no sign"), disabled=True))
        options.highlighted = 0 if found else None

    def _text(self, action: Action) -> str:
        return f"{self._keys[action.id]} {action.id} {action.label} {action.help}".lower()

    def _prompt(self, action: Action) -> Content:
        return Content.assemble(
            (f"{self._keys[action.id]:>8}  ", "bold"), f"{action.label:16}", (action.help, "$text-muted")
        )

    def on_input_changed(self, event: Input.Changed) -> None:
        """Narrow the list."""
        self._fill(event.value)

    def on_input_submitted(self) -> None:
        """Run the highlighted one."""
        option = self.query_one(OptionList).highlighted_option
        if option is not None:
            self.dismiss(option.id)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Run the one that was clicked."""
        self.dismiss(event.option.id)

    def action_next(self) -> None:
        """Go down the list while the search keeps the keys."""
        self.query_one(OptionList).action_cursor_down()

    def action_last(self) -> None:
        """Go up the list."""
        self.query_one(OptionList).action_cursor_up()


def _sign(sign: str, told: str) -> Content:
    return Content.assemble((f"{sign:>11}  ", "bold"), (told, "$text-muted"))
