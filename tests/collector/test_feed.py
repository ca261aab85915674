"""The feed for dashboards over a real unix socket."""

import asyncio
import socket
import stat
from contextlib import asynccontextmanager

import msgspec
import pytest

from collector import attach, wire
from collector import channel as channel_module
from collector.channel import StreamChannel, frame_of
from collector.engine import Engine
from collector.errors import ServeError
from collector.feed import HISTORY_POINTS, MAX_VIEWERS, Feed
from collector.snapshot import TrendPoint
from collector.store.trend import points
from tests.waiting import WAIT_SECONDS
from tui.nights import night_settings

SNAPSHOT = Engine(night_settings().plan, "n", 1_790_000_000.0).snapshot()


@pytest.fixture
async def served(tmp_path):
    asked = []

    def command(c):
        asked.append(c)
        return "" if c.number != 13 else "not that one"

    feed = Feed(command, lambda: msgspec.structs.replace(SNAPSHOT, now_unix=1.0))
    await feed.open(tmp_path / "run" / "c.sock")
    yield feed, tmp_path / "run" / "c.sock", asked
    await feed.close()


@asynccontextmanager
async def attached(socket):
    reader, writer = await asyncio.open_unix_connection(socket)
    try:
        yield StreamChannel(reader, writer, greatest_bytes=1 << 26)
    finally:
        writer.close()


async def next_of(channel, kind):
    async with asyncio.timeout(WAIT_SECONDS):
        async for payload in channel:
            news = wire.decode_news(payload)
            if isinstance(news, kind):
                return news
    raise AssertionError("the feed ended")


async def test_hello_history_and_the_cook_as_it_is_now(served):
    feed, socket, _ = served
    feed.add_trend(TrendPoint(5.0, (110.0,) * 7, 8.0, 110.0))
    async with attached(socket) as channel:
        assert (await next_of(channel, wire.Hello)).version == wire.VERSION
        assert [p.time_unix for p in points((await next_of(channel, wire.History)).stretches)] == [5.0]
        assert (await next_of(channel, wire.News)).snapshot.now_unix == 1.0, "made for this viewer, not an old one"
        feed.add_trend(TrendPoint(15.0, (110.0,) * 7, 8.0, 110.0))
        feed.publish(msgspec.structs.replace(SNAPSHOT, now_unix=2.0))
        assert [p.time_unix for p in (await next_of(channel, wire.Trend)).points] == [15.0]
        assert (await next_of(channel, wire.News)).snapshot.now_unix == 2.0


async def test_the_socket_is_for_owner_and_group(served):
    _, socket, _ = served
    assert stat.S_IMODE(socket.stat().st_mode) == 0o660


async def test_commands_are_answered_by_number_and_nonsense_is_passed_over(served):
    _, socket, asked = served
    async with attached(socket) as channel:
        await channel.send(b"\xc1 nonsense")
        await channel.send(b"\x82\xa4type\xa3lid\xa1x" + b"\x91" * 15_000)
        await channel.send(b"\x83\xa4type\xa4mark\xa6number\x01\xa1x" + b"\x91" * 15_000)
        await channel.send(b"")
        await channel.send(wire.encode(wire.Shelve(12, "drift/fading fire", 60.0)))
        await channel.send(wire.encode(wire.Acknowledge(13, "x")))
        assert await next_of(channel, wire.Reply) == wire.Reply(12, True)
        assert await next_of(channel, wire.Reply) == wire.Reply(13, False, "not that one")
    assert [type(c).__name__ for c in asked] == ["Shelve", "Acknowledge"]


async def test_little_is_under_way_to_a_viewer_that_reads_nothing(served):
    """What it reads later is late: so it gets what the system's own buffer took, and hardly more."""
    feed, socket, _ = served
    async with attached(socket) as sleeper:
        await next_of(sleeper, wire.News)
        sleeper._transport.pause_reading()
        for k in range(400):
            feed.publish(msgspec.structs.replace(SNAPSHOT, now_unix=float(k)))
            await asyncio.sleep(0)
        size = len(frame_of(wire.news(SNAPSHOT)))
        (viewer,) = feed._viewers
        assert 0 < viewer.at_once.__self__._transport.get_write_buffer_size() <= 2 * size


