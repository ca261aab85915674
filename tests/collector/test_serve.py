"""The way in from other machines, over real TCP and TLS, with a certificate made here."""

import asyncio
import contextlib
import json
import os
import re
import socket
import ssl
import stat
import subprocess
import sys
import time
from pathlib import Path

import aiohttp
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector import wire
from collector.errors import SettingsError, TokenError
from collector.feed import HISTORY_POINTS
from collector.serve import web
from collector.serve.address import Listen, bare_host, names_us, own_page, parse_listen
from collector.serve.certificate import fingerprint, openssl_words, server_context
from collector.serve.service import MOST_OF_ONE_ADDRESS, ServeOptions, Service
from collector.serve.sessions import MOST_SESSIONS, SESSION_SECONDS, SessionBook
from collector.serve.throttle import MOST_A_MINUTE, MOST_ADDRESSES, MOST_IN_ALL, Throttle, house_of
from collector.serve.tokens import May, Token, TokenBook, add_token, read_tokens, remove_token
from collector.settings.load import parse
from collector.store.trend import points
from tests.collector.conftest import config_text
from tests.collector.house import certify, serving, session
from tests.waiting import WAIT_SECONDS, until
from tui.cli import main

PIT = config_text(1883)


def bearer(token):
    return {"Authorization": f"Bearer {token}"}


async def next_of(channel, kind):
    async with asyncio.timeout(WAIT_SECONDS):
        async for message in channel:
            news = wire.decode_news(message.data)
            if isinstance(news, kind):
                return news
    raise AssertionError("the feed ended")


@contextlib.asynccontextmanager
async def logged_in(served, token):
    """A browser's session, as its cookie."""
    at = f"https://127.0.0.1:{served.port}"
    async with session() as browser:
        async with browser.post(
            f"{at}/login", data={"token": token}, headers={"Origin": at}, allow_redirects=False
        ) as answer:
            assert answer.status == 303, await answer.text()
            said = answer.headers["Set-Cookie"]
        yield at, browser, {"Origin": at, "Cookie": said.split(";")[0]}, said


# ---- tokens


def test_a_token_is_kept_as_a_hash_in_a_file_of_its_owner(tmp_path):
    file = tmp_path / "cooks.tokens.json"
    secret = add_token(file, "phone", May.ACT, 100.0)
    assert len(secret) == 43, "256 bits"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert secret not in file.read_text()
    book = TokenBook(file)
    assert book.refresh()
    assert not book.refresh()
    assert book.match(secret, 0.0).name == "phone"
    assert book.match(secret[:-1], 0.0) is None
    assert book.match(secret + "x" * 500, 0.0) is None
    with pytest.raises(TokenError, match="already"):
        add_token(file, "phone", May.LOOK, 0.0)
    remove_token(file, "phone")
    assert book.refresh()
    assert book.match(secret, 0.0) is None
    with pytest.raises(TokenError, match="no token 'phone'"):
        remove_token(file, "phone")


def test_a_token_ends_when_its_days_are_over(tmp_path):
    secret = add_token(tmp_path / "t.json", "guest", May.LOOK, 0.0, until_unix=100.0)
    book = TokenBook(tmp_path / "t.json")
    book.refresh()
    assert book.match(secret, 99.0)
    assert book.match(secret, 100.0) is None


@pytest.mark.parametrize("content", [b"", b"[]", b'{"schema": 9, "tokens": []}', b"\xff"])
def test_a_file_that_is_no_tokens_lets_nobody_in_and_is_told_once(tmp_path, content):
    file = tmp_path / "t.json"
    secret = add_token(file, "phone", May.ACT, 0.0)
    book = TokenBook(file)
    book.refresh()
    file.write_bytes(content)
    with pytest.raises(TokenError):
        book.refresh()
    assert not book.refresh()
    assert book.match(secret, 0.0) is None


def test_tokens_that_others_may_use_are_refused(tmp_path):
    add_token(tmp_path / "t.json", "phone", May.ACT, 0.0)
    (tmp_path / "t.json").chmod(0o644)
    with pytest.raises(TokenError, match="chmod 600"):
        read_tokens(tmp_path / "t.json")


