"""How people are told of troubles, in words: `sent`, for what is sent is not delivered, nor is anybody woken by it."""

from collector.snapshot import CallsView, CallView, Snapshot
from tui.draw.line import Role
from tui.draw.view import View
from tui.draw.words import age, clock

__all__ = ["NEVER_PROVEN", "call_words", "calls_of", "calls_status", "result_words"]

NEVER_PROVEN = "wake-up never proven: `coldside alarms test --require-ack` does it"


def call_words(call: CallView, view: View) -> list[tuple[str, Role]]:
    """Say whom a call was sent to, by what and when, and what keeps it from going out."""
    said: list[tuple[str, Role]] = []
    for told in call.told:
        who = f"{told.person} by {told.channel}"
        if told.sent_unix:
            times = ", ".join(clock(unix, view) for unix in told.sent_unix)
            said.append((f"sent to {who} {times}, not acknowledged", "plain"))
        if told.error:
            again = ", tried again" if told.waiting else ""
            said.append((f"NOT sent to {who}: {told.error}{again}", "alarm"))
        elif told.waiting:
            said.append((f"on its way to {who}", "plain"))
    if call.held:
        said.append((f"waits for the end of the quiet hours of {', '.join(call.held)}", "faint"))
    return said


def calls_status(calls: CallsView, now_unix: float, view: View) -> list[tuple[str, Role]]:
    """Say what holds for all calls: channels that take nothing, messages that wait, and the last proof."""
    said: list[tuple[str, Role]] = [(f"{name} does not take messages: {why}", "alarm") for name, why in calls.faults]
    if calls.waiting and calls.oldest_unix is not None:
        noun = "message waits" if calls.waiting == 1 else "messages wait"
        said.append((f"{calls.waiting} {noun}, since {clock(calls.oldest_unix, view)}", "warn"))
    if calls.proven_unix is None:
        said.append((NEVER_PROVEN, "faint"))
    else:
        ago = age(now_unix - calls.proven_unix)
        said.append((f"wake-up last proven {clock(calls.proven_unix, view)}, {ago} ago", "faint"))
    return said


def result_words(test: CallView) -> list[str]:
    """Say what became of a test so far, one line a person and channel; nothing of those on their way."""
    lines = []
    for told in test.told:
        if told.sent_unix:
            lines.append(f"{told.person} by {told.channel}: sent")
        elif told.error:
            again = "; it is tried again" if told.waiting else ""
            lines.append(f"{told.person} by {told.channel}: NOT sent: {told.error}{again}")
    return lines


def calls_of(snapshot: Snapshot) -> dict[str, CallView]:
    """Give the open calls by their trouble, the test too while it can be acknowledged."""
    if snapshot.calls is None:
        return {}
    found = {call.trouble: call for call in snapshot.calls.open}
    test = snapshot.calls.test
    if test is not None and any(trouble.key == test.trouble for trouble in snapshot.troubles):
        found[test.trouble] = test
    return found