async def test_a_viewer_that_reads_nothing_for_long_is_let_go(served, monkeypatch):
    """A dashboard that was stopped holds its place no longer; it attaches anew once it goes on."""
    monkeypatch.setattr(channel_module, "PATIENCE_SECONDS", 0.2)
    feed, socket, _ = served
    async with attached(socket) as sleeper:
        await next_of(sleeper, wire.News)
        sleeper._transport.pause_reading()
        async with asyncio.timeout(WAIT_SECONDS):
            while feed.watched:
                feed.publish(SNAPSHOT)
                await asyncio.sleep(0.001)


async def test_a_viewer_that_reads_nothing_costs_nobody_anything(served):
    feed, socket, _ = served
    async with attached(socket), attached(socket) as channel:
        await next_of(channel, wire.News)
        for k in range(2000):
            feed.publish(msgspec.structs.replace(SNAPSHOT, now_unix=float(k)))
            if k % 100 == 0:
                await asyncio.sleep(0)
        newest = 0.0
        while newest < 1999:
            newest = (await next_of(channel, wire.News)).snapshot.now_unix
        waiting = [v for v in feed._viewers if v.snapshot is not None]
        assert all(len(v.trend) <= HISTORY_POINTS for v in feed._viewers)
        assert len(waiting) <= 1, "one snapshot waits, not two thousand"
        assert len(feed._viewers) == 2, "it is not let go at once"
        assert not any(channel._transport.is_closing() for channel in feed._attached.values())


async def test_snapshots_written_at_once_trend_and_answers_keep_to_their_frames_and_order(served):
    """A whole night of what a dashboard hears, as fast as it is read."""
    feed, socket, _ = served
    async with attached(socket) as channel:
        await next_of(channel, wire.News)
        heard, rows, answers = [], [], []

        async def listen():
            async for payload in channel:
                match wire.decode_news(payload):
                    case wire.News(snapshot):
                        heard.append(snapshot.now_unix)
                    case wire.Trend(points):
                        rows.extend(p.time_unix for p in points)
                    case wire.Reply(number):
                        answers.append(number)
                if heard and heard[-1] == 2999.0 and len(answers) == 30:
                    return

        listening = asyncio.create_task(listen())
        for k in range(3000):
            if k % 10 == 0:
                feed.add_trend(TrendPoint(float(k), (110.0,) * 7, 8.0, 110.0))
            if k % 100 == 0:
                await channel.send(wire.encode(wire.Acknowledge(1000 + k, "x")))
            feed.publish(msgspec.structs.replace(SNAPSHOT, now_unix=float(k)))
            if k % 3 == 0:
                await asyncio.sleep(0)
        await asyncio.wait_for(listening, WAIT_SECONDS)
    assert heard == sorted(heard)
    assert len(heard) > 900
    assert rows == [10.0 * k for k in range(300)], "none is lost, for all that snapshots went past them"
    assert answers == [1000 + 100 * k for k in range(30)]


async def test_no_more_viewers_than_there_is_room_for(served):
    feed, socket, _ = served
    feed._viewers |= {object() for _ in range(MAX_VIEWERS)}
    async with attached(socket) as channel:
        assert [wire.decode_news(payload) async for payload in channel] == [wire.Goodbye(attach.TOO_MANY)]
    feed._viewers.clear()


async def test_who_speaks_otherwise_is_let_go_and_nobody_else_is_disturbed(served, caplog):
    _, socket, asked = served
    async with attached(socket) as channel:
        for strange in (b"GET /feed HTTP/1.1\r\nHost: x\r\n\r\n", b"\xff" * 4096, frame_of(b"x" * 20_000)):
            reader, writer = await asyncio.open_unix_connection(socket)
            writer.write(strange)
            async with asyncio.timeout(WAIT_SECONDS):
                await reader.read()
            writer.close()
        assert caplog.text.count("no dashboard of this version") == 1, "told once a minute"
        await channel.send(wire.encode(wire.Acknowledge(1, "x")))
        assert (await next_of(channel, wire.Reply)).done
    assert len(asked) == 1