def test_tokens_by_the_command_line(tmp_path, capsys):
    store = ["--store", str(tmp_path / "cooks.db")]
    assert main(["token", "add", "phone", "--may", "act", "--days", "2", *store]) == 0
    out = capsys.readouterr()
    secret = out.out.strip()
    assert "shown this once" in out.err
    assert main(["token", "list", *store]) == 0
    listed = capsys.readouterr().out
    assert "phone" in listed
    assert "may act" in listed
    assert secret not in listed
    assert main(["token", "list", "--json", *store]) == 0
    assert json.loads(capsys.readouterr().out)["tokens"][0]["holds"]
    assert main(["token", "remove", "phone", *store]) == 0
    assert main(["token", "remove", "phone", *store]) == 1


def test_sessions_are_bounded_outlive_a_restart_and_are_kept_as_hashes(tmp_path):
    token = Token("phone", May.ACT, "ab" * 32, 0.0)
    book = SessionBook(tmp_path / "s.json")
    first = book.begin(token, 0.0)
    ids = [book.begin(token, 1.0) for _ in range(MOST_SESSIONS)]
    assert len(book) == MOST_SESSIONS
    assert book.token_hash(first, 2.0) is None, "the oldest gave way"
    assert book.token_hash(ids[-1], 2.0) == token.sha256
    assert book.token_hash(ids[-1], 2.0 + SESSION_SECONDS) is None
    assert ids[-1] not in (tmp_path / "s.json").read_text()
    again = SessionBook(tmp_path / "s.json")
    assert again.token_hash(ids[-1], 2.0) == token.sha256
    again.end(ids[-1])
    assert SessionBook(tmp_path / "s.json").token_hash(ids[-1], 2.0) is None
    (tmp_path / "s.json").write_text("nonsense")
    assert len(SessionBook(tmp_path / "s.json")) == 0


# ---- who has to wait


def test_ten_wrong_tokens_a_minute_make_an_address_wait_and_nobody_else():
    throttle = Throttle()
    for k in range(MOST_A_MINUTE):
        assert throttle.wait_seconds("10.0.0.7", k) == 0.0
        throttle.wrong("10.0.0.7", k)
    assert throttle.wait_seconds("10.0.0.7", 10.0) == 50.0
    assert throttle.wait_seconds("10.0.0.8", 10.0) == 0.0
    assert throttle.wait_seconds("10.0.0.7", 61.0) == 0.0


def test_a_flood_from_everywhere_costs_bounded_memory_and_shuts_no_good_one_out():
    throttle = Throttle()
    for k in range(5000):
        throttle.wrong(f"10.{k // 65536}.{k // 256 % 256}.{k % 256}", k / 1000)
    assert len(throttle) <= MOST_ADDRESSES
    assert len(throttle._in_all) <= MOST_IN_ALL
    assert throttle.wait_seconds("10.0.19.135", 5.0) > 0, "one wrong token is enough while it floods"
    assert throttle.wait_seconds("192.168.1.3", 5.0) == 0.0


def test_what_counts_as_one_address():
    assert house_of("::ffff:10.0.0.7") == "10.0.0.7"
    assert house_of("2001:db8:1:2:3:4:5:6") == house_of("2001:db8:1:2::1")
    assert house_of("fe80::1%eth0") == "fe80::"


# ---- addresses


@pytest.mark.parametrize(
    ("header", "ours", "known"),
    [
        ("pit.local", "10.0.0.9", True), ("PIT.local:8765", "10.0.0.9", True), ("pit.local.", "10.0.0.9", True),
        ("10.0.0.9:8765", "10.0.0.9", True), ("10.0.0.8", "10.0.0.9", False), ("[::1]:1", "::1", True),
        ("10.0.0.9", "::ffff:10.0.0.9", True), ("localhost:9", "127.0.0.1", True), ("localhost", "10.0.0.1", False),
        ("evil.example", "127.0.0.1", False), ("", "127.0.0.1", False), ("a@pit.local", "1.1.1.1", False),
        ("pit.local/x", "1.1.1.1", False), ("pit.local:x", "1.1.1.1", False), ("[", "1.1.1.1", False),
    ],
)  # fmt: skip
def test_a_request_must_name_us(header, ours, known):
    assert names_us(header, {"pit.local"}, ours) is known


def test_a_page_elsewhere_is_not_ours():
    assert own_page("https://pit.local:8765", "pit.local:8765", tls=True)
    assert own_page("https://pit.local", "pit.local:443", tls=True)
    for origin in ("http://pit.local:8765", "https://pit.local", "https://evil.example", "null", ""):
        assert not own_page(origin, "pit.local:8765", tls=True)


