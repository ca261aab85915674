"""One dashboard over a WebSocket: what it is sent, and what it may ask.

This and `collector.serve.web` alone import aiohttp, and only once somebody attaches: a collector that nobody watches is
9 MB smaller and starts a quarter of a second sooner.
"""

import asyncio
import contextlib
import logging
import struct
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import TYPE_CHECKING

import msgspec
from aiohttp import WSCloseCode, WSMsgType, web

from collector import wire
from collector.version import VERSION as COLDSIDE

if TYPE_CHECKING:
    from collector.feed import Feed, Viewer

__all__ = ["ONLY_LOOK", "WebServer", "attend", "frame_head", "goodbye", "new_channel", "sending"]

log = logging.getLogger(__name__)

MAX_COMMAND_BYTES = 16 * 1024
HEARTBEAT_SECONDS = 20.0
ONLY_LOOK = "this token may only look; `coldside token add NAME --may act` makes one that may act"


class WebServer:
    """Answers on the feed's socket; calling it makes the protocol of one connection."""

    def __init__(self, feed: "Feed") -> None:
        self._feed = feed
        self._server = web.Server(self._answer, access_log=None)

    def __call__(self) -> asyncio.Protocol:
        """Make the protocol of one connection."""
        return self._server()

    async def close(self, timeout_seconds: float) -> None:
        """End all connections."""
        await self._server.shutdown(timeout_seconds)

    async def _answer(self, request: web.BaseRequest) -> web.StreamResponse:
        if request.path != "/feed" or request.method != "GET":
            return web.Response(status=404, text="there is only /feed here")
        if self._feed.full:
            return web.Response(status=503, text="too many dashboards are attached")
        channel = new_channel()
        await channel.prepare(request)
        await attend(channel, request.transport, self._feed, may_act=True)
        return channel


def new_channel() -> web.WebSocketResponse:
    """Make a channel for small commands that counts as gone without a heartbeat, and on which nothing piles up."""
    return web.WebSocketResponse(
        heartbeat=HEARTBEAT_SECONDS, max_msg_size=MAX_COMMAND_BYTES, compress=False, writer_limit=0
    )


async def attend(
    channel: web.WebSocketResponse, transport: asyncio.Transport | None, feed: "Feed", *, may_act: bool
) -> None:
    """Serve a dashboard until it goes: greeting, the trend so far, then whatever is newest; and what it asks."""
    if transport is not None:  # whoever sends waits for what is under way: what is late is left out, not piled up
        transport.set_write_buffer_limits(high=1, low=0)  # at 0 asyncio's TLS stops writing with nothing under way
    history = wire.History(feed.history())
    with feed.viewer(goodbye(channel), at_once=_at_once(channel, transport)) as viewer:
        async with sending(_send(channel, viewer, history)):
            await _listen(channel, feed, may_act=may_act)


def goodbye(channel: web.WebSocketResponse) -> Callable[[], Awaitable[None]]:
    """Make what tells a viewer that the collector stops."""

    async def leave() -> None:
        await channel.close(code=WSCloseCode.GOING_AWAY, message=b"the collector stops")

    return leave


def _at_once(channel: web.WebSocketResponse, transport: asyncio.Transport | None) -> Callable[[bytes], bool]:
    """Make what hands a message to the network; where a message before it still waits, it goes the long way.

    Under TLS what waits below the encryption is not seen, so there one message more may be under way.
    """

    def write(payload: bytes) -> bool:
        if transport is None or channel.closed or transport.is_closing() or transport.get_write_buffer_size():
            return False
        transport.write(frame_head(len(payload)) + payload)
        return True

    return write


def frame_head(length: int) -> bytes:
    """Begin a binary message of one frame, not masked, as servers send them (RFC 6455, 5.2)."""
    if length < 126:
        return struct.pack("!BB", 0x82, length)
    if length < 1 << 16:
        return struct.pack("!BBH", 0x82, 126, length)
    return struct.pack("!BBQ", 0x82, 127, length)


@contextlib.asynccontextmanager
async def sending(work: Awaitable[None]) -> AsyncIterator[None]:
    """Send to a viewer in the background, for as long as it is listened to."""
    task = asyncio.ensure_future(work)
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError, ConnectionError):
            await task


async def _listen(channel: web.WebSocketResponse, feed: "Feed", *, may_act: bool) -> None:
    async for message in channel:
        if message.type is not WSMsgType.BINARY:
            continue
        try:
            command = wire.decode_command(message.data)
        except msgspec.DecodeError as error:
            log.warning("a dashboard sent what this version does not know: %s", error)
            continue
        if may_act or isinstance(command, wire.AskRules):
            reply = feed.answer(command)
        else:
            reply = wire.Reply(command.number, done=False, why=ONLY_LOOK)
        await channel.send_bytes(wire.encode(reply))


async def _send(channel: web.WebSocketResponse, viewer: "Viewer", history: wire.History) -> None:
    """Greet, tell the trend so far, then whatever is newest whenever there is something new."""
    await channel.send_bytes(wire.encode(wire.Hello(wire.VERSION, COLDSIDE)))
    await channel.send_bytes(wire.encode(history))
    while True:
        viewer.waits = True
        await viewer.wake.wait()
        viewer.wake.clear()
        viewer.waits = False
        if viewer.trend:
            fresh = wire.Trend(tuple(viewer.trend))
            viewer.trend.clear()
            await channel.send_bytes(wire.encode(fresh))
        payload, viewer.snapshot = viewer.snapshot, None
        if payload is not None:
            await channel.send_bytes(payload)
