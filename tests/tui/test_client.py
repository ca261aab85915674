"""The client against a server on a real unix socket."""

import asyncio
import contextlib
from random import Random

import msgspec
import pytest

from collector import wire
from collector.channel import StreamChannel, StreamError
from collector.store.trend import points
from tests.trend import packed
from tests.waiting import WAIT_SECONDS, until
from tui.client import ClientState, CollectorClient
from tui.errors import NoReply, NotConnected, VersionRefused
from tui.once import NoCollectorError, newest

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
        self.writers = set()

    async def attach(self, reader, writer):
        channel = StreamChannel(reader, writer, greatest_bytes=1 << 14)
        self.writers.add(writer)
        self.links += 1
        with contextlib.suppress(ConnectionError, StreamError):
            if self.raw is not None:
                await channel.send(self.raw)
            for message in [self.greeting, *self.messages]:
                await channel.send(wire.encode(message))
            async for payload in channel:
                command = wire.decode_command(payload)
                self.commands.append(command)
                if self.answers:
                    reply = wire.Reply(command.number, not self.refusal, self.refusal)
                    await channel.send(wire.encode(reply))
        writer.close()

    async def start(self):
        self.server = await asyncio.start_unix_server(self.attach, self.path)

    async def stop(self):
        self.server.close()
        for writer in self.writers:
            writer.close()
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
    return await asyncio.wait_for(queue.get(), WAIT_SECONDS)


async def test_messages_come_in_order_after_the_greeting(server, night, history):
    server.messages = [wire.History(packed(history())), wire.Trend((history()[-1],)), wire.News(night())]
    client = quick(server.path)
    assert client.link.state is ClientState.CONNECTING
    async with listening(client) as (heard, _):
        assert await soon(heard) == HELLO
        assert client.link.state is ClientState.UP
        told = await soon(heard)
        assert len(list(points(told.stretches))) == len(history())
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
        assert "no collector answers at" in client.link.why
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
            await asyncio.wait_for(task, WAIT_SECONDS)
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


async def test_who_serves_something_else_there_is_no_collector(tmp_path):
    async def mail(_, writer):
        writer.write(b"220 post ready\r\n")
        writer.close()

    server = await asyncio.start_unix_server(mail, tmp_path / "mail.sock")
    client = quick(tmp_path / "mail.sock")
    async with listening(client):
        await until(lambda: "is no collector of this version" in client.link.why)
    with pytest.raises(NoCollectorError, match=r"mail.sock is no collector of this version"):
        await newest(tmp_path / "mail.sock")
    server.close()


async def test_a_collector_that_never_says_a_word_may_be_an_older_one(tmp_path, monkeypatch):
    monkeypatch.setattr("tui.way.SILENCE_SECONDS", 0.2)

    async def older(reader, writer):
        await reader.read()
        writer.close()

    server = await asyncio.start_unix_server(older, tmp_path / "c.sock")
    with pytest.raises(NoCollectorError, match="if an older coldside still runs there, start it again"):
        await newest(tmp_path / "c.sock")
    server.close()
    await asyncio.sleep(0.05)


async def test_a_collector_that_hangs_is_told(server, monkeypatch):
    monkeypatch.setattr("tui.way.SILENCE_SECONDS", 0.3)
    client = quick(server.path)
    async with listening(client) as (heard, _):
        await soon(heard)
        await until(lambda: client.link.state is ClientState.LOST)
        assert client.link.why == f"the collector at {server.path} does not answer"


async def test_a_collector_that_takes_its_leave_is_told_in_its_own_words(server):
    server.messages = [wire.Goodbye("the collector stops")]
    client = quick(server.path)
    async with listening(client):
        await until(lambda: client.link.why == "the collector stops")
    with pytest.raises(NoCollectorError, match="the collector stops"):
        await newest(server.path)


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
    client = quick(server.path, reply_seconds=10 * WAIT_SECONDS)
    async with listening(client) as (heard, _):
        await soon(heard)
        waiting = asyncio.create_task(client.send(wire.AddMark(0, "lid")))
        await until(lambda: server.commands)
        await server.stop()
        with pytest.raises(NotConnected):
            await asyncio.wait_for(waiting, WAIT_SECONDS)
        await server.start()


async def test_a_long_night_fits_through(server, history):
    one = history(hours=0.01)[0]
    wide = wire.History(
        packed(type(one)(float(i), (100.5,) * 40, 1.0, 100.0, (99.5,) * 60) for i in range(8640))
    )  # fmt: skip
    assert len(wire.encode(wide)) > 3 * 1024 * 1024
    server.messages = [wide]
    async with listening(quick(server.path)) as (heard, _):
        await soon(heard)
        assert len(list(points((await soon(heard)).stretches))) == 8640
