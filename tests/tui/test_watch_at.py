"""A dashboard on another machine: over TLS, with a token, through a network that comes and goes."""

import asyncio
import contextlib
from random import Random

import pytest

from collector import wire
from collector.serve.certificate import fingerprint
from collector.serve.tokens import remove_token
from collector.store.trend import points
from tests.collector.house import certify, serving
from tests.waiting import WAIT_SECONDS, until
from tui.cli import main
from tui.client import ClientState, CollectorClient
from tui.errors import NotConnected, WayError
from tui.once import NoCollectorError, ask, newest, rules
from tui.remote_way import DEFAULT_PORT, HEARTBEAT_SECONDS, RemoteWay, parse_at, parse_fingerprint
from tui.token_file import read_token


class Network:
    """What lies between two machines; can swallow everything without a word."""

    def __init__(self, port):
        self.to = port
        self.dead = False
        self._writers = []

    async def __aenter__(self):
        self._server = await asyncio.start_server(self._carry, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_):
        self._server.close()
        for writer in self._writers:
            writer.transport.abort()

    async def _carry(self, reader, writer):
        there, to = await asyncio.open_connection("127.0.0.1", self.to)
        self._writers += [writer, to]
        with contextlib.suppress(ConnectionError):
            await asyncio.gather(self._pass(reader, to), self._pass(there, writer))

    async def _pass(self, reader, writer):
        while data := await reader.read(65536):
            while self.dead:
                await asyncio.sleep(0.05)
            writer.write(data)
            await writer.drain()
        writer.close()


def way(served, may="act", **changes):
    known = {"ca": served.ca, **changes}
    return RemoteWay("127.0.0.1", known.pop("port", served.port), served.tokens[may], **known)


@contextlib.asynccontextmanager
async def listening(way):
    client = CollectorClient(way, first_delay_seconds=0.02, greatest_delay_seconds=0.1, random=Random(1))
    heard = asyncio.Queue()

    async def listen():
        async for message in client:
            heard.put_nowait(message)

    task = asyncio.create_task(listen())
    try:
        yield client, heard
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def test_several_dashboards_at_once_each_with_the_whole_history(tmp_path):
    async with serving(tmp_path) as served, contextlib.AsyncExitStack() as stack:
        print_of = parse_fingerprint(fingerprint(served.ca))
        ways = [way(served), way(served, "look"), way(served, ca=None, fingerprint=print_of)]
        for client, heard in [await stack.enter_async_context(listening(w)) for w in ways]:
            async with asyncio.timeout(WAIT_SECONDS):
                assert isinstance(await heard.get(), wire.Hello)
                assert len(list(points((await heard.get()).stretches))) > 1000
                assert (await heard.get()).snapshot.cook
            assert client.link.state is ClientState.UP
        served.publish(cook="news for all")


async def test_a_link_that_dies_without_a_word_is_seen_within_five_seconds_and_heals(tmp_path):
    assert 1.5 * HEARTBEAT_SECONDS <= 5.0, "aiohttp asks that often, and waits half as long for the answer"
    async with (
        serving(tmp_path) as served,
        Network(served.port) as network,
        listening(way(served, port=network.port)) as (client, heard),
    ):
        await until(lambda: heard.qsize() >= 3)
        network.dead = True
        await until(lambda: client.link.state is ClientState.LOST)
        with pytest.raises(NotConnected):
            await client.send(wire.AddMark(0, "lid"))
        while not heard.empty():
            heard.get_nowait()
        network.dead = False
        await until(lambda: client.link.state is ClientState.UP)
        await until(lambda: heard.qsize() >= 3)
        messages = [heard.get_nowait() for _ in range(3)]
        assert isinstance(messages[0], wire.Hello)
        assert len(list(points(messages[1].stretches))) > 1000, "caught up"
        assert (await client.send(wire.AddMark(0, "split"))).done


async def test_a_collector_that_is_started_again_is_found_again(tmp_path):
    async with serving(tmp_path) as served, listening(way(served)) as (client, _):
        await until(lambda: client.link.state is ClientState.UP)
        await served.stop()
        await until(lambda: client.link.state is ClientState.LOST and "nobody answers at" in client.link.why)
        async with serving(tmp_path, port=served.port):
            await until(lambda: client.link.state is ClientState.UP)


