"""What a word was perhaps meant to be."""

__all__ = ["nearest"]


def nearest(word: str, allowed: list[str]) -> str:
    """Ask whether the likest of the words that are allowed was meant; empty where none is like it."""
    import difflib  # only a config with a mistake needs it

    close = difflib.get_close_matches(word, allowed, 1, 0.6)
    return f', did you mean "{close[0]}"?' if close else ""