@given(st.text())
def test_no_text_is_a_host_that_upsets_anything(text):
    names_us(text, {"pit.local"}, "127.0.0.1")
    assert "@" not in bare_host(text)
    with contextlib.suppress(ValueError):
        assert 1 <= parse_listen(text).port <= 65535


# ---- the config


SERVE = '[serve]\nlisten = "0.0.0.0:8765"\ncertificate_file = "pit.crt"\nkey_file = "pit.key"\nhosts = ["pit.local"]\n'


def mistake(text, folder):
    with pytest.raises(SettingsError) as wrong:
        parse(PIT + text, folder / "coldside.toml")
    assert all(p.line for p in wrong.value.problems)
    return [(p.key, p.what) for p in wrong.value.problems]


def test_nothing_beyond_this_machine_without_a_certificate(tmp_path):
    (found,) = mistake('[serve]\nlisten = "0.0.0.0:8765"\n', tmp_path)
    assert found[0] == "serve.listen"
    assert "token certificate" in found[1]
    assert "ssh -L 8765" in found[1]
    for listen in ("127.0.0.1:8765", "[::1]:8765", "localhost:8765"):
        parse(f'{PIT}[serve]\nlisten = "{listen}"\n', tmp_path / "coldside.toml")
    assert parse(PIT, tmp_path / "coldside.toml").config.serve is None, "off until given"
    with pytest.raises(ValueError, match="certificate"):
        Service(None, ServeOptions(Listen("0.0.0.0", 1), None, frozenset(), tmp_path / "t", tmp_path / "s"))


def test_mistakes_of_serve_are_told_with_their_line(tmp_path):
    certify(tmp_path)
    parse(PIT + SERVE, tmp_path / "coldside.toml")
    assert "is no address" in mistake(SERVE.replace("0.0.0.0:8765", "pit"), tmp_path)[0][1]
    assert "is not there" in mistake(SERVE.replace("pit.crt", "none.crt"), tmp_path)[0][1]
    assert "go together" in mistake(SERVE.replace('key_file = "pit.key"\n', ""), tmp_path)[0][1]
    assert "small letters" in mistake(SERVE.replace("pit.local", "https://Pit.local"), tmp_path)[0][1]
    (tmp_path / "pit.key").chmod(0o640)
    assert "chmod 600" in mistake(SERVE, tmp_path)[0][1]
    (tmp_path / "pit.key").unlink()
    (tmp_path / "pit.crt").unlink()
    certify(tmp_path, "other")
    certify(tmp_path)
    assert "does not belong" in mistake(SERVE.replace("pit.key", "other.key"), tmp_path)[0][1]


def test_openssl_makes_the_same_where_cryptography_is_not_installed(tmp_path, capsys, monkeypatch):
    words = openssl_words(["pit.local", "192.168.1.20"], tmp_path / "pit.crt", tmp_path / "pit.key")
    with contextlib.suppress(FileNotFoundError):
        subprocess.run(words, check=True, capture_output=True, umask=0o077)
        parse(PIT + SERVE, tmp_path / "coldside.toml")
        (tmp_path / "pit.crt").unlink()
        (tmp_path / "pit.key").unlink()
    config = ["-c", str(tmp_path / "coldside.toml")]
    with monkeypatch.context() as without:
        without.setitem(sys.modules, "cryptography", None)
        assert main(["token", "certificate", "--host", "pit.local", *config]) == 1
    assert "umask 077 && openssl req -x509" in capsys.readouterr().out
    assert main(["token", "certificate", "--host", "pit.local", *config]) == 0
    assert fingerprint(tmp_path / "pit.crt") in capsys.readouterr().out
    assert stat.S_IMODE((tmp_path / "pit.key").stat().st_mode) == 0o600
    assert main(["token", "certificate", "--host", "pit.local", *config]) == 1, "what is there is left"
    capsys.readouterr()


# ---- the service


