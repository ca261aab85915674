"""Sends what waits, by a worker a channel, so that one that hangs holds up no other.

A channel takes what is urgent at once and the rest by a token bucket; what had to wait goes out as one digest a person.
"""

import asyncio
import logging
import re
from collections.abc import Callable, Mapping
from random import Random

import msgspec
from msgspec.structs import replace

from adapters.backoff import delay_seconds
from collector.calls.bucket import TOKENS_A_SECOND, Bucket
from collector.calls.channels import Channel, ChannelError
from collector.calls.message import Message, digest, with_link
from collector.calls.record import MessageRow

__all__ = ["MOST_WAITING", "Sending", "Waiting"]

log = logging.getLogger(__name__)

SEND_SECONDS = 130.0
"""Beyond every channel's own time-out: what takes longer is our fault, and given up."""
MOST_WAITING = 500
"""A channel keeps no more; the oldest that is not urgent goes first."""
SECRET = re.compile(r"[\w-]{40,}")
"""A link's token, should a program say again what it was told."""
IDLE_SECONDS = 5.0
"""An idle worker looks by itself this often."""


class Waiting(msgspec.Struct):
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
    stale: bool = False
    """Its words are those of a run before: it waits until they are written anew."""


class Sending:
    """The queues of all channels, and who empties them.

    Args:
        channels: by name.
        now: tells the cook's time.
        settle: takes note how a message stands.
        picture: draws the map as it stands now.
        link_of: gives the link that acknowledges what a message tells; empty: there is none.
        random: jitters the waits.
    """

    def __init__(
        self,
        channels: Mapping[str, Channel],
        *,
        now: Callable[[], float],
        settle: Callable[[MessageRow], None],
        picture: Callable[[], bytes],
        link_of: Callable[[MessageRow], str],
        random: Random,
    ) -> None:
        self.channels = dict(channels)
        self._now, self._settle, self._picture, self._random = now, settle, picture, random
        self._link_of = link_of
        self.waiting: dict[str, list[Waiting]] = {name: [] for name in channels}
        self.buckets = {name: Bucket() for name in channels}
        self.wake = {name: asyncio.Event() for name in channels}
        self.going: dict[str, list[Waiting]] = {}
        """What is on its way now, by channel."""
        self.faults: dict[str, str] = {}
        """Why a channel did not take the last message, empty where it did."""

    def entries(self) -> list[Waiting]:
        """List all that wait."""
        return [entry for queue in self.waiting.values() for entry in queue]

    def put(self, entry: Waiting) -> None:
        """Put a message into its channel's queue."""
        queue = self.waiting[entry.row.channel]
        if len(queue) >= MOST_WAITING:
            self.drop(min(queue, key=lambda e: (e.message.urgent, e.since_unix)), "too many wait")
        queue.append(entry)
        self._settle(entry.row)
        self.wake[entry.row.channel].set()

    def drop(self, entry: Waiting, why: str) -> None:
        """Give a message up."""
        queue = self.waiting[entry.row.channel]
        if entry in queue:
            queue.remove(entry)
        error = f"{why}; {entry.row.error}" if entry.row.error else why
        self._settle(replace(entry.row, state="given up", error=error))

    async def run(self) -> None:
        """Send until cancelled."""
        async with asyncio.TaskGroup() as group:
            for name in self.channels:
                group.create_task(self._keep_sending(name), name=f"channel {name}")

    async def _keep_sending(self, name: str) -> None:
        loop = asyncio.get_running_loop()
        while True:
            self.wake[name].clear()
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
                    await self.wake[name].wait()
            except TimeoutError:
                pass

    def _next(self, name: str, now: float) -> tuple[list[Waiting], float]:
        """Choose what goes out next by a channel; else say how long there is nothing to do."""
        queue, bucket = self.waiting[name], self.buckets[name]
        tokens = bucket.fill(now)
        ready = sorted(
            (e for e in queue if e.not_before <= now and not e.stale),
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
        channel, fault = self.channels[name], ""
        self.going[name] = some
        try:
            message = digest([self._ready(entry) if channel.link else entry.message for entry in some])
            if channel.picture:
                message = replace(message, picture=self._map())
            async with asyncio.timeout(SEND_SECONDS):
                await channel.send(message)
        except ChannelError as error:
            fault = SECRET.sub("...", str(error))
        except TimeoutError:
            fault = "no end to it"
        except Exception as error:
            log.exception("channel %s: a fault of ours", name)
            fault = f"a fault of coldside: {type(error).__name__}"
        finally:
            self.going.pop(name, None)
        self._say(name, fault)
        for entry in some:
            self._settle_try(entry, fault, alone=len(some) > 1)

    def _ready(self, entry: Waiting) -> Message:
        link = self._link_of(entry.row)
        return with_link(entry.message, link) if link else entry.message

    def _settle_try(self, entry: Waiting, fault: str, *, alone: bool) -> None:
        queue = self.waiting[entry.row.channel]
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
        if fault and fault != self.faults.get(name):
            log.warning("channel %s takes no message: %s", name, fault)
        elif not fault and self.faults.get(name):
            log.info("channel %s takes messages again", name)
        self.faults[name] = fault

    def _map(self) -> bytes:
        try:
            return self._picture()
        except Exception:
            log.exception("the map cannot be drawn, the message goes without it")
            return b""
