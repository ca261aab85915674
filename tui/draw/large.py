"""Figures several lines tall, as large as the room allows."""

__all__ = ["large_text"]

FIGURES: dict[str, tuple[str, ...]] = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": (" # ", "## ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", " ##", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", " # ", " # ", " # "),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    "-": ("   ", "   ", "###", "   ", "   "),
    "+": ("   ", " # ", "###", " # ", "   "),
    ":": (" ", "#", " ", "#", " "),
}
ROWS = 5


def large_text(text: str, width: int, height: int, *, ascii_only: bool = False) -> list[str]:
    """Draw figures, `-`, `+` and `:` into at most `width` by `height` cells.

    A dot of a figure is two cells wide and one high, or a multiple. Where even the least size finds no room, the
    plain text is given.
    """
    figures = [FIGURES[c] for c in text if c in FIGURES]
    across = sum(len(f[0]) for f in figures) + max(0, len(figures) - 1)
    times = min(width // (2 * across), height // ROWS) if figures else 0
    if times < 1:
        return [text]
    lines = []
    for row in range(ROWS):
        dots = " ".join(f[row] for f in figures)
        line = "".join(dot * 2 * times for dot in dots)
        lines += [line if ascii_only else line.replace("#", "█")] * times
    return lines
