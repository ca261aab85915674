"""What is due, until a channel has taken it: on record before and after, tried again, never in anybody's way.

Each channel has a worker of its own, so that one that hangs holds up no other. A channel takes what is urgent at once
and the rest by a token bucket; what had to wait goes out as one digest a person. A message waits until the channel
took it, its call has ended, a newer one of the same call takes its place, or an hour is over. Sent at least once: a
collector that is killed between sending and writing that down sends it again, under the same id.
"""

import asyncio
import logging
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from random import Random

import msgspec

from adapters.backoff import delay_seconds
from collector.calls.channels import Channel, ChannelError
from collector.calls.escalation import Call, Due, Escalation
from collector.calls.message import TEST, Composer, Message, digest, of_document
from collector.calls.options import Calling
from collector.calls.record import CallRow, CallsOnRecord, MessageRow
from collector.snapshot import AlarmState, CallsView, CallView, Priority, Snapshot, ToldView, TroubleView

__all__ = ["Bucket", "Outbox", "Record"]

log = logging.getLogger(__name__)

KEEP_SECONDS = 3600.0
TEST_KEEP_SECONDS = 120.0
LONGEST_TEST_SECONDS = 3600.0
SEND_SECONDS = 130.0
"""Beyond every channel's own time-out: what takes longer is our fault, and given up."""
MOST_WAITING = 500
"""A channel keeps no more; the oldest that is not urgent goes first."""
TOKENS = 6.0
TOKENS_A_SECOND = TOKENS / 60.0
IDLE_SECONDS = 5.0
"""An idle worker looks by itself this often."""
SHOWN_TIMES = 4

Record = Callable[[CallRow | MessageRow], None]


@dataclass(slots=True)
class Bucket:
    """A token bucket, by a monotonic clock."""

    tokens: float = TOKENS
    at: float = 0.0

    def fill(self, now: float) -> float:
        """Let time pass; give the tokens there are."""
        self.tokens = min(TOKENS, self.tokens + max(0.0, now - self.at) * TOKENS_A_SECOND)
        self.at = now
        return self.tokens

    def take(self) -> None:
        """Take one; what is urgent may take what is not there yet, down to none."""
        self.tokens = max(0.0, self.tokens - 1.0)


@dataclass(slots=True)
class Waiting:
    """A message on its way."""

    row: MessageRow
    message: Message
    since_unix: float
    """Since when its person has waited: of the one whose place it took."""
    not_before: float = 0.0
    """By the loop's clock."""
    held: bool = False
    """The bucket was empty when its turn came."""
    alone: bool = False
    """A digest with it failed: it goes by itself."""


