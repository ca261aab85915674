"""What the fire does, in a word or two, and how it is to be shown."""

from collector.snapshot import Phase, Snapshot
from collector.words import fire_words
from tui.draw.line import Role

__all__ = ["fire_state"]


def fire_state(snapshot: Snapshot) -> tuple[str, Role]:
    """Name the state of the fire, and how it is to be shown."""
    words, wants_an_eye = fire_words(snapshot)
    if snapshot.fire.phase is Phase.UNAVAILABLE:
        return words, "alarm"
    return words, "warn" if wants_an_eye else "strong"
