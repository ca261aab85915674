"""What is on record of calls: one row a call, one row a message, each written anew whenever it changes."""

from typing import Literal

import msgspec

from collector.calls.escalation import Call

__all__ = ["ACKNOWLEDGED", "MORE_URGENT", "MOST_ENDED", "CallRow", "CallsOnRecord", "MessageRow", "State"]

State = Literal["waiting", "failed", "sent", "given up"]
"""`failed`: it was tried, and will be again."""
ACKNOWLEDGED, MORE_URGENT = "acknowledged", "more urgent"
"""Why a call ended; ` by` and whose link it was may stand behind the first."""
MOST_ENDED = 500
"""Calls that have ended and are remembered, so that their links can say so."""


class CallRow(msgspec.Struct, frozen=True):
    """One call as it stands."""

    call: Call
    ended_unix: float | None = None
    why: str = ""
    """Why it ended: `acknowledged` (perhaps by whose link), `over`, `more urgent` or `another cook`."""


class MessageRow(msgspec.Struct, frozen=True):
    """One message to one person by one channel as it stands."""

    id: str
    """Never the same for two messages: the other side knows a repetition by it."""
    call: int
    """0: a test."""
    rung: int
    person: str
    channel: str
    word: str
    """`raised`, `again`, `over` or `test`."""
    due_unix: float
    body: str
    """The document, as JSON."""
    state: State = "waiting"
    tries: int = 0
    error: str = ""
    """Of the last try, or why it was given up."""
    sent_unix: float | None = None

    @property
    def open(self) -> bool:
        """Whether it is still to be sent."""
        return self.state in ("waiting", "failed")


class CallsOnRecord(msgspec.Struct, frozen=True):
    """What a collector that starts has to know."""

    open: tuple[Call, ...] = ()
    """Calls of this cook that nobody has ended."""
    left: tuple[Call, ...] = ()
    """Of other cooks: nobody is told of them any more."""
    messages: tuple[MessageRow, ...] = ()
    """Those of open calls, and all that wait, oldest first."""
    last_number: int = 0
    """The greatest number of a call."""
    proven_unix: float | None = None
    """When somebody last acknowledged a test."""
