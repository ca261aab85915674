"""The bottom line: keys and what they do, as many whole ones as there is room for."""

from collections.abc import Iterable

import msgspec

from tui.draw.line import Line

__all__ = ["Hint", "HintLine", "hint_line"]


class Hint(msgspec.Struct, frozen=True):
    """One key."""

    key: str
    """As it is pressed."""
    shown: str
    """As it is written on a keyboard."""
    label: str
    help: str = ""


class HintLine(msgspec.Struct, frozen=True):
    """The hints that fit, one after the other with a blank between."""

    hints: tuple[Hint, ...]

    @property
    def line(self) -> Line:
        """Its text."""
        return tuple(
            part for hint in self.hints for part in ((hint.shown, "strong"), (f" {hint.label} ", "faint"))
        )  # fmt: skip

    def hint_at(self, x: int) -> Hint | None:
        """Give the hint that stands in a column; None between two of them."""
        begins = 0
        for hint in self.hints:
            if begins <= x < begins + _cells(hint):
                return hint
            begins += _cells(hint) + 1
        return None


def hint_line(hints: Iterable[Hint], cells: int) -> HintLine:
    """Take hints, the first ones first, until one would be cut."""
    fitting: list[Hint] = []
    left = cells
    for hint in hints:
        left -= _cells(hint)
        if left < 0:
            break
        left -= 1
        fitting.append(hint)
    return HintLine(tuple(fitting))


def _cells(hint: Hint) -> int:
    return len(hint.shown) + 1 + len(hint.label)
