"""How a collector and a dashboard hand messages to each other, and how they do over a unix socket.

There a message is a frame: four bytes, the greatest first, say how long it is, then it comes. From another machine it
is a WebSocket (`collector.serve.web_channel`, `tui.remote_way`), whose library nobody on this machine has to load.
"""

import asyncio
import struct
from collections.abc import AsyncIterator
from typing import Protocol

__all__ = ["HEAD_BYTES", "Channel", "StreamChannel", "StreamError", "frame_of"]

_HEAD = struct.Struct("!I")
HEAD_BYTES = _HEAD.size
PATIENCE_SECONDS = 20.0
"""So long the other side may read nothing while something is sent to it."""


class StreamError(Exception):
    """What comes in is not made of our frames."""


class Channel(Protocol):
    """Carries whole messages both ways."""

    def at_once(self, payload: bytes) -> bool:
        """Hand a message to the network where nothing before it waits there; tell whether it was."""

    async def send(self, payload: bytes) -> None:
        """Send a message, and wait until it is under way.

        Raises:
            ConnectionError: the other side is gone.
        """

    def __aiter__(self) -> AsyncIterator[bytes]:
        """Yield what the other side sends until it is gone."""

    async def close(self, why: str) -> None:
        """End it; `why` is told where the way has words for it."""


def frame_of(payload: bytes) -> bytes:
    """Make the frame of a message."""
    return _HEAD.pack(len(payload)) + payload


class StreamChannel:
    """Frames over a stream.

    Args:
        reader: what comes in.
        writer: what goes out.
        greatest_bytes: no message that comes in may be longer.
        silence_seconds: the other side says something at least so often; None: it need not.
    """

    def __init__(
        self,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        *,
        greatest_bytes: int,
        silence_seconds: float | None = None,
    ) -> None:
        self._reader = reader
        self._writer = writer
        self._transport: asyncio.WriteTransport = writer.transport
        self._greatest_bytes = greatest_bytes
        self._silence_seconds = silence_seconds
        self._transport.set_write_buffer_limits(high=0)  # who sends waits for what is under way: nothing piles up

    def at_once(self, payload: bytes) -> bool:
        """Hand a message to the system where nothing before it waits; tell whether it was."""
        if self._transport.is_closing() or self._transport.get_write_buffer_size():
            return False
        self._transport.write(frame_of(payload))
        return True

    async def send(self, payload: bytes) -> None:
        """Send a message, and wait until the system has taken it.

        Raises:
            ConnectionError: the other side is gone, or has read nothing for too long.
        """
        self._writer.write(frame_of(payload))
        try:
            async with asyncio.timeout(PATIENCE_SECONDS):
                await self._writer.drain()
        except TimeoutError as error:
            self._transport.abort()
            raise ConnectionAbortedError("it reads nothing") from error

    async def __aiter__(self) -> AsyncIterator[bytes]:
        """Yield what the other side sends until it is gone.

        Raises:
            StreamError: a message is too long to be one.
            TimeoutError: nothing was said for too long.
            OSError: the stream failed.
        """
        while True:
            try:
                async with asyncio.timeout(self._silence_seconds):
                    (length,) = _HEAD.unpack(await self._reader.readexactly(HEAD_BYTES))
                    if length > self._greatest_bytes:
                        raise StreamError(f"a message of {length} bytes")
                    payload = await self._reader.readexactly(length)
            except (asyncio.IncompleteReadError, ConnectionError):
                return
            yield payload

    def abort(self) -> None:
        """End it at once; what is under way is lost."""
        self._transport.abort()

    async def close(self, why: str = "") -> None:  # noqa: ARG002 - there are no words for it on the way itself
        """End it; what is under way still goes out."""
        self._writer.close()
