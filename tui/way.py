"""The way to a collector of this machine: its unix socket. The one to others is `tui.remote_way`."""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from contextlib import AbstractAsyncContextManager
from pathlib import Path
from typing import Protocol

import msgspec

from collector.channel import StreamChannel, StreamError
from tui.errors import LinkEnded

__all__ = ["GREATEST_MESSAGE_BYTES", "OPEN_SECONDS", "Link", "SocketWay", "Way", "way_to"]

OPEN_SECONDS = 10.0
GREATEST_MESSAGE_BYTES = 64 * 1024 * 1024
"""A history of a day with a hundred probes is some 10 MB; what is far beyond is not from a collector."""
READ_AHEAD_BYTES = 1024 * 1024
SILENCE_SECONDS = 10.0
"""A collector shows its cook every second: one that says nothing for so long hangs."""


class Link(Protocol):
    """An open way."""

    async def send(self, payload: bytes) -> None:
        """Send a message.

        Raises:
            ConnectionError: the collector is gone.
        """

    def __aiter__(self) -> AsyncIterator[bytes]:
        """Yield what the collector sends, until it closes.

        Raises:
            LinkEnded: it ended otherwise.
        """


class Way(Protocol):
    """How a collector is reached."""

    def open(self) -> AbstractAsyncContextManager[Link]:
        """Open the way, and close it after use.

        Raises:
            LinkEnded: the collector cannot be had.
            WayError: what it is verified by cannot be used.
        """


class SocketWay(msgspec.Struct, frozen=True):
    """A unix socket on this machine."""

    path: Path

    def __str__(self) -> str:
        return str(self.path)

    @contextlib.asynccontextmanager
    async def open(self) -> AsyncIterator["SocketLink"]:
        """Open the socket.

        Raises:
            LinkEnded: nobody serves there, or not to us.
        """
        try:
            async with asyncio.timeout(OPEN_SECONDS):
                reader, writer = await asyncio.open_unix_connection(self.path, limit=READ_AHEAD_BYTES)
        except (FileNotFoundError, ConnectionRefusedError) as error:
            raise LinkEnded(f"no collector answers at {self}", advice="is `coldside collect` running?") from error
        except PermissionError as error:
            raise LinkEnded(f"not allowed to use {self}") from error
        except TimeoutError as error:
            raise LinkEnded(f"the collector at {self} does not answer") from error
        except OSError as error:
            raise LinkEnded(f"{self}: {error.strerror or error}") from error
        channel = StreamChannel(
            reader, writer, greatest_bytes=GREATEST_MESSAGE_BYTES, silence_seconds=SILENCE_SECONDS
        )  # fmt: skip
        try:
            yield SocketLink(channel, self)
        finally:
            await channel.close()


class SocketLink:
    """Messages over the socket."""

    def __init__(self, channel: StreamChannel, way: SocketWay) -> None:
        self._channel = channel
        self._way = way

    async def send(self, payload: bytes) -> None:
        """Send a message.

        Raises:
            ConnectionError: the collector is gone, or reads nothing.
        """
        await self._channel.send(payload)

    async def __aiter__(self) -> AsyncIterator[bytes]:
        """Yield what the collector sends, until it closes.

        Raises:
            LinkEnded: it says nothing any more, or what no collector says.
        """
        greeted = False
        try:
            async for payload in self._channel:
                greeted = True
                yield payload
        except StreamError as error:
            raise LinkEnded(f"what answers at {self._way} is no collector of this version: {error}") from error
        except TimeoutError as error:
            older = "" if greeted else "; if an older coldside still runs there, start it again"
            raise LinkEnded(f"the collector at {self._way} does not answer{older}") from error
        except OSError as error:
            raise LinkEnded(f"{self._way}: {error.strerror or error}") from error


def way_to(socket: "Way | Path | str") -> Way:
    """Make a way of what may be the path of a socket."""
    return SocketWay(Path(socket)) if isinstance(socket, Path | str) else socket
