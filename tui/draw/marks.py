"""What the cook did and what the curves show, in words; events with what he said of them."""

from collector.snapshot import Mark, Snapshot, Verdict
from collector.words import SEEN_WORDS
from tui.draw.line import Line, Role, fit
from tui.draw.view import View
from tui.draw.words import clock

__all__ = ["SEEN_WORDS", "listed", "mark_line", "mark_words", "standing"]


def listed(snapshot: Snapshot) -> list[Mark]:
    """Give all marks, the newest first by their time: an event is seen some minutes after it was.

    What the cook deleted is among them, so that he can take it back.
    """
    latest_first = snapshot.marks[::-1]
    return sorted(latest_first, key=lambda mark: -mark.time_unix)


def standing(snapshot: Snapshot) -> list[Mark]:
    """Give the marks that were not deleted, oldest first."""
    return [m for m in reversed(listed(snapshot)) if m.verdict is not Verdict.DELETED]


def mark_words(mark: Mark, view: View) -> str:
    """Say what a mark is, without its time."""
    seen = SEEN_WORDS.get(mark.kind)
    if seen is None:
        return f"{mark.kind}: {mark.text}" if mark.text else mark.kind
    return seen if mark.since_unix is None else f"{seen} since {clock(mark.since_unix, view)}"


def mark_line(mark: Mark, view: View, width: int) -> Line:
    """Write a mark with its time; of an event also whether the cook has confirmed or deleted it."""
    words = fit(f"{clock(mark.time_unix, view)} {mark_words(mark, view)}", width, ascii_only=view.ascii_only).rstrip()
    role: Role = "faint" if mark.verdict is Verdict.DELETED else "plain"
    role = "warn" if mark.kind == "seen-stall" and mark.verdict is None else role
    said = f", {mark.verdict}" if mark.verdict else "?" if mark.event else ""
    if len(words) + len(said) > width:
        words = fit(words, width - len(said), ascii_only=view.ascii_only)
    return (words, role), (said, "faint")
