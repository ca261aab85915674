"""What is due, until a channel has taken it: on record before and after, tried again, never in anybody's way.

A message waits until the channel took it, its call has ended, a newer one of the same call takes its place, or an hour
is over. Sent at least once: a collector that is killed between sending and writing that down sends it again, under the
same id. `sending` empties the queues, `proof` tests the way.
"""

import logging
import math
from collections.abc import Callable, Iterable, Mapping
from functools import cache, partial
from random import Random

import msgspec
from msgspec.structs import replace

from collector.calls.channels import Channel
from collector.calls.escalation import Call, Due, Escalation, Word
from collector.calls.link import VALID_MS, Claim, Links
from collector.calls.message import TEST, Composer, Message, of_document
from collector.calls.options import Calling
from collector.calls.proof import Proof
from collector.calls.record import ACKNOWLEDGED, MORE_URGENT, MOST_ENDED, CallRow, CallsOnRecord, MessageRow
from collector.calls.sending import Sending, Waiting
from collector.faults import CALLING_PART, FAULT_KEY, FaultBook
from collector.snapshot import CallsView, CallView, Priority, Snapshot, ToldView, TroubleView

__all__ = ["KEEP_SECONDS", "Outbox", "Record"]

log = logging.getLogger(__name__)

KEEP_SECONDS = 3600.0
TEST_KEEP_SECONDS = 120.0
SHOWN_TIMES = 4
LAST_RESORT_SECONDS = 900.0
"""A last-resort message is sent again after this while its cause lasts."""
LAST_RESORT_KEY = FAULT_KEY + CALLING_PART

Record = Callable[[CallRow | MessageRow], None]


