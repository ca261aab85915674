"""One question to the collector, without a dashboard: its newest snapshot, or what became of a command."""

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator
from contextlib import aclosing, asynccontextmanager
from pathlib import Path

import msgspec

from collector import wire
from collector.snapshot import RuleView, Snapshot
from tui.errors import LinkEnded
from tui.way import Link, Way, way_to

__all__ = ["NoCollectorError", "ask", "newest", "rules", "snapshots"]

TIMEOUT_SECONDS = 10.0


class NoCollectorError(ConnectionError):
    """No collector answers."""


@asynccontextmanager
async def _link(socket: Way | Path) -> AsyncIterator[Link]:
    way = way_to(socket)
    try:
        async with way.open() as link:
            yield link
    except msgspec.DecodeError as error:
        raise NoCollectorError(f"what answers at {way} is no collector of this version") from error
    except NoCollectorError:
        raise
    except ConnectionError as error:
        raise NoCollectorError(f"the collector at {way} went away") from error
    except LinkEnded as error:
        raise NoCollectorError(f"{error}; {error.advice}" if error.advice else str(error)) from error


async def snapshots(socket: Way | Path) -> AsyncGenerator[Snapshot, None]:
    """Yield snapshots as they come.

    Raises:
        NoCollectorError: nobody answers, or the collector went away.
    """
    async with _link(socket) as link:
        async for payload in link:
            news = wire.decode_news(payload)
            _refuse_other(news)
            if isinstance(news, wire.News):
                yield news.snapshot
    raise NoCollectorError(f"the collector at {socket} went away")


async def newest(socket: Way | Path) -> Snapshot:
    """Give the cook as it stands.

    Raises:
        NoCollectorError: nobody answers.
    """
    async with aclosing(snapshots(socket)) as coming:
        return await anext(coming)


def _refuse_other(news: wire.FromCollector) -> None:
    """Refuse a collector of another version, which would not know what it is asked, and one that takes its leave."""
    if isinstance(news, wire.Goodbye):
        raise NoCollectorError(f"the collector does not answer: {news.why}")
    if isinstance(news, wire.Hello) and news.version != wire.VERSION:
        raise NoCollectorError(f"the collector speaks version {news.version}, this is {wire.VERSION}")


async def ask(socket: Way | Path, command: wire.Request) -> wire.Reply:
    """Send a command and wait for what became of it.

    Raises:
        NoCollectorError: nobody answers.
    """
    reply = await _answer(socket, command)
    assert isinstance(reply, wire.Reply)
    return reply


async def rules(socket: Way | Path) -> tuple[RuleView, ...]:
    """Ask how every rule stands.

    Raises:
        NoCollectorError: nobody answers.
    """
    answer = await _answer(socket, wire.AskRules(1))
    assert isinstance(answer, wire.Rules)
    return answer.rules


async def _answer(socket: Way | Path, command: wire.Command) -> wire.Reply | wire.Rules:
    async with _link(socket) as link:
        try:
            async with asyncio.timeout(TIMEOUT_SECONDS):
                await link.send(wire.encode(command))
                async for payload in link:
                    news = wire.decode_news(payload)
                    _refuse_other(news)
                    if isinstance(news, wire.Reply | wire.Rules) and news.number == command.number:
                        return news
        except TimeoutError as error:
            raise NoCollectorError(f"the collector at {socket} does not answer") from error
    raise NoCollectorError(f"the collector at {socket} went away")