@pytest.mark.parametrize("sent", [b"", b"\x00", b"\x00\x00\x00\x09half"])
async def test_who_goes_in_the_middle_of_a_message_has_said_nothing(served, sent):
    feed, socket, asked = served
    _, writer = await asyncio.open_unix_connection(socket)
    writer.write(sent)
    writer.close()
    async with asyncio.timeout(WAIT_SECONDS):
        while feed._attached or (not sent and feed.watched):
            await asyncio.sleep(0.01)
    assert not asked


async def test_closing_does_not_wait_for_viewers(tmp_path):
    feed = Feed(lambda _: "", lambda: SNAPSHOT)
    await feed.open(tmp_path / "c.sock")
    async with attached(tmp_path / "c.sock") as channel:
        await next_of(channel, wire.News)
        async with asyncio.timeout(WAIT_SECONDS):
            await feed.close()
        assert (await next_of(channel, wire.Goodbye)).why == attach.STOPS
    assert not (tmp_path / "c.sock").exists()


async def test_closing_lets_nobody_hang_who_reads_nothing(tmp_path, caplog):
    feed = Feed(lambda _: "", lambda: SNAPSHOT)
    await feed.open(tmp_path / "c.sock")
    async with attached(tmp_path / "c.sock") as sleeper:
        await next_of(sleeper, wire.News)
        sleeper._transport.pause_reading()
        for _ in range(400):
            feed.publish(SNAPSHOT)
            await asyncio.sleep(0)
        async with asyncio.timeout(WAIT_SECONDS):
            await feed.close()
        assert not feed._attached
        assert not feed.watched
    await asyncio.sleep(0.05)
    assert caplog.text == "", "asyncio logs what ends otherwise"


async def test_who_speaks_otherwise_and_reads_nothing_is_cut_off(served):
    feed, socket, _ = served
    _, writer = await asyncio.open_unix_connection(socket)
    writer.transport.pause_reading()
    async with asyncio.timeout(WAIT_SECONDS):
        while not feed._attached:
            await asyncio.sleep(0.01)
        (channel,) = feed._attached.values()
        while not channel._transport.get_write_buffer_size():
            feed.publish(SNAPSHOT)
            await asyncio.sleep(0)
        writer.write(b"\xff" * 64)
        while feed._attached:
            await asyncio.sleep(0.01)
    await asyncio.sleep(0)
    assert channel._transport.get_extra_info("socket").fileno() == -1, "no descriptor is kept for it"
    writer.close()


async def test_a_socket_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("in the way")
    feed = Feed(lambda _: "", lambda: SNAPSHOT)
    with pytest.raises(ServeError, match="cannot attach here"):
        await feed.open(tmp_path / "file" / "c.sock")
    await feed.close()


async def test_an_ordinary_file_is_never_deleted(tmp_path):
    for target in (tmp_path / "cooks.db", tmp_path / "link"):
        if target.name == "link":
            target.symlink_to(tmp_path / "cooks.db")
        else:
            target.write_text("a year of cooks")
        feed = Feed(lambda _: "", lambda: SNAPSHOT)
        with pytest.raises(ServeError, match="is a file, not a socket"):
            await feed.open(target)
        await feed.close()
    assert (tmp_path / "cooks.db").read_text() == "a year of cooks"


async def test_the_socket_of_a_living_collector_is_not_taken_over(served):
    _, path, _ = served
    second = Feed(lambda _: "", lambda: SNAPSHOT)
    with pytest.raises(ServeError, match="another collector serves here"):
        await second.open(path)
    await second.close()
    async with attached(path) as channel:
        assert await next_of(channel, wire.Hello)


async def test_the_socket_of_a_dead_collector_is_taken_over(tmp_path):
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(tmp_path / "c.sock"))
        dead.listen()
    feed = Feed(lambda _: "", lambda: SNAPSHOT)
    await feed.open(tmp_path / "c.sock")
    async with attached(tmp_path / "c.sock") as channel:
        assert await next_of(channel, wire.Hello)
    await feed.close()
    assert not (tmp_path / "c.sock").exists()


async def test_closing_leaves_a_socket_that_another_put_in_its_place(tmp_path):
    path = tmp_path / "c.sock"
    first, second = (Feed(lambda _: "", lambda: SNAPSHOT) for _ in range(2))
    await first.open(path)
    path.unlink()
    await second.open(path)
    await first.close()
    async with attached(path) as channel:
        assert await next_of(channel, wire.Hello)
    await second.close()
    assert not path.exists()