async def test_a_file_of_authorities_that_is_away_for_a_while_ends_nothing(tmp_path):
    async with serving(tmp_path) as served:
        ca = tmp_path / "known.crt"
        ca.write_bytes(served.ca.read_bytes())
        async with listening(way(served, ca=ca)) as (client, heard):
            await until(lambda: heard.qsize() >= 3)
            ca.rename(tmp_path / "away")
            await served.stop()
            await until(lambda: "known.crt: cannot be read" in client.link.why)
            (tmp_path / "away").rename(ca)
            async with serving(tmp_path, port=served.port):
                await until(lambda: client.link.state is ClientState.UP)
    with pytest.raises(WayError, match=r"nowhere\.crt: cannot be read"):
        await anext(aiter(CollectorClient(RemoteWay("127.0.0.1", 1, "x", ca=tmp_path / "nowhere.crt"))))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"ca": None}, "is not known here: give --ca"),
        ({"ca": "other.crt"}, "is not known here: give --ca"),
        ({"ca": None, "fingerprint": b"x" * 32}, "another certificate than the one of --fingerprint"),
        ({"port": 1}, "nobody answers at 127.0.0.1:1"),
        ({"tls": False}, "ended the connection|does not answer|invalid|Expected"),
    ],
)
async def test_what_is_wrong_is_said_in_a_cooks_words_and_the_token_is_not_sent(tmp_path, changes, said):
    certify(tmp_path, "other")
    async with serving(tmp_path) as served:
        if isinstance(changes.get("ca"), str):
            changes = {"ca": tmp_path / changes["ca"]}
        wrong = way(served, **changes)
        with pytest.raises(NoCollectorError, match=said):
            await newest(wrong)
        async with listening(wrong) as (client, _):
            await until(lambda: client.link.why)
            assert client.link.state is ClientState.CONNECTING


async def test_a_refused_token_is_said_and_not_tried_like_a_guess(tmp_path):
    async with serving(tmp_path) as served:
        remove_token(served.options.tokens, "look")
        async with listening(way(served, "look")) as (client, _):
            await until(lambda: client.link.why)
            assert "does not know this token" in client.link.why
            await asyncio.sleep(0.4)
        assert len(served.service._house._throttle._in_all) == 1


async def test_a_name_of_another_is_said(tmp_path):
    async with serving(tmp_path, hosts=()) as served:
        named = RemoteWay("localhost", served.port, served.tokens["act"], ca=served.ca)
        assert (await newest(named)).cook, "its own address is always right"
        with pytest.raises(NoCollectorError, match=r"nobody knows where no-such-host.invalid is"):
            await newest(RemoteWay("no-such-host.invalid", 1, "x", ca=served.ca))


async def test_questions_without_a_dashboard(tmp_path):
    async with serving(tmp_path) as served:
        assert (await newest(way(served, "look"))).cook
        assert await rules(way(served, "look")) == ()
        assert (await ask(way(served), wire.AddMark(1, "split"))).done
        refused = await ask(way(served, "look"), wire.AddMark(1, "split"))
        assert not refused.done
        assert "may only look" in refused.why


async def test_plain_on_this_machine_itself_for_an_ssh_tunnel(tmp_path):
    async with serving(tmp_path, tls=False) as served:
        assert (await newest(way_plain(served))).cook
        with pytest.raises(NoCollectorError, match=r"does not speak TLS; .*--at http://127"):
            await newest(RemoteWay("127.0.0.1", served.port, served.tokens["look"]))


def way_plain(served):
    return RemoteWay("127.0.0.1", served.port, served.tokens["look"], tls=False)


def test_how_a_place_is_written():
    assert parse_at("pit.local") == ("pit.local", DEFAULT_PORT, True)
    assert parse_at("10.0.0.7:9000") == ("10.0.0.7", 9000, True)
    assert parse_at("[fd00::7]:9000") == ("fd00::7", 9000, True)
    assert parse_at("fd00::7") == ("fd00::7", DEFAULT_PORT, True)
    assert parse_at("https://pit.local:1/") == ("pit.local", 1, True)
    assert parse_at("http://127.0.0.1:9000") == ("127.0.0.1", 9000, False)
    for wrong in ("", "pit:x", "http://pit.local", "ftp://x", "a@b", "pit/feed", "pit:99999", "a..b", "x" * 70):
        with pytest.raises(ValueError, match=r"is no place|in clear"):
            parse_at(wrong)


def test_how_a_fingerprint_is_written():
    assert parse_fingerprint("AB:" * 31 + "ab") == b"\xab" * 32
    assert parse_fingerprint("SHA256:" + "ab" * 32) == b"\xab" * 32
    with pytest.raises(ValueError, match="64 hexadecimal"):
        parse_fingerprint("ab" * 20)


def test_where_a_token_comes_from(tmp_path, monkeypatch, capsys):
    file = tmp_path / "token"
    file.write_text("x" * 43 + "\n")
    file.chmod(0o644)
    with pytest.raises(WayError, match="chmod 600"):
        read_token(str(file), "pit")
    file.chmod(0o600)
    assert read_token(str(file), "pit") == "x" * 43
    monkeypatch.setenv("COLDSIDE_TOKEN_FILE", str(file))
    assert read_token(None, "pit") == "x" * 43
    file.write_text("two words")
    with pytest.raises(WayError, match="is no token"):
        read_token(None, "pit")
    monkeypatch.delenv("COLDSIDE_TOKEN_FILE")
    assert "x" * 43 not in repr(RemoteWay("pit", 1, "x" * 43))
    for words in (["--at", "pit"], ["--at", "pit", "--socket", "x"], ["--ca", "x"]):
        assert main(["status", *words]) == 1
    assert capsys.readouterr().err.count("coldside: ") == 3