@dataclass(slots=True)
class Test:
    """The newest test."""

    __test__ = False
    began_unix: float
    until_unix: float
    rows: dict[str, MessageRow]
    acknowledged_unix: float | None = None

    def stands(self, now_unix: float) -> bool:
        """Whether it can be acknowledged."""
        return self.acknowledged_unix is None and now_unix < self.until_unix


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
        random: jitters the waits.
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
        random: Random | None = None,
    ) -> None:
        self._calling = calling
        self._channels = channels
        self._composer = composer
        self._snapshot, self._now, self._record, self._picture = snapshot, now, record, picture
        self._random = random or Random()
        before = before or CallsOnRecord()
        names = {person.name for person in calling.people}
        kept = [replace(call, held=tuple(name for name in call.held if name in names)) for call in before.open]
        self._escalation = Escalation(
            calling.people, calling.ladders, zone=composer.zone, calls=kept, last_number=before.last_number
        )
        self._waiting: dict[str, list[Waiting]] = {name: [] for name in channels}
        self._buckets = {name: Bucket() for name in channels}
        self._wake = {name: asyncio.Event() for name in channels}
        self._rows: dict[int, dict[str, MessageRow]] = {call.number: {} for call in kept}
        """The messages of each open call, by id."""
        self._going: dict[str, list[Waiting]] = {}
        """What is on its way now, by channel."""
        self._titles: dict[str, str] = {}
        self._faults: dict[str, str] = {}
        self._test: Test | None = None
        self.proven_unix = before.proven_unix
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
            if row.channel not in self._channels:
                self._settle(replace(row, state="given up", error="the config knows no such channel any more"))
            elif row.call in left or row.word == TEST:
                self._settle(replace(row, state="given up", error="the collector was started anew"))
            else:
                try:
                    message = of_document(row.body)
                except (msgspec.DecodeError, KeyError) as error:
                    self._settle(replace(row, state="given up", error=f"not readable: {type(error).__name__}"))
                    continue
                self._titles.setdefault(str(message.document.get("key")), message.title.partition(": ")[2])
                self._waiting[row.channel].append(Waiting(row, message, row.due_unix))

    def look(self, troubles: Iterable[TroubleView]) -> None:
        """Take the troubles as they stand; put what is due into the outbox."""
        now, standing = self._now(), {trouble.key: trouble for trouble in troubles}
        before = dict(self._escalation.calls)
        dues = self._escalation.look(now, standing.values())
        ended = {call.number: call for call, _ in self._escalation.ended}
        untold: set[tuple[int, str, str]] = set()
        for call, why in self._escalation.ended:
            untold |= self._give_up_call(call, why, now)
        self._escalation.ended.clear()
        for key, call in self._escalation.calls.items():
            earlier = before.get(key)
            if earlier is not None and earlier.number != call.number:  # it became urgent: a call of its own
                self._give_up_call(earlier, "more urgent", now)
            if call != earlier:
                self._record(CallRow(call))
            if key in standing:
                self._titles[key] = standing[key].title
        snapshot = self._snapshot() if dues else None
        for due in dues:
            found = ended.get(due.call) or self._escalation.calls.get(due.trouble)
            over = due.word == "over"
            if snapshot is None or found is None or due.channel not in self._channels:
                continue
            if over and (due.call, due.person, due.channel) in untold:
                continue  # what nobody was told of need not be called off
            title = self._titles.get(due.trouble, "")
            self._put(due, self._composer.trouble(due, found, standing.get(due.trouble), snapshot, title))
        self._expire(now)
        if self._test is not None and now >= self._test.until_unix:
            self._give_up_test("nobody acknowledged it in time")

    def _put(self, due: Due, message: Message) -> None:
        """Put a message into its channel's queue, in place of one of the same call that has not gone out."""
        row = MessageRow(
            message.id, due.call, due.rung, due.person, due.channel, due.word, due.unix, message.body.decode()
        )
        queue, since = self._waiting[due.channel], due.unix
        for entry in [e for e in queue if e.row.call == due.call and due.call and e.row.person == due.person]:
            since = min(since, entry.since_unix)
            self._drop(entry, "a newer one took its place")
        if len(queue) >= MOST_WAITING:
            self._drop(min(queue, key=lambda e: (e.message.urgent, e.since_unix)), "too many wait")
        queue.append(Waiting(row, message, since))
        self._settle(row)
        self._wake[due.channel].set()

    def _settle(self, row: MessageRow) -> None:
        """Take note how a message stands now."""
        if row.call in self._rows or (row.call and self._is_open(row.call)):
            self._rows.setdefault(row.call, {})[row.id] = row
        if self._test is not None and row.id in self._test.rows:
            self._test.rows[row.id] = row
        self._record(row)

    def _is_open(self, number: int) -> bool:
        return any(call.number == number for call in self._escalation.calls.values())

    def _drop(self, entry: Waiting, why: str) -> None:
        queue = self._waiting[entry.row.channel]
        if entry in queue:
            queue.remove(entry)
        error = f"{why}; {entry.row.error}" if entry.row.error else why
        self._settle(replace(entry.row, state="given up", error=error))

    def _give_up_call(self, call: Call, why: str, now: float) -> set[tuple[int, str, str]]:
        """End a call; give the persons and channels of it for whom nothing was ever tried."""
        rows = self._rows.get(call.number, {}).values()
        tried = {(row.person, row.channel) for row in rows if row.tries or row.state == "sent"}
        tried |= {
            (e.row.person, e.row.channel) for some in self._going.values() for e in some if e.row.call == call.number
        }
        for queue in self._waiting.values():
            for entry in [e for e in queue if e.row.call == call.number and e.row.word != "over"]:
                self._drop(entry, why)
        self._rows.pop(call.number, None)
        self._record(CallRow(call, now, why))
        return {(call.number, *who) for who in call.told if who not in tried}

    def _expire(self, now: float) -> None:
        for queue in self._waiting.values():
            for entry in list(queue):
                keep = TEST_KEEP_SECONDS if entry.row.word == TEST else KEEP_SECONDS
                if now - entry.row.due_unix > keep:
                    log.warning("channel %s: a message is given up after %.0f min", entry.row.channel, keep / 60)
                    self._drop(entry, f"given up after {keep / 60:.0f} min")

    async def run(self) -> None:
        """Send until cancelled."""
        async with asyncio.TaskGroup() as group:
            for name in self._channels:
                group.create_task(self._keep_sending(name), name=f"channel {name}")

    async def _keep_sending(self, name: str) -> None:
        loop = asyncio.get_running_loop()
        while True:
            self._wake[name].clear()
            try:
                some, pause = self._next(name, loop.time())
                if some:
                    await self._send(name, some)
                    continue
            except Exception:
                log.exception("channel %s: a fault of ours, it goes on", name)
                pause = IDLE_SECONDS
            try:
                async with asyncio.timeout(pause):
                    await self._wake[name].wait()
            except TimeoutError:
                pass

    def _next(self, name: str, now: float) -> tuple[list[Waiting], float]:
        """Choose what goes out next by a channel; else say how long there is nothing to do."""
        queue, bucket = self._waiting[name], self._buckets[name]
        tokens = bucket.fill(now)
        ready = sorted(
            (e for e in queue if e.not_before <= now),
            key=lambda e: (not e.message.urgent, e.row.tries, e.row.due_unix),
        )
        if ready and (ready[0].message.urgent or tokens >= 1.0):
            bucket.take()
            first = ready[0]
            if not first.held or first.alone or first.message.urgent:
                return [first], 0.0
            return [e for e in ready if e.held and not e.alone and e.row.person == first.row.person], 0.0
        for entry in ready:
            entry.held = True
        later = [e.not_before - now for e in queue if e.not_before > now]
        later += [(1.0 - tokens) / TOKENS_A_SECOND] if ready else []
        return [], max(0.05, min([IDLE_SECONDS, *later]))

    async def _send(self, name: str, some: list[Waiting]) -> None:
        """Send some messages as one, and take note of what became of it."""
        channel, message = self._channels[name], digest([entry.message for entry in some])
        fault = ""
        self._going[name] = some
        try:
            if channel.picture:
                message = replace(message, picture=self._map())
            async with asyncio.timeout(SEND_SECONDS):
                await channel.send(message)
        except ChannelError as error:
            fault = str(error)
        except TimeoutError:
            fault = "no end to it"
        except Exception as error:
            log.exception("channel %s: a fault of ours", name)
            fault = f"a fault of coldside: {type(error).__name__}"
        finally:
            self._going.pop(name, None)
        self._say(name, fault)
        for entry in some:
            self._settle_try(entry, fault, alone=len(some) > 1)

    def _settle_try(self, entry: Waiting, fault: str, *, alone: bool) -> None:
        queue = self._waiting[entry.row.channel]
        dropped = entry not in queue  # its call has ended, or a newer one took its place, while it was on its way
        row = replace(entry.row, tries=entry.row.tries + 1, error=fault)
        if not fault:
            if not dropped:
                queue.remove(entry)
            self._settle(replace(row, state="sent", sent_unix=self._now()))
        elif not dropped:
            entry.row = replace(row, state="failed")
            entry.alone = alone or entry.alone
            loop = asyncio.get_running_loop()
            entry.not_before = loop.time() + delay_seconds(row.tries - 1, self._random)
            self._settle(entry.row)

    def _say(self, name: str, fault: str) -> None:
        if fault and fault != self._faults.get(name):
            log.warning("channel %s takes no message: %s", name, fault)
        elif not fault and self._faults.get(name):
            log.info("channel %s takes messages again", name)
        self._faults[name] = fault

    def _map(self) -> bytes:
        try:
            return self._picture(self._snapshot())
        except Exception:
            log.exception("the map cannot be drawn, the message goes without it")
            return b""

    def test(self, person: str, wait_seconds: float) -> str:
        """Send a test by every channel of a person, of everybody where none is named; say why not."""
        people = [p for p in self._calling.people if person in ("", p.name)]
        if not people:
            known = ", ".join(p.name for p in self._calling.people)
            return f"there is no person {person!r} in the config; there is {known}"
        if not 1.0 <= wait_seconds <= LONGEST_TEST_SECONDS:
            return f"a test waits for 1 to {LONGEST_TEST_SECONDS:.0f} seconds"
        if self._test is not None:
            self._give_up_test("a newer test took its place")
        now, snapshot = self._now(), self._snapshot()
        self._test = Test(now, now + wait_seconds, {})
        for one in people:
            for name in one.channels:
                due = Due(0, 0, TEST, one.name, name, "test", now)
                message = self._composer.test(due, snapshot, wait_seconds)
                self._test.rows[message.id] = MessageRow(message.id, 0, 0, one.name, name, TEST, now, "")
                self._put(due, message)
        return ""

    def _give_up_test(self, why: str) -> None:
        for queue in self._waiting.values():
            for entry in [e for e in queue if e.row.word == TEST]:
                self._drop(entry, why)

    def prove(self) -> str | None:
        """Take an acknowledgement of the test; give the words for the record, None where no test stands."""
        test, now = self._test, self._now()
        if test is None or not test.stands(now):
            return None
        test.acknowledged_unix = self.proven_unix = now
        took = {f"{row.person} by {row.channel}" for row in test.rows.values() if row.state == "sent"}
        self._give_up_test("acknowledged")
        sent = f", sent to {', '.join(sorted(took))}" if took else ", before any channel took it"
        return f"a test was acknowledged after {now - test.began_unix:.0f} s{sent}"

    def test_trouble(self) -> TroubleView | None:
        """Show the test as a trouble while it can be acknowledged, so that every way to acknowledge has it."""
        if self._test is None or not self._test.stands(self._now()):
            return None
        return TroubleView(
            TEST, Priority.NOTE, AlarmState.UNACKNOWLEDGED, True, self._test.began_unix, "a test of the wake-up",
            "acknowledge it to prove that messages wake somebody", float("nan"), float("nan"), "", (),
        )  # fmt: skip

    @property
    def oldest_unix(self) -> float | None:
        """Since when somebody waits for a message that has not gone out; tests do not count. None: nobody does."""
        waits = [e.since_unix for queue in self._waiting.values() for e in queue if e.row.word != TEST]
        return min(waits, default=None)

    def view(self) -> CallsView:
        """Show how people are told."""
        test = self._test
        return CallsView(
            tuple(
                CallView(call.number, key, call.began_unix, _told(self._rows.get(call.number, {}).values()), call.held)
                for key, call in self._escalation.calls.items()
            ),
            None if test is None else CallView(
                0, TEST, test.began_unix, _told(test.rows.values()), (), test.acknowledged_unix
            ),
            sum(len(queue) for queue in self._waiting.values()),
            self.oldest_unix,
            tuple((name, fault) for name, fault in self._faults.items() if fault),
            self.proven_unix,
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
