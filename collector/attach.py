"""One dashboard: what it is sent, and what it may ask, whichever way it came (`collector.channel`)."""

import asyncio
import contextlib
import logging
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import TYPE_CHECKING

import msgspec

from adapters.text import clean_text
from collector import wire
from collector.channel import StreamError
from collector.version import VERSION as COLDSIDE

if TYPE_CHECKING:
    from collector.channel import Channel
    from collector.feed import Feed, Viewer

__all__ = ["GREATEST_COMMAND_BYTES", "ONLY_LOOK", "STOPS", "TOO_MANY", "attend", "sending"]

log = logging.getLogger(__name__)

GREATEST_COMMAND_BYTES = 16 * 1024
ONLY_LOOK = "this token may only look; `coldside token add NAME --may act` makes one that may act"
STOPS = "the collector stops"
TOO_MANY = "too many dashboards are attached"
MOST_STRANGE = 10
"""Messages that cannot be read, after which the link is ended: an older dashboard sends few of them."""


async def attend(channel: "Channel", feed: "Feed", *, may_act: bool) -> None:
    """Serve a dashboard until it goes: greeting, the trend so far, then whatever is newest; and what it asks.

    Raises:
        StreamError: it sent what no dashboard sends.
        OSError: the way to it failed.
    """
    with feed.viewer(_goodbye(channel), at_once=channel.at_once) as viewer:
        async with sending(_send(channel, viewer, feed)):
            await _listen(channel, feed, may_act=may_act)


def _goodbye(channel: "Channel") -> Callable[[], Awaitable[None]]:
    """Make what tells a viewer that the collector stops."""

    async def leave() -> None:
        await channel.send(wire.encode(wire.Goodbye(STOPS)))
        await channel.close(STOPS)

    return leave


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


async def _listen(channel: "Channel", feed: "Feed", *, may_act: bool) -> None:
    strange = 0
    async for payload in channel:
        try:
            command = wire.decode_command(payload)
        except msgspec.DecodeError as error:
            strange += 1
            log.warning("a dashboard sent what this version does not know: %s", clean_text(str(error), 200))
            if strange >= MOST_STRANGE:
                raise StreamError("it keeps sending what this version does not know") from error
            continue
        if may_act or isinstance(command, wire.AskRules):
            reply = feed.answer(command)
        else:
            reply = wire.Reply(command.number, done=False, why=ONLY_LOOK)
        await channel.send(wire.encode(reply))


async def _send(channel: "Channel", viewer: "Viewer", feed: "Feed") -> None:
    """Greet, tell the trend so far, then whatever is newest whenever there is something new."""
    await channel.send(wire.encode(wire.Hello(wire.VERSION, COLDSIDE)))
    viewer.trend.clear()  # it is in the history
    await channel.send(wire.encode(wire.History(feed.history())))
    while True:
        viewer.waits = True
        await viewer.wake.wait()
        viewer.wake.clear()
        viewer.waits = False
        if viewer.trend:
            fresh = wire.Trend(tuple(viewer.trend))
            viewer.trend.clear()
            await channel.send(wire.encode(fresh))
        payload, viewer.snapshot = viewer.snapshot, None
        if payload is not None:
            await channel.send(payload)