async def test_one_token_looks_the_other_acts(tmp_path):
    async with serving(tmp_path) as served, session() as client:
        url = f"https://127.0.0.1:{served.port}/feed"
        for may, does in (("look", False), ("act", True)):
            async with client.ws_connect(url, headers=bearer(served.tokens[may]), max_msg_size=0) as channel:
                assert (await next_of(channel, wire.Hello)).version == wire.VERSION
                assert sum(1 for _ in points((await next_of(channel, wire.History)).stretches)) > 1000
                assert (await next_of(channel, wire.News)).snapshot.cook
                await channel.send_bytes(wire.encode(wire.AddMark(7, "split")))
                reply = await next_of(channel, wire.Reply)
                assert (reply.number, reply.done) == (7, does)
                assert does or reply.why.startswith("this token may only look")
                await channel.send_bytes(wire.encode(wire.AskRules(8)))
                assert await next_of(channel, wire.Rules)
        assert [type(c).__name__ for c in served.asked] == ["AddMark"]


async def test_nobody_without_a_token(tmp_path):
    async with serving(tmp_path) as served, session() as client:
        at = f"https://127.0.0.1:{served.port}"
        for headers in ({}, {"Authorization": "Bearer "}, {"Authorization": "Basic eDp5"}, bearer("x" * 43)):
            async with client.get(f"{at}/feed", headers=headers) as answer:
                assert answer.status == 401
        async with client.get(f"{at}/feed?token={served.tokens['act']}") as answer:
            assert answer.status == 401, "never in a URL"
        async with client.get(f"{at}/page-feed", headers={"Origin": at}) as answer:
            assert answer.status == 401
        async with client.get(f"{at}/") as answer:
            text = await answer.text()
            assert "Who is there?" in text
            assert "zones" not in text, "nothing of the cook, nor its page"
        for path in ("/page", "/page.js", "/../cooks.tokens.json", "//", "/feed/", "/%2e%2e/pit.key"):
            async with client.get(at + path) as answer:
                assert answer.status == 404


@pytest.mark.parametrize("frame", [b"\xff\xfe\x00", b"\x82\xa4type\xa4mark\xa4text\xa3\xff\x1b["])
async def test_a_token_that_only_looks_cannot_fill_the_log_with_frames_of_its_own(tmp_path, caplog, frame):
    async with serving(tmp_path) as served, session() as client:
        url = f"wss://127.0.0.1:{served.port}/feed"
        async with client.ws_connect(url, headers=bearer(served.tokens["look"]), max_msg_size=0) as channel:
            with contextlib.suppress(ConnectionError):
                for _ in range(2000):
                    await channel.send_bytes(frame)
            async with asyncio.timeout(WAIT_SECONDS):
                while (message := await channel.receive()).type in (aiohttp.WSMsgType.BINARY, aiohttp.WSMsgType.TEXT):
                    pass
        assert message.type in (aiohttp.WSMsgType.CLOSE, aiohttp.WSMsgType.CLOSED, aiohttp.WSMsgType.CLOSING)
    lines = [record.getMessage() for record in caplog.records]
    assert 1 <= len(lines) <= 15
    assert not [line for line in lines if not line.isprintable()]
    assert not [record for record in caplog.records if record.exc_info], "no traceback"


async def test_a_thousand_wrong_tokens(tmp_path, caplog):
    async with serving(tmp_path) as served, session() as client:
        at = f"https://127.0.0.1:{served.port}"
        statuses = []
        for k in range(15):
            async with client.get(f"{at}/feed", headers=bearer(f"wrong-{k:040}")) as answer:
                statuses.append(answer.status)
        assert statuses == [401] * 10 + [429] * 5
        async with client.get(f"{at}/feed", headers=bearer("wrong again")) as answer:
            assert answer.status == 429
            assert 0 < int(answer.headers["Retry-After"]) <= 60
        async with client.get(f"{at}/feed", headers=bearer(served.tokens["act"])) as answer:
            assert answer.status == 400, "a right token is not locked out: it is no WebSocket that is asked for"
        house = served.service._house
        for k in range(1000):
            with pytest.raises(web.Refused):
                house._judge(Fake(f"10.1.{k // 250}.{k % 250}"), f"guess-{k}")
        assert len(house._throttle) <= 1001
        assert house._judge(Fake("10.2.0.1"), served.tokens["act"]).may is May.ACT, "a good one is let in meanwhile"
    told = [r.getMessage() for r in caplog.records if "wrong token" in r.getMessage()]
    assert 1 <= len(told) <= 5, "told, not a thousand times"
    assert not [r for r in caplog.records if "guess-" in r.getMessage() or "wrong-0" in r.getMessage()]


