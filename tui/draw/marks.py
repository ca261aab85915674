"""What the cook did and what the curves show, in words; events with what he said of them."""

from collector.snapshot import Mark, Snapshot, Verdict
from collector.words import SEEN_WORDS
from tui.draw.line import Line, Role, fit
from tui.draw.view import View
from tui.draw.words import clock

__all__ = ["SEEN_WORDS", "listed", "mark_line", "mark_words"]


def listed(snapshot: Snapshot) -> list[Mark]:
    """Give the marks that stand, the newest first: what the cook deleted is on record only."""
    return [m for m in reversed(snapshot.marks) if m.verdict is not Verdict.DELETED]


def mark_words(mark: Mark, view: View) -> str:
    """Say what a mark is, without its time."""
    seen = SEEN_WORDS.get(mark.kind)
    if seen is None:
        return f"{mark.kind}: {mark.text}" if mark.text else mark.kind
    return seen if mark.since_unix is None else f"{seen} since {clock(mark.since_unix, view)}"


def mark_line(mark: Mark, view: View, width: int) -> Line:
    """Write a mark with its time; of an event also whether the cook has confirmed it."""
    words = fit(f"{clock(mark.time_unix, view)} {mark_words(mark, view)}", width, ascii_only=view.ascii_only).rstrip()
    role: Role = "warn" if mark.kind == "seen-stall" and mark.verdict is None else "plain"
    said = f", {mark.verdict}" if mark.verdict else "?" if mark.event else ""
    if len(words) + len(said) > width:
        words = fit(words, width - len(said), ascii_only=view.ascii_only)
    return (words, role), (said, "faint")
