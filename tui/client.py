"""The collector's feed over a WebSocket, as an endless iterator of messages; the way there is `tui.way`.

A link that closes is opened again for ever; only a collector of another version ends the iteration. aiohttp is
imported when the first link is opened, so that building a client costs nothing.
"""

import asyncio
import enum
import itertools
import time
from collections.abc import AsyncIterator
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Protocol

import msgspec

from adapters.backoff import delay_seconds
from collector import wire
from tui.errors import NoReply, NotConnected, VersionRefused
from tui.way import OPEN_SECONDS, Way, way_to

if TYPE_CHECKING:
    from aiohttp import ClientSession, ClientWebSocketResponse

__all__ = ["GREATEST_MESSAGE", "ClientLink", "ClientState", "CollectorClient", "Feed"]

REPLY_SECONDS = 5.0
GREATEST_MESSAGE = 64 * 1024 * 1024
"""A history of a day with a hundred probes is some 10 MB; what is far beyond is not from a collector."""


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
        self._channel: ClientWebSocketResponse | None = None

    async def __aiter__(self) -> AsyncIterator[wire.FromCollector]:
        """Yield every message but replies; open the link again whenever it closes.

        Raises:
            VersionRefused: the collector speaks another version.
        """
        import aiohttp

        attempt = 0
        async with aiohttp.ClientSession(connector=self.way.connector(), headers=self.way.headers) as session:
            while True:
                why, patience = "the collector closed the connection", 0.0
                try:
                    async for message in self._one_link(session):
                        attempt = 0
                        yield message
                except (aiohttp.ClientError, OSError, TimeoutError) as error:
                    why, patience = self.way.said(error), self.way.patience_seconds(error)
                except msgspec.DecodeError as error:
                    why = f"the collector sent what cannot be read: {error}"
                finally:
                    self._close(why)
                wait = delay_seconds(
                    attempt, self._random, first=self._first_delay_seconds, cap=self._greatest_delay_seconds
                )
                attempt += 1
                await asyncio.sleep(max(wait, patience))

    async def _one_link(self, session: "ClientSession") -> AsyncIterator[wire.FromCollector]:
        from aiohttp import WSMsgType

        async with asyncio.timeout(OPEN_SECONDS):
            channel = await session.ws_connect(
                self.way.url, heartbeat=self.way.heartbeat_seconds, max_msg_size=GREATEST_MESSAGE
            )
        async with channel:
            greeted = False
            async for frame in channel:
                if frame.type is not WSMsgType.BINARY:
                    continue
                message = wire.decode_news(frame.data)
                if isinstance(message, wire.Hello):
                    if message.version != wire.VERSION:
                        raise VersionRefused(message.version, wire.VERSION, message.coldside)
                    greeted = True
                    self._channel = channel
                    self.link = ClientLink(ClientState.UP, time.time())
                elif not greeted:
                    raise msgspec.DecodeError("no greeting")
                if isinstance(message, wire.Reply):
                    self._answer(message)
                else:
                    yield message

    def _close(self, why: str) -> None:
        self._channel = None
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
        if self._channel is None:
            raise NotConnected("not connected to the collector")
        number = next(self._numbers)
        waiting: asyncio.Future[wire.Reply] = asyncio.get_running_loop().create_future()
        self._waiting[number] = waiting
        try:
            async with asyncio.timeout(self._reply_seconds):
                await self._channel.send_bytes(wire.encode(msgspec.structs.replace(command, number=number)))
                return await waiting
        except TimeoutError as error:
            raise NoReply(f"the collector did not answer in {self._reply_seconds:g} s") from error
        except ConnectionError as error:
            raise NotConnected(f"the connection was lost: {error}") from error
        finally:
            self._waiting.pop(number, None)
