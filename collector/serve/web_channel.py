"""Messages over a WebSocket (RFC 6455), as dashboards on other machines hear them."""

import asyncio
import struct
from collections.abc import AsyncIterator

from aiohttp import WSCloseCode, WSMsgType, web

from collector.attach import GREATEST_COMMAND_BYTES

__all__ = ["WebChannel", "frame_head", "new_socket"]

HEARTBEAT_SECONDS = 20.0


def new_socket() -> web.WebSocketResponse:
    """Make a WebSocket for small messages that counts as gone without a heartbeat, and on which nothing piles up."""
    return web.WebSocketResponse(
        heartbeat=HEARTBEAT_SECONDS, max_msg_size=GREATEST_COMMAND_BYTES, compress=False, writer_limit=0
    )


class WebChannel:
    """Binary messages over a WebSocket that is open; see `collector.channel.Channel`.

    Under TLS what waits below the encryption is not seen, so there one message more may be under way.
    """

    def __init__(self, socket: web.WebSocketResponse, transport: asyncio.Transport | None) -> None:
        self._socket = socket
        self._transport = transport
        if transport is not None:  # whoever sends waits for what is under way: what is late is left out, not piled up
            transport.set_write_buffer_limits(high=1, low=0)  # at 0 asyncio's TLS stops with nothing under way

    def at_once(self, payload: bytes) -> bool:
        """Hand a message to the network where nothing before it waits there; tell whether it was."""
        transport = self._transport
        if transport is None or self._socket.closed or transport.is_closing() or transport.get_write_buffer_size():
            return False
        transport.write(frame_head(len(payload)) + payload)
        return True

    async def send(self, payload: bytes) -> None:
        """Send a message, and wait until it is under way.

        Raises:
            ConnectionError: the other side is gone.
        """
        await self._socket.send_bytes(payload)

    async def __aiter__(self) -> AsyncIterator[bytes]:
        """Yield what the other side sends until it is gone; text is none of ours."""
        async for message in self._socket:
            if message.type is WSMsgType.BINARY:
                yield message.data

    async def close(self, why: str) -> None:
        """End it."""
        await self._socket.close(code=WSCloseCode.GOING_AWAY, message=why.encode())


def frame_head(length: int) -> bytes:
    """Begin a binary message of one frame, not masked, as servers send them (RFC 6455, 5.2)."""
    if length < 126:
        return struct.pack("!BB", 0x82, length)
    if length < 1 << 16:
        return struct.pack("!BBH", 0x82, 126, length)
    return struct.pack("!BBQ", 0x82, 127, length)