class Fake:
    """As much of a request as a judge looks at."""

    def __init__(self, remote):
        self.remote = remote


async def test_foreign_hosts_and_pages_get_nothing(tmp_path):
    async with serving(tmp_path) as served, session() as client:
        at, good = f"https://127.0.0.1:{served.port}", bearer(served.tokens["act"])
        for host, status in (("evil.example", 421), ("", 421), ("pit.local:1", 200), (f"localhost:{served.port}", 200)):
            async with client.get(f"{at}/", headers={"Host": host}) as answer:
                assert answer.status == status, host
        for origin in ("https://evil.example", "null", f"http://127.0.0.1:{served.port}", "https://127.0.0.1"):
            async with client.get(f"{at}/feed", headers={**good, "Origin": origin}) as answer:
                assert answer.status == 403
            async with client.post(f"{at}/login", data={"token": "x"}, headers={"Origin": origin}) as answer:
                assert answer.status == 403
        async with client.post(f"{at}/login", data={"token": served.tokens["act"]}) as answer:
            assert answer.status == 403, "a form that says not where it comes from"
        async with logged_in(served, served.tokens["act"]) as (_, browser, cookie, _said):
            for headers in ({**cookie, "Origin": "https://evil.example"}, {"Cookie": cookie["Cookie"]}):
                with pytest.raises(aiohttp.WSServerHandshakeError, match="403"):
                    await browser.ws_connect(f"{at}/page-feed", headers=headers)


async def test_every_answer_is_guarded(tmp_path):
    async with serving(tmp_path) as served, logged_in(served, served.tokens["look"]) as (at, browser, cookie, said):
        assert all(word in said for word in ("__Host-coldside=", "Secure", "HttpOnly", "SameSite=Strict", "Path=/"))
        assert served.tokens["look"] not in said
        for path, headers in (("/", cookie), ("/", {}), ("/nowhere", {}), ("/who", cookie)):
            async with browser.get(at + path, headers=headers) as answer:
                policy = answer.headers["Content-Security-Policy"]
                assert policy.startswith("default-src 'none'")
                assert "unsafe" not in policy
                assert "frame-ancestors 'none'" in policy
                assert answer.headers["X-Content-Type-Options"] == "nosniff"
                assert answer.headers["Referrer-Policy"] in ("no-referrer", "same-origin")
                assert answer.headers["Cache-Control"] == "no-store"
                assert answer.headers["Server"] == "coldside"
                named = re.findall(r"""(?:src|href)=["']([^"']*)|@import|url\("?(?!#)""", await answer.text())
                assert set(named) <= {"/", ""}, "nothing from elsewhere"


async def test_the_page_feed_tells_the_cook_and_takes_an_acknowledgement(tmp_path):
    async with serving(tmp_path) as served:
        for may in ("look", "act"):
            async with (
                logged_in(served, served.tokens[may]) as (at, browser, cookie, _),
                browser.ws_connect(f"{at}/page-feed", headers=cookie) as channel,
            ):
                hello, trend, view = [json.loads((await channel.receive(WAIT_SECONDS)).data) for _ in range(3)]
                assert (hello["kind"], hello["may"], hello["unit"]) == ("hello", may, "F")
                assert trend["whole"]
                assert 120 < len(trend["rows"]) < 200
                assert len(trend["rows"][0]) == 2 + len(view["zones"])
                assert view["troubles"][0]["calls"]
                assert {len(row) for row in view["map"]["mean"]} == {28}
                await channel.send_str(json.dumps({"do": "acknowledge", "number": 3, "key": "cold"}))
                reply = json.loads((await channel.receive(WAIT_SECONDS)).data)
                assert (reply["number"], reply["done"]) == (3, may == "act")
                assert may == "act" or "may only look" in reply["why"]
                if may == "act":
                    assert not json.loads((await channel.receive(WAIT_SECONDS)).data)["troubles"][0]["calls"]
                await channel.send_str('{"do": "open the lid", "number": 4}')
                while (last := await channel.receive(WAIT_SECONDS)).type is aiohttp.WSMsgType.TEXT:
                    pass
                assert last.data == aiohttp.WSCloseCode.UNSUPPORTED_DATA


