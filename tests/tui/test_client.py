"""The client against a real aiohttp server on a real unix socket."""

import asyncio
import contextlib
from random import Random

import msgspec
import pytest
from aiohttp import WSMsgType, web

from collector import wire
from tui.client import ClientState, CollectorClient
from tui.errors import NoReply, NotConnected, VersionRefused

HELLO = wire.Hello(wire.VERSION, "0.0.0")


class Server:
    """Greets, sends what it is told to, answers commands; can be stopped and started again."""

    def __init__(self, path):
        self.path = path
        self.greeting = HELLO
        self.messages = []
        self.commands = []
        self.answers = True
        self.refusal = ""
        self.links = 0
        self.raw = None

    async def attach(self, request):
        channel = web.WebSocketResponse()
        await channel.prepare(request)
        self.links += 1
        if self.raw is not None:
            await channel.send_bytes(self.raw)
        for message in [self.greeting, *self.messages]:
            await channel.send_bytes(wire.encode(message))
        async for frame in channel:
            if frame.type is WSMsgType.BINARY:
                command = wire.decode_command(frame.data)
                self.commands.append(command)
                if self.answers:
                    reply = wire.Reply(command.number, not self.refusal, self.refusal)
                    await channel.send_bytes(wire.encode(reply))
        return channel

    async def start(self):
        app = web.Application()
        app.router.add_get("/feed", self.attach)
        self.runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.1)
        await self.runner.setup()
        await web.UnixSite(self.runner, str(self.path)).start()

    async def stop(self):
        await self.runner.cleanup()
        self.path.unlink(missing_ok=True)


@pytest.fixture
async def server(tmp_path):
    server = Server(tmp_path / "feed.sock")
    await server.start()
    yield server
    await server.stop()


@contextlib.asynccontextmanager
async def listening(client):
    """Collect messages in a task, as a dashboard does."""
    heard = asyncio.Queue()

    async def listen():
        async for message in client:
            heard.put_nowait(message)

    task = asyncio.create_task(listen())
    try:
        yield heard, task
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError, VersionRefused):
            await task


def quick(path, **choices):
    return CollectorClient(
        path, first_delay_seconds=0.02, greatest_delay_seconds=0.05, random=Random(1), **choices
    )  # fmt: skip


async def soon(queue):
    return await asyncio.wait_for(queue.get(), 5.0)


async def until(condition):
    async with asyncio.timeout(5.0):
        while not condition():
            await asyncio.sleep(0.01)


async def test_messages_come_in_order_after_the_greeting(server, night, history):
    server.messages = [wire.History(history()), wire.Trend((history()[-1],)), wire.News(night())]
    client = quick(server.path)
    assert client.link.state is ClientState.CONNECTING
    async with listening(client) as (heard, _):
        assert await soon(heard) == HELLO
        assert client.link.state is ClientState.UP
        told = await soon(heard)
        assert len(told.points) == len(history())
        assert isinstance(await soon(heard), wire.Trend)
        news = await soon(heard)
        assert news.snapshot.cook == night().cook
        assert news.snapshot.alarms == night().alarms


async def test_a_link_that_closes_is_told_and_opened_again(server):
    client = quick(server.path)
    async with listening(client) as (heard, _):
        await soon(heard)
        await server.stop()
        await until(lambda: client.link.state is ClientState.LOST)
        lost_since = client.link.since_unix
        await asyncio.sleep(0.2)
        assert client.link.since_unix == lost_since
        assert str(server.path) in client.link.why
        await server.start()
        assert await soon(heard) == HELLO
        assert client.link.state is ClientState.UP
        assert client.link.why == ""
        assert server.links == 2


async def test_a_collector_that_is_not_there_yet_is_waited_for(tmp_path):
    server = Server(tmp_path / "late.sock")
    client = quick(server.path)
    async with listening(client) as (heard, _):
        await until(lambda: client.link.why)
        assert client.link.state is ClientState.CONNECTING
        assert "no collector at" in client.link.why
        await server.start()
        assert await soon(heard) == HELLO
    await server.stop()


async def test_another_version_is_refused_with_both_numbers(server):
    server.greeting = wire.Hello(wire.VERSION + 1, "9.9.9")
    client = quick(server.path)
    async with listening(client) as (heard, task):
        with pytest.raises(
            VersionRefused, match=rf"9\.9\.9.*version {wire.VERSION + 1} of the feed.*version {wire.VERSION}"
        ) as refused:
            await asyncio.wait_for(task, 5.0)
        assert refused.value.theirs == wire.VERSION + 1
        assert heard.empty()
        assert client.link.state is ClientState.CONNECTING


@pytest.mark.parametrize("raw", [b"\xff\x00", msgspec.msgpack.encode({"type": "unheard-of"})])
async def test_what_cannot_be_read_closes_the_link_and_says_so(server, raw):
    server.raw = raw
    client = quick(server.path)
    async with listening(client) as (heard, _):
        await until(lambda: "cannot be read" in client.link.why)
        server.raw = None
        assert await soon(heard) == HELLO


async def test_news_before_the_greeting_is_not_believed(server, night):
    server.greeting = wire.News(night())
    client = quick(server.path)
    async with listening(client) as (heard, _):
        await until(lambda: "no greeting" in client.link.why)
        assert heard.empty()


async def test_commands_are_numbered_and_answered(server):
    client = quick(server.path)
    async with listening(client) as (heard, _):
        await soon(heard)
        replies = await asyncio.gather(*(client.send(wire.AddMark(0, "split", str(i))) for i in range(5)))
        assert all(reply.done for reply in replies)
        assert len({command.number for command in server.commands}) == 5
        server.refusal = "no such alarm"
        reply = await client.send(wire.Acknowledge(0, "x/y"))
        assert (reply.done, reply.why) == (False, "no such alarm")
        assert heard.empty(), "replies are not news"


async def test_a_command_without_a_link_fails_at_once(server):
    with pytest.raises(NotConnected):
        await quick(server.path).send(wire.AddMark(0, "lid"))


async def test_a_command_that_is_not_answered_times_out(server):
    server.answers = False
    client = quick(server.path, reply_seconds=0.1)
    async with listening(client) as (heard, _):
        await soon(heard)
        with pytest.raises(NoReply, match=r"0\.1 s"):
            await client.send(wire.AddMark(0, "lid"))


async def test_a_link_that_closes_ends_the_wait_for_an_answer(server):
    server.answers = False
    client = quick(server.path, reply_seconds=5.0)
    async with listening(client) as (heard, _):
        await soon(heard)
        waiting = asyncio.create_task(client.send(wire.AddMark(0, "lid")))
        await until(lambda: server.commands)
        await server.stop()
        with pytest.raises(NotConnected):
            await asyncio.wait_for(waiting, 3.0)
        await server.start()


async def test_a_long_night_fits_through(server, history):
    one = history(hours=0.01)[0]
    wide = msgspec.structs.replace(
        wire.History(()),
        points=tuple(type(one)(float(i), (100.5,) * 40, 1.0, 100.0, (99.5,) * 60) for i in range(8640)),
    )  # fmt: skip
    assert len(wire.encode(wide)) > 4 * 1024 * 1024
    server.messages = [wide]
    async with listening(quick(server.path)) as (heard, _):
        await soon(heard)
        assert len((await soon(heard)).points) == 8640