class Outbox:
    """Calls people.

    Args:
        calling: who is told by what.
        channels: by name.
        composer: writes the messages.
        snapshot: shows the cook now.
        now: tells the cook's time.
        record: puts a row on record, as it stands.
        picture: draws the map.
        before: what was on record when the collector started.
        ended: calls that had ended by then, oldest first.
        links: makes links that acknowledge; None: messages have none.
        random: jitters the waits.
        faults: contains a message that cannot be written; a plain one goes in its place.
    """

    def __init__(
        self,
        calling: Calling,
        channels: Mapping[str, Channel],
        composer: Composer,
        *,
        snapshot: Callable[[], Snapshot],
        now: Callable[[], float],
        record: Record,
        picture: Callable[[Snapshot], bytes] = lambda _: b"",
        before: CallsOnRecord | None = None,
        ended: Iterable[CallRow] = (),
        links: Links | None = None,
        random: Random | None = None,
        faults: FaultBook | None = None,
    ) -> None:
        self._faults = faults or FaultBook()
        self._people = calling.people
        self._last_resorts: dict[str, float] = {}
        """When each channel was last given a last-resort message."""
        self._unput: list[tuple[Due, Message]] = []
        """Messages that are written and in no queue yet."""
        self._composer = composer
        self._snapshot, self._now, self._record = snapshot, now, record
        before = before or CallsOnRecord()
        names = {person.name for person in calling.people}
        kept = [replace(call, held=tuple(name for name in call.held if name in names)) for call in before.open]
        self._escalation = Escalation(
            calling.people, calling.ladders, zone=composer.zone, calls=kept, last_number=before.last_number
        )
        self._rows: dict[int, dict[str, MessageRow]] = {call.number: {} for call in kept}
        """The messages of each open call, by id."""
        self.ended: dict[int, CallRow] = {row.call.number: row for row in ended}
        """The newest calls that have ended, by number."""
        self._credits: dict[int, str] = {}
        """By whose link a call is being acknowledged."""
        self._links = links
        self._titles: dict[str, str] = {}
        self._sending = Sending(
            channels, now=now, settle=self._settle, picture=lambda: picture(snapshot()),
            link_of=self._link_of, random=random or Random(),
        )  # fmt: skip
        self.proof = Proof(
            calling.people, composer, self._sending, put=self._put, snapshot=snapshot, now=now,
            proven_unix=before.proven_unix,
        )  # fmt: skip
        """Tests the way to people."""
        self._take_up(before)

    def _take_up(self, before: CallsOnRecord) -> None:
        """Go on with what was on record."""
        now = self._now()
        for call in before.left:
            self._record(CallRow(call, now, "another cook"))
        left = {call.number for call in before.left}
        for row in before.messages:
            if row.call in self._rows:
                self._rows[row.call][row.id] = row
            if not row.open:
                continue
            if row.channel not in self._sending.channels:
                self._settle(replace(row, state="given up", error="the config knows no such channel any more"))
            elif row.call in left or row.word == TEST:
                self._settle(replace(row, state="given up", error="the collector was started anew"))
            else:
                try:
                    message = of_document(row.body)
                except (msgspec.DecodeError, UnicodeDecodeError, KeyError) as error:
                    self._settle(replace(row, state="given up", error=f"not readable: {type(error).__name__}"))
                    continue
                self._titles.setdefault(str(message.document.get("key")), message.title.partition(": ")[2])
                self._sending.waiting[row.channel].append(Waiting(row, message, row.due_unix, stale=True))

    def look(self, troubles: Iterable[TroubleView]) -> None:
        """Take the troubles as they stand; put what is due into the outbox.

        A step of a ladder is used up only once its message is written: where that raises, the calls are as before.
        """
        now, standing = self._now(), {trouble.key: trouble for trouble in troubles}
        self._titles.update((key, trouble.title) for key, trouble in standing.items())
        before, last = self._escalation.state()
        try:
            written = self._write(now, standing)
        except Exception:
            self._escalation.restore((before, last))
            raise
        written, self._unput = [*self._unput, *written], []
        untold: set[tuple[int, str, str]] = set()
        nobody: set[tuple[int, str, str]] = set()
        for call, why in self._escalation.ended:
            give_up = partial(self._give_up_call, call, why, now)
            untold |= self._faults.attempt("end of a call", now, give_up, lambda: nobody)
        self._escalation.ended.clear()
        for key, call in self._escalation.calls.items():
            earlier = before.get(key)
            if earlier is not None and earlier.number != call.number:  # it became urgent: a call of its own
                give_up = partial(self._give_up_call, earlier, MORE_URGENT, now)
                self._faults.attempt("end of a call", now, give_up, lambda: nobody)
            if call != earlier:
                self._record(CallRow(call))
        stale = [entry for entry in self._sending.entries() if entry.stale]
        if stale:
            self._faults.attempt("messages of before", now, lambda: self._write_anew(stale, standing), lambda: None)
        for due, message in written:
            if due.word != "over" or (due.call, due.person, due.channel) not in untold:
                self._put_or_keep(due, message)  # nobody got the call, so nobody needs its end
        self._faults.attempt("messages that are too old", now, lambda: self._expire(now), lambda: None)
        self._faults.attempt("test of the wake-up", now, lambda: self.proof.look(now), lambda: None)

    def _put_or_keep(self, due: Due, message: Message) -> None:
        """Put a message into its channel's queue; where that fails, at the next look, and hold up no other."""
        keep = partial(self._unput.append, (due, message))
        self._faults.attempt("queue of messages", self._now(), partial(self._put, due, message), keep, critical=True)

    def _write(self, now: float, standing: Mapping[str, TroubleView]) -> list[tuple[Due, Message]]:
        """Find what is due, and write its messages."""
        dues = self._escalation.look(now, standing.values())
        ended = {call.number: call for call, _ in self._escalation.ended}
        written, snapshot = [], cache(self._snapshot)  # one for all messages of a look
        for due in dues:
            call = ended.get(due.call) or self._escalation.calls.get(due.trouble)
            if call is not None and due.channel in self._sending.channels:
                written.append((due, self._message(due, call, standing.get(due.trouble), snapshot)))
        return written

    def _message(self, due: Due, call: Call, trouble: TroubleView | None, snapshot: Callable[[], Snapshot]) -> Message:
        """Write one message; a plain one where the whole one cannot be written."""
        title = self._titles.get(due.trouble, "") if trouble is None else trouble.title
        return self._faults.attempt(
            "messages to people",
            self._now(),
            lambda: self._composer.trouble(due, call, trouble, snapshot(), title),
            lambda: self._composer.plain(due, title or due.trouble, urgent=call.priority is Priority.URGENT),
            critical=True,
        )

    def last_resort(self) -> None:
        """Send a plain message by every channel: what is wrong cannot be worked out, so everybody has to know that."""
        now = self._now()
        names = {channel: person.name for person in reversed(self._people) for channel in person.channels}
        for channel, name in names.items():
            waited = now - self._last_resorts.get(channel, -math.inf)
            if channel in self._sending.channels and waited >= LAST_RESORT_SECONDS:
                self._faults.attempt(
                    f"last resort by {channel}",
                    now,
                    partial(self._resort, name, channel, now),
                    lambda: None,
                    critical=True,
                )

    def _resort(self, name: str, channel: str, now: float) -> None:
        due = Due(0, 0, LAST_RESORT_KEY, name, channel, "raised", now)
        self._put(due, self._composer.plain(due, "it cannot say what is wrong"))
        self._last_resorts[channel] = now

    def _write_anew(self, stale: list[Waiting], standing: Mapping[str, TroubleView]) -> None:
        """Give messages of a run before the numbers of now, where their trouble still stands; their ids stay."""
        snapshot = cache(self._snapshot)
        for entry in stale:
            entry.stale, row = False, entry.row
            call = self.open_call(row.call)
            if call is not None and call.trouble in standing and row.word != "over":
                word: Word = "raised" if row.word == "raised" else "again"
                due = Due(row.call, row.rung, call.trouble, row.person, row.channel, word, row.due_unix)
                fresh = self._message(due, call, standing[call.trouble], snapshot)
                entry.message = replace(fresh, id=row.id, document={**fresh.document, "id": row.id})
                entry.row = replace(row, body=entry.message.body.decode())
                self._settle(entry.row)
            self._sending.wake[row.channel].set()

    def _link_of(self, row: MessageRow) -> str:
        """Make the link of a message that asks for an acknowledgement; empty where there is none."""
        if self._links is None or row.word == "over":
            return ""
        return self._links.link(Claim(row.call, row.person, row.channel, round(row.due_unix * 1000) + VALID_MS))

    def open_call(self, number: int) -> Call | None:
        """Find a call that nobody has ended."""
        return next((call for call in self._escalation.calls.values() if call.number == number), None)

    def title(self, key: str) -> str:
        """Give what a trouble was last called; its key when nothing is known."""
        return self._titles.get(key) or key

    def credit(self, number: int, who: str) -> None:
        """Say by whose link a call is being acknowledged, for the record; empty: it was not."""
        if who:
            self._credits[number] = who
        else:
            self._credits.pop(number, None)

    def _put(self, due: Due, message: Message) -> None:
        """Put a message into its channel's queue, in place of one of the same call that has not gone out."""
        row = MessageRow(
            message.id, due.call, due.rung, due.person, due.channel, due.word, due.unix, message.body.decode()
        )
        since = due.unix
        for entry in list(self._sending.waiting[due.channel]):
            if due.call and (entry.row.call, entry.row.person) == (due.call, due.person):
                since = min(since, entry.since_unix)
                self._sending.drop(entry, "a newer one took its place")
        self._sending.put(Waiting(row, message, since))

    def _settle(self, row: MessageRow) -> None:
        """Take note how a message stands now."""
        if row.call in self._rows or (row.call and self.open_call(row.call) is not None):
            self._rows.setdefault(row.call, {})[row.id] = row
        self.proof.note(row)
        self._record(row)

    def _give_up_call(self, call: Call, why: str, now: float) -> set[tuple[int, str, str]]:
        """End a call; give the persons and channels of it for whom nothing was ever tried."""
        rows = self._rows.get(call.number, {}).values()
        tried = {(row.person, row.channel) for row in rows if row.tries or row.state == "sent"}
        going = [entry for some in self._sending.going.values() for entry in some]
        tried |= {(entry.row.person, entry.row.channel) for entry in going if entry.row.call == call.number}
        for entry in self._sending.entries():
            if entry.row.call == call.number and entry.row.word != "over":
                self._sending.drop(entry, why)
        self._rows.pop(call.number, None)
        who = self._credits.pop(call.number, "")
        row = CallRow(call, now, f"{why} by {who}" if who and why == ACKNOWLEDGED else why)
        self.ended[call.number] = row
        while len(self.ended) > MOST_ENDED:
            del self.ended[next(iter(self.ended))]
        self._record(row)
        return {(call.number, *who) for who in call.told if who not in tried}

    def _expire(self, now: float) -> None:
        for entry in self._sending.entries():
            keep = TEST_KEEP_SECONDS if entry.row.word == TEST else KEEP_SECONDS
            if now - entry.row.due_unix > keep:
                log.warning("channel %s: a message is given up after %.0f min", entry.row.channel, keep / 60)
                self._sending.drop(entry, f"given up after {keep / 60:.0f} min")

    async def run(self) -> None:
        """Send until cancelled."""
        await self._sending.run()

    @property
    def oldest_unix(self) -> float | None:
        """Since when somebody waits for a message that has not gone out; tests do not count. None: nobody does."""
        waits = [entry.since_unix for entry in self._sending.entries() if entry.row.word != TEST]
        return min(waits, default=None)

    def view(self) -> CallsView:
        """Show how people are told."""
        test = self.proof.test
        return CallsView(
            tuple(
                CallView(call.number, key, call.began_unix, _told(self._rows.get(call.number, {}).values()), call.held)
                for key, call in self._escalation.calls.items()
            ),
            None if test is None else CallView(
                0, TEST, test.began_unix, _told(test.rows.values()), (), test.acknowledged_unix
            ),
            len(self._sending.entries()),
            self.oldest_unix,
            tuple((name, fault) for name, fault in self._sending.faults.items() if fault),
            self.proof.proven_unix,
        )  # fmt: skip


def _told(rows: Iterable[MessageRow]) -> tuple[ToldView, ...]:
    """Sum up the messages of a call by person and channel."""
    found: dict[tuple[str, str], list[MessageRow]] = {}
    for row in rows:
        found.setdefault((row.person, row.channel), []).append(row)
    told = []
    for (person, channel), some in found.items():
        times = sorted(row.sent_unix for row in some if row.sent_unix is not None)
        error = "" if some[-1].state == "sent" else some[-1].error
        told.append(ToldView(person, channel, tuple(times[-SHOWN_TIMES:]), any(r.open for r in some), error))
    return tuple(told)