async def test_a_token_that_is_taken_away_ends_what_it_opened(tmp_path, monkeypatch):
    monkeypatch.setattr("collector.serve.service.TOKENS_SECONDS", 0.05)
    async with serving(tmp_path) as served, session() as client:
        url = f"https://127.0.0.1:{served.port}/feed"
        async with logged_in(served, served.tokens["act"]) as (at, browser, cookie, _):
            dashboard = await client.ws_connect(url, headers=bearer(served.tokens["act"]), max_msg_size=0)
            page = await browser.ws_connect(f"{at}/page-feed", headers=cookie)
            looker = await client.ws_connect(url, headers=bearer(served.tokens["look"]), max_msg_size=0)
            await next_of(dashboard, wire.News)
            remove_token(served.options.tokens, "act")
            async with asyncio.timeout(WAIT_SECONDS):
                async for _ in dashboard:
                    pass
                async for _ in page:
                    pass
            assert dashboard.close_code == aiohttp.WSCloseCode.POLICY_VIOLATION
            assert not looker.closed
            async with browser.get(f"{at}/who", headers=cookie) as answer:
                assert answer.status == 401


async def test_logging_out_ends_the_session_on_this_side_too(tmp_path):
    async with serving(tmp_path) as served, logged_in(served, served.tokens["look"]) as (at, browser, cookie, _):
        async with browser.get(f"{at}/who", headers=cookie) as answer:
            assert answer.status == 200
        async with browser.post(f"{at}/logout", headers=cookie, allow_redirects=False) as answer:
            assert answer.status == 303
        async with browser.get(f"{at}/who", headers=cookie) as answer:
            assert answer.status == 401


async def test_a_viewer_over_tcp_that_reads_nothing_costs_nobody_anything(tmp_path):
    async with serving(tmp_path) as served, session() as client:
        url = f"https://127.0.0.1:{served.port}/feed"
        headers = bearer(served.tokens["look"])
        sleeper = await client.ws_connect(url, headers=headers, max_msg_size=0)
        sleeper._conn.transport.pause_reading()
        channel = await client.ws_connect(url, headers=headers, max_msg_size=0)
        await next_of(channel, wire.News)
        for k in range(1500):
            served.publish(cook=f"cook {k}")
            if k % 100 == 0:
                await asyncio.sleep(0)
        while (await next_of(channel, wire.News)).snapshot.cook != "cook 1499":
            pass
        viewers = served.feed._viewers
        assert len(viewers) == 2
        assert all(len(v.trend) <= HISTORY_POINTS for v in viewers)
        transports = [link.connection.transport for link in served.service._house._links]
        assert max(t.get_write_buffer_size() for t in transports) < 4_000_000
        for k in (sleeper, channel):
            k._conn.transport.abort()


async def test_bodies_and_headers_are_bounded(tmp_path):
    async with serving(tmp_path) as served, session() as client:
        at = f"https://127.0.0.1:{served.port}"
        async with client.post(f"{at}/login", data={"token": "x" * 10_000}, headers={"Origin": at}) as answer:
            assert answer.status == 413
        for headers in ({"X-Long": "x" * 20_000}, {f"X-{k}": "x" for k in range(200)}):
            with contextlib.suppress(aiohttp.ClientError):  # it may be cut off while it still sends
                async with client.get(f"{at}/", headers=headers) as answer:
                    assert answer.status == 400
        async with client.get(f"{at}/" + "x" * 5000) as answer:
            assert answer.status == 400
        async with client.ws_connect(f"{at}/feed", headers=bearer(served.tokens["act"]), max_msg_size=0) as channel:
            await channel.send_bytes(wire.encode(wire.AddMark(1, "note", "x" * 50_000)))
            async with asyncio.timeout(WAIT_SECONDS):
                async for _ in channel:
                    pass
            assert channel.close_code in (aiohttp.WSCloseCode.MESSAGE_TOO_BIG, aiohttp.WSCloseCode.ABNORMAL_CLOSURE)
        async with client.get(f"{at}/who") as answer:
            assert answer.status == 401, "it still answers"


