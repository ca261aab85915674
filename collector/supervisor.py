"""Keeps a source alive: opens its link again and again, for as long as the collector runs."""

import asyncio
import logging
from collections.abc import Awaitable, Callable
from random import Random

import msgspec

from adapters.backoff import delay_seconds
from adapters.errors import LinkError, LinkReason
from adapters.reading import Reading
from adapters.source import LinkState, Source

__all__ = ["Supervision", "supervise"]

log = logging.getLogger(__name__)

HEALTHY_SECONDS = 60.0
"""A link that stood this long starts the backoff anew."""
UNREACHABLE_CAP_SECONDS, CAP_SECONDS = 5.0, 30.0
"""Greatest wait before the next attempt. To knock where nobody answers costs nobody anything."""
LOOK_SECONDS = 0.5


class Supervision(msgspec.Struct):
    """How the supervised source has fared."""

    source: Source
    restarts: int = 0
    fault: str = ""
    """An error nobody expected, in words; it is in the log with its traceback."""
    last_heard_unix: float | None = None


async def supervise(
    watched: Supervision,
    take: Callable[[Reading], bool],
    room: Callable[[], Awaitable[None]],
    *,
    random: Random,
    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
) -> None:
    """Iterate a source for ever, handing each reading to `take`; return only when it has ended for good.

    Args:
        watched: the source and its record.
        take: gets each reading; returns whether there is room for another.
        room: waits until there is.
        random: for the jitter of the backoff.
        sleep: how to wait.
    """
    loop = asyncio.get_running_loop()
    attempt = 0
    cap = CAP_SECONDS
    while True:
        began = loop.time()
        telling = asyncio.create_task(_tell_when_up(watched), name="tell when up") if watched.restarts else None
        try:
            await _drain(watched, take, room)
            if watched.source.link.state is LinkState.ENDED:
                return
            cap = CAP_SECONDS
            log.info("source %s: the link closed", watched.source.name, extra={"peer": watched.source.name})
        except LinkError as error:
            cap = UNREACHABLE_CAP_SECONDS if error.reason is LinkReason.UNREACHABLE else CAP_SECONDS
            log.warning("source %s: %s", watched.source.name, error, extra={"peer": watched.source.name})
        except Exception as error:
            watched.fault = f"{type(error).__name__}: {error}"
            log.exception("source %s: a fault in the adapter, it is started again", watched.source.name)
        finally:
            if telling is not None:
                telling.cancel()
        attempt = 0 if loop.time() - began > HEALTHY_SECONDS else attempt
        await sleep(delay_seconds(attempt, random, cap=cap))
        attempt += 1
        watched.restarts += 1


async def _tell_when_up(watched: Supervision) -> None:
    while watched.source.link.state is not LinkState.UP:  # noqa: ASYNC110 - a source tells nobody of its link
        await asyncio.sleep(LOOK_SECONDS)
    log.info("source %s is connected again", watched.source.name)


async def _drain(watched: Supervision, take: Callable[[Reading], bool], room: Callable[[], Awaitable[None]]) -> None:
    """Hand on one life of the link.

    Readings of one message (one receipt) go in without a pause between them: a commit in the middle of a message
    would make its redelivery look like a repeat though half of it is not on record.
    """
    message: int | None = None
    full = False
    async for reading in watched.source:
        if full and (reading.receipt is None or reading.receipt != message):
            await room()
            full = False
        watched.fault = ""
        watched.last_heard_unix = reading.received_unix
        message = reading.receipt
        full = not take(reading) or full
