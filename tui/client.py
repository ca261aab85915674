"""The collector's feed as an endless iterator of messages; the way there is `tui.way`.

A link that closes is opened again for ever; only a collector of another version, or a way that could never be used,
ends the iteration.
"""

import asyncio
import enum
import itertools
import time
from collections.abc import AsyncGenerator, AsyncIterator
from contextlib import aclosing
from pathlib import Path
from random import Random
from typing import Protocol

import msgspec

from adapters.backoff import delay_seconds
from collector import wire
from tui.errors import LinkEnded, NoReply, NotConnected, VersionRefused, WayError
from tui.way import Link, Way, way_to

__all__ = ["ClientLink", "ClientState", "CollectorClient", "Feed"]

REPLY_SECONDS = 5.0
CLOSED = "the collector closed the connection"


class ClientState(enum.StrEnum):
    """How the way to the collector stands."""

    CONNECTING = "connecting"
    """Never been up so far."""
    UP = "up"
    LOST = "lost"


class ClientLink(msgspec.Struct, frozen=True):
    """The way to the collector."""

    state: ClientState
    since_unix: float
    """When it came to stand so."""
    why: str = ""
    """What closed it, or keeps it closed; empty while up."""


class Feed(Protocol):
    """What a dashboard needs of a client."""

    @property
    def link(self) -> ClientLink:
        """How the way to the collector stands."""

    def __aiter__(self) -> AsyncIterator[wire.FromCollector]:
        """Yield what the collector says.

        Raises:
            VersionRefused: the collector speaks another version.
        """

    async def send(self, command: wire.Command) -> wire.Reply:
        """Carry a command to the collector and wait for what became of it.

        Raises:
            NotConnected: there is no link now.
            NoReply: no answer in time.
        """


class CollectorClient:
    """Reads the feed of one collector and sends it commands.

    Args:
        way: to the collector; a path is that of its unix socket.
        reply_seconds: how long to wait for the reply to a command.
        first_delay_seconds: first wait before trying again, see `adapters.backoff`.
        greatest_delay_seconds: greatest wait.
        random: jitters the waits.
    """

    def __init__(
        self,
        way: Way | Path | str,
        *,
        reply_seconds: float = REPLY_SECONDS,
        first_delay_seconds: float = 0.5,
        greatest_delay_seconds: float = 5.0,
        random: Random | None = None,
    ) -> None:
        self.way = way_to(way)
        self.link = ClientLink(ClientState.CONNECTING, time.time())
        self._reply_seconds = reply_seconds
        self._first_delay_seconds = first_delay_seconds
        self._greatest_delay_seconds = greatest_delay_seconds
        self._random = random or Random()
        self._numbers = itertools.count(1)
        self._waiting: dict[int, asyncio.Future[wire.Reply]] = {}
        self._open: Link | None = None

    async def __aiter__(self) -> AsyncIterator[wire.FromCollector]:
        """Yield every message but replies; open the link again whenever it closes.

        Raises:
            VersionRefused: the collector speaks another version.
            WayError: the way there could not be used the first time.
        """
        attempt = 0
        while True:
            why, patience = CLOSED, 0.0
            try:
                async with aclosing(self._one_link()) as coming:
                    async for message in coming:
                        attempt = 0
                        yield message
            except LinkEnded as error:
                why, patience = str(error), error.patience_seconds
            except WayError as error:  # a file of authorities, say, that was there and is away now
                if self.link.state is ClientState.CONNECTING:
                    raise
                why = str(error)
            except msgspec.DecodeError as error:
                why = f"the collector sent what cannot be read: {error}"
            finally:
                self._close(why)
            wait = delay_seconds(
                attempt, self._random, first=self._first_delay_seconds, cap=self._greatest_delay_seconds
            )
            attempt += 1
            await asyncio.sleep(max(wait, patience))

    async def _one_link(self) -> AsyncGenerator[wire.FromCollector, None]:
        async with self.way.open() as link:
            greeted = False
            async for payload in link:
                message = wire.decode_news(payload)
                if isinstance(message, wire.Goodbye):
                    raise LinkEnded(message.why)
                if isinstance(message, wire.Hello):
                    if message.version != wire.VERSION:
                        raise VersionRefused(message.version, wire.VERSION, message.coldside)
                    greeted = True
                    self._open = link
                    self.link = ClientLink(ClientState.UP, time.time())
                elif not greeted:
                    raise msgspec.DecodeError("no greeting")
                if isinstance(message, wire.Reply):
                    self._answer(message)
                else:
                    yield message

    def _close(self, why: str) -> None:
        self._open = None
        for waiting in self._waiting.values():
            if not waiting.done():
                waiting.set_exception(NotConnected("the connection was lost before the collector answered"))
        self._waiting.clear()
        if self.link.state is ClientState.UP:
            self.link = ClientLink(ClientState.LOST, time.time(), why)
        else:
            self.link = ClientLink(self.link.state, self.link.since_unix, why)

    def _answer(self, reply: wire.Reply) -> None:
        waiting = self._waiting.get(reply.number)
        if waiting is not None and not waiting.done():
            waiting.set_result(reply)

    async def send(self, command: wire.Command) -> wire.Reply:
        """Send a command, under a number of its own, and wait for what became of it.

        Raises:
            NotConnected: there is no link now, or it closed before the answer.
            NoReply: no answer in time; it may or may not have been carried out.
        """
        if self._open is None:
            raise NotConnected("not connected to the collector")
        number = next(self._numbers)
        waiting: asyncio.Future[wire.Reply] = asyncio.get_running_loop().create_future()
        self._waiting[number] = waiting
        try:
            async with asyncio.timeout(self._reply_seconds):
                await self._open.send(wire.encode(msgspec.structs.replace(command, number=number)))
                return await waiting
        except TimeoutError as error:
            raise NoReply(f"the collector did not answer in {self._reply_seconds:g} s") from error
        except ConnectionError as error:
            raise NotConnected(f"the connection was lost: {error}") from error
        finally:
            self._waiting.pop(number, None)