async def test_who_dawdles_is_cut_off_and_one_address_gets_only_so_many(tmp_path, monkeypatch):
    monkeypatch.setattr(web, "REQUEST_SECONDS", 0.3)
    async with serving(tmp_path, tls=False) as served, session() as client:
        opened = [await asyncio.open_connection("127.0.0.1", served.port) for _ in range(MOST_OF_ONE_ADDRESS + 4)]
        for _, writer in opened[:2]:
            writer.write(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
        async with asyncio.timeout(WAIT_SECONDS):
            for reader, _ in opened:
                with contextlib.suppress(ConnectionError):
                    assert await reader.read() == b""
        for _, writer in opened:
            writer.close()
        await until(lambda: not served.service.connections)
        monkeypatch.undo()
        async with client.get(f"http://127.0.0.1:{served.port}/") as answer:
            assert answer.status == 200
        monkeypatch.setattr(web, "REQUEST_SECONDS", 3.0)
        async with client.ws_connect(
            f"http://127.0.0.1:{served.port}/feed", headers=bearer(served.tokens["look"]), max_msg_size=0
        ) as channel:
            await asyncio.sleep(3.2)
            served.publish(cook="still there")
            while (await next_of(channel, wire.News)).snapshot.cook != "still there":
                pass


async def test_who_does_not_speak_tls_or_believe_the_certificate_gets_nowhere(tmp_path):
    async with serving(tmp_path) as served:
        reader, writer = await asyncio.open_connection("127.0.0.1", served.port)
        writer.write(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        with contextlib.suppress(ConnectionError):
            assert b"coldside" not in await reader.read()
        writer.close()
        async with aiohttp.ClientSession() as client:
            with pytest.raises(aiohttp.ClientConnectorCertificateError):
                await client.get(f"https://127.0.0.1:{served.port}/")
    assert server_context(*served.options.certificate).minimum_version == ssl.TLSVersion.TLSv1_2


async def test_a_taken_port_is_told_once_and_tried_again(tmp_path, caplog):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        async with serving(tmp_path, port=port, start=False) as served:
            served.task = asyncio.create_task(served.service.run())
            await until(lambda: "nobody can attach" in caplog.text)
            await asyncio.sleep(0.4)
            assert served.service.port is None
            told = [r for r in caplog.records if "nobody can attach" in r.getMessage()]
            assert len(told) == 1
            assert "in use" in told[0].getMessage()
            taken.close()
            await until(lambda: served.service.port is not None)
            assert served.service.port == port


async def test_a_certificate_that_is_renewed_is_shown_to_who_comes_next(tmp_path):
    async with serving(tmp_path) as served:

        async def shown():
            _, writer = await asyncio.open_connection(
                "127.0.0.1", served.port, ssl=ssl._create_unverified_context(), server_hostname="pit.local"
            )
            found = writer.get_extra_info("ssl_object").getpeercert(binary_form=True)
            writer.close()
            return found

        before = await shown()
        for file in served.options.certificate:
            file.unlink()
        certify(tmp_path)
        assert await shown() != before
        served.ca.write_text("nonsense")
        assert await shown() != before, "one that cannot be used leaves the last good one"


# ---- the collector as its user runs it


async def test_the_collector_serves_by_its_config(collecting, pit_config, real_broker, tmp_path):
    broker = real_broker.start()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    certificate, _ = certify(tmp_path)
    text = f'[serve]\nlisten = "127.0.0.1:{port}"\ncertificate_file = "pit.crt"\nkey_file = "pit.key"\n'
    running = collecting(pit_config(broker.port) + text).start()
    await until(lambda: "phones may attach" in (tmp_path / "log").read_text())
    maps = Path(f"/proc/{running.process.pid}/maps").read_text()
    assert "/aiohttp/" not in maps, "it waits for somebody to knock"
    secret = add_token(tmp_path / "cooks.tokens.json", "phone", May.ACT, time.time())
    (tmp_path / "token").write_text(secret)
    (tmp_path / "token").chmod(0o600)
    words = ["--at", f"127.0.0.1:{port}", "--token-file", str(tmp_path / "token"), "--ca", str(certificate)]
    done = await asyncio.to_thread(
        subprocess.run, [sys.executable, "-m", "tui.cli", "mark", "from the house", *words],
        capture_output=True, text=True, timeout=WAIT_SECONDS, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (0, "marked: note from the house\n"), done.stderr
    assert [m.text for m in (await running.up()).marks] == ["from the house"]
    log = (tmp_path / "log").read_text()
    assert fingerprint(certificate) in log
    assert secret not in log
    assert running.stop() == 0
