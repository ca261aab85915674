"""One dashboard over a WebSocket: what it is sent, and what it may ask.

The only module that imports aiohttp, and only once somebody attaches: a collector that nobody watches is 9 MB smaller
and starts a quarter of a second sooner.
"""

import asyncio
import contextlib
import logging
from importlib.metadata import version
from typing import TYPE_CHECKING

import msgspec
from aiohttp import WSCloseCode, WSMsgType, web

from collector import wire

if TYPE_CHECKING:
    from collector.feed import Feed, Viewer

__all__ = ["WebServer"]

log = logging.getLogger(__name__)

MAX_COMMAND_BYTES = 16 * 1024
HEARTBEAT_SECONDS = 20.0


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
        channel = web.WebSocketResponse(heartbeat=HEARTBEAT_SECONDS, max_msg_size=MAX_COMMAND_BYTES, compress=False)
        await channel.prepare(request)

        async def leave() -> None:
            await channel.close(code=WSCloseCode.GOING_AWAY, message=b"the collector stops")

        history = wire.History(self._feed.history())
        with self._feed.viewer(leave) as viewer:
            sending = asyncio.create_task(_send(channel, viewer, history), name="feed to a dashboard")
            try:
                await self._listen(channel)
            finally:
                sending.cancel()
                with contextlib.suppress(asyncio.CancelledError, ConnectionError):
                    await sending
        return channel

    async def _listen(self, channel: web.WebSocketResponse) -> None:
        async for message in channel:
            if message.type is not WSMsgType.BINARY:
                continue
            try:
                command = wire.decode_command(message.data)
            except msgspec.DecodeError as error:
                log.warning("a dashboard sent what this version does not know: %s", error)
                continue
            await channel.send_bytes(wire.encode(self._feed.answer(command)))


async def _send(channel: web.WebSocketResponse, viewer: "Viewer", history: wire.History) -> None:
    """Greet, tell the trend so far, then whatever is newest whenever there is something new."""
    await channel.send_bytes(wire.encode(wire.Hello(wire.VERSION, version("coldside"))))
    await channel.send_bytes(wire.encode(history))
    while True:
        await viewer.wake.wait()
        viewer.wake.clear()
        if viewer.trend:
            fresh = wire.Trend(tuple(viewer.trend))
            viewer.trend.clear()
            await channel.send_bytes(wire.encode(fresh))
        payload, viewer.snapshot = viewer.snapshot, None
        if payload is not None:
            await channel.send_bytes(payload)
