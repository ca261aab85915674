"""The newest snapshot to any number of dashboards, over a WebSocket on a unix socket.

A viewer that reads slowly gets fewer snapshots, never late ones: each has room for one, and the newest replaces it.
"""

import asyncio
import contextlib
import logging
import os
from collections import deque
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path

import msgspec
from aiohttp import WSCloseCode, WSMsgType, web

from collector import wire
from collector.errors import ServeError
from collector.snapshot import Snapshot, TrendPoint

__all__ = ["Feed"]

log = logging.getLogger(__name__)

HISTORY_POINTS = 12 * 360
"""Twelve hours at one point every ten seconds."""
MAX_VIEWERS = 64
GOODBYE_SECONDS = 0.5
MAX_COMMAND_BYTES = 16 * 1024


class _Viewer:
    """What waits for one dashboard."""

    def __init__(self, channel: web.WebSocketResponse) -> None:
        self.channel = channel
        self.wake = asyncio.Event()
        self.snapshot: bytes | None = None
        self.trend: deque[TrendPoint] = deque(maxlen=HISTORY_POINTS)


class Feed:
    """Serves dashboards.

    Args:
        command: carries out what a dashboard asks; returns why not, empty when done.
        snapshot: shows the cook now, for a dashboard that attaches.
    """

    def __init__(self, command: Callable[[wire.Command], str], snapshot: Callable[[], Snapshot]) -> None:
        self._command = command
        self._snapshot = snapshot
        self._viewers: set[_Viewer] = set()
        self.history: deque[TrendPoint] = deque(maxlen=HISTORY_POINTS)
        self._runner: web.AppRunner | None = None

    @property
    def watched(self) -> bool:
        """Whether any dashboard is attached: nobody needs a snapshot otherwise."""
        return bool(self._viewers)

    def add_trend(self, point: TrendPoint) -> None:
        """Add a row to the history and to what each viewer gets next."""
        self.history.append(point)
        for viewer in self._viewers:
            viewer.trend.append(point)

    def publish(self, snapshot: Snapshot) -> None:
        """Give every viewer this snapshot in place of the one it has not read yet."""
        news = wire.encode(wire.News(snapshot))
        for viewer in self._viewers:
            viewer.snapshot = news
            viewer.wake.set()

    async def open(self, socket: Path) -> None:
        """Listen on a unix socket that the owner and the group may use.

        Raises:
            ServeError: the socket cannot be made.
        """
        app = web.Application()
        app.router.add_get("/feed", self._attach)
        self._runner = web.AppRunner(app, access_log=None, handle_signals=False, shutdown_timeout=GOODBYE_SECONDS)
        await self._runner.setup()
        mask = os.umask(0o117)
        try:
            _clear(socket)
            await web.UnixSite(self._runner, str(socket)).start()
        except OSError as error:
            raise ServeError(f"{socket}: dashboards cannot attach here: {error.strerror or error}") from error
        finally:
            os.umask(mask)
        self._socket = socket

    async def close(self) -> None:
        """Let all viewers go and take the socket away."""
        for viewer in list(self._viewers):
            with contextlib.suppress(TimeoutError, ConnectionError):
                async with asyncio.timeout(GOODBYE_SECONDS):
                    await viewer.channel.close(code=WSCloseCode.GOING_AWAY, message=b"the collector stops")
        if self._runner is not None:
            await self._runner.cleanup()
            with contextlib.suppress(OSError, AttributeError):
                self._socket.unlink(missing_ok=True)

    async def _attach(self, request: web.Request) -> web.StreamResponse:
        if len(self._viewers) >= MAX_VIEWERS:
            return web.Response(status=503, text="too many dashboards are attached")
        channel = web.WebSocketResponse(heartbeat=20.0, max_msg_size=MAX_COMMAND_BYTES, compress=False)
        await channel.prepare(request)
        viewer = _Viewer(channel)
        viewer.snapshot = wire.encode(wire.News(self._snapshot()))
        viewer.wake.set()
        history = wire.History(tuple(self.history))
        self._viewers.add(viewer)
        sending = asyncio.create_task(self._send(channel, viewer, history), name="feed to a dashboard")
        try:
            await self._listen(channel)
        finally:
            self._viewers.discard(viewer)
            sending.cancel()
            with contextlib.suppress(asyncio.CancelledError, ConnectionError):
                await sending
        return channel

    async def _send(self, channel: web.WebSocketResponse, viewer: _Viewer, history: wire.History) -> None:
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

    async def _listen(self, channel: web.WebSocketResponse) -> None:
        async for message in channel:
            if message.type is not WSMsgType.BINARY:
                continue
            try:
                command = wire.decode_command(message.data)
            except msgspec.DecodeError as error:
                log.warning("a dashboard sent what this version does not know: %s", error)
                continue
            why = self._command(command)
            await channel.send_bytes(wire.encode(wire.Reply(command.number, not why, why)))


def _clear(socket: Path) -> None:
    """Make room for the socket: a collector that was killed leaves its own behind. The store's lock guards the rest."""
    mask = os.umask(0o027)
    try:
        socket.parent.mkdir(parents=True, exist_ok=True)
        socket.unlink(missing_ok=True)
    finally:
        os.umask(mask)
