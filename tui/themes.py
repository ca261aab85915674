"""Our own themes. None uses the terminal's palette: with NO_COLOR that would be black on black."""

from textual.theme import Theme

__all__ = ["THEMES", "theme_named"]

THEMES: tuple[Theme, ...] = (
    Theme(
        name="dark",
        primary="#7fb2d9",
        secondary="#9aa7b0",
        accent="#7fb2d9",
        warning="#f0c05a",
        error="#ff7a66",
        success="#86c98f",
        foreground="#e6e6e0",
        background="#101214",
        surface="#101214",
        panel="#24282c",
        dark=True,
    ),
    Theme(
        name="light",
        primary="#1f5f8b",
        secondary="#55636e",
        accent="#1f5f8b",
        warning="#8a5200",
        error="#b3200e",
        success="#1f6b2d",
        foreground="#16181a",
        background="#f7f6f1",
        surface="#f7f6f1",
        panel="#e2e0d8",
        dark=False,
    ),
    Theme(
        name="high-contrast",
        primary="#ffffff",
        secondary="#ffffff",
        accent="#ffff00",
        warning="#ffff00",
        error="#ff9080",
        success="#90ff90",
        foreground="#ffffff",
        background="#000000",
        surface="#000000",
        panel="#000000",
        dark=True,
        text_alpha=1.0,
        variables={"text-muted": "#e0e0e0", "text-disabled": "#a8a8a8"},
    ),
)


def theme_named(name: str) -> str:
    """Give the name of one of our themes: the one asked for, else the first."""
    return name if name in {theme.name for theme in THEMES} else THEMES[0].name
