"""The proof of the chain: a test goes out by every channel, and somebody's acknowledgement shows that it wakes."""

from collections.abc import Callable, Sequence

import msgspec

from collector.calls.escalation import Due, Person
from collector.calls.message import TEST, Composer, Message
from collector.calls.record import MessageRow
from collector.calls.sending import Sending
from collector.snapshot import AlarmState, Priority, Snapshot, TroubleView

__all__ = ["Proof", "Test"]

LONGEST_TEST_SECONDS = 3600.0


class Test(msgspec.Struct):
    """The newest test."""

    __test__ = False
    began_unix: float
    until_unix: float
    rows: dict[str, MessageRow]
    """Its messages, by id."""
    acknowledged_unix: float | None = None
    by: str = ""
    """By whose link, where it was one."""

    def stands(self, now_unix: float) -> bool:
        """Whether it can be acknowledged."""
        return self.acknowledged_unix is None and now_unix < self.until_unix


class Proof:
    """Tests the way to people.

    Args:
        people: who can be told.
        composer: writes the messages.
        sending: what waits for the channels.
        put: puts a message into the outbox.
        snapshot: shows the cook now.
        now: tells the cook's time.
        proven_unix: when somebody last acknowledged a test; None: never.
    """

    def __init__(
        self,
        people: Sequence[Person],
        composer: Composer,
        sending: Sending,
        *,
        put: Callable[[Due, Message], None],
        snapshot: Callable[[], Snapshot],
        now: Callable[[], float],
        proven_unix: float | None,
    ) -> None:
        self._people, self._composer, self._sending, self._put = tuple(people), composer, sending, put
        self._snapshot, self._now = snapshot, now
        self.test: Test | None = None
        """The newest since the collector started."""
        self.proven_unix = proven_unix

    def begin(self, person: str, wait_seconds: float) -> str:
        """Send a test by every channel of a person, of everybody where none is named; say why not."""
        people = [p for p in self._people if person in ("", p.name)]
        if not people:
            known = ", ".join(p.name for p in self._people)
            return f"there is no person {person!r} in the config; there is {known}"
        if not 1.0 <= wait_seconds <= LONGEST_TEST_SECONDS:
            return f"a test waits for 1 to {LONGEST_TEST_SECONDS:.0f} seconds"
        if self.test is not None:
            self._give_up("a newer test took its place")
        now, snapshot = self._now(), self._snapshot()
        self.test = Test(now, now + wait_seconds, {})
        for one in people:
            for name in one.channels:
                due = Due(0, 0, TEST, one.name, name, "test", now)
                message = self._composer.test(due, snapshot, wait_seconds)
                self.test.rows[message.id] = MessageRow(message.id, 0, 0, one.name, name, TEST, now, "")
                self._put(due, message)
        return ""

    def note(self, row: MessageRow) -> None:
        """Take note how a message of the test stands; those of others are none of its business."""
        if self.test is not None and row.id in self.test.rows:
            self.test.rows[row.id] = row

    def look(self, now_unix: float) -> None:
        """Let time pass."""
        if self.test is not None and now_unix >= self.test.until_unix:
            self._give_up("nobody acknowledged it in time")

    def _give_up(self, why: str) -> None:
        for entry in self._sending.entries():
            if entry.row.word == TEST:
                self._sending.drop(entry, why)

    def acknowledge(self, by: str = "") -> str | None:
        """Take an acknowledgement of the test; give the words for the record, None where no test stands.

        Args:
            by: by whose link; empty: by another way.

        Raises:
            ValueError: no channel has taken a message of it, so nothing would be proven.
        """
        test, now = self.test, self._now()
        if test is None or not test.stands(now):
            return None
        took = {f"{row.person} by {row.channel}" for row in test.rows.values() if row.state == "sent"}
        if not took and not by:
            raise ValueError("no message of the test has gone out, so it proves nothing; `coldside status` says why")
        test.acknowledged_unix = self.proven_unix = now
        test.by = by
        self._give_up("acknowledged")
        sent = f", sent to {', '.join(sorted(took))}" if took else ""
        return f"a test was acknowledged after {now - test.began_unix:.0f} s{f' by {by}' if by else ''}{sent}"

    def trouble(self) -> TroubleView | None:
        """Show the test as a trouble while it can be acknowledged, so that every way to acknowledge has it."""
        if self.test is None or not self.test.stands(self._now()):
            return None
        return TroubleView(
            TEST, Priority.NOTE, AlarmState.UNACKNOWLEDGED, True, self.test.began_unix, "a test of the wake-up",
            "acknowledge it to prove that messages wake somebody", float("nan"), float("nan"), "", (),
        )  # fmt: skip
