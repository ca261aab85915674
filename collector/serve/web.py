"""What is answered to other machines: the feed to dashboards with a token, the page to browsers that logged in.

Every request must name us in its Host header, and come from our own page where a browser sent it. Every connection
carries one request; only a WebSocket may last. No secret is logged.
"""

import asyncio
import contextlib
import logging
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from functools import partial
from typing import TYPE_CHECKING, Any, Protocol
from urllib.parse import parse_qs

import msgspec
from aiohttp import WSCloseCode, WSMsgType, web

from collector import wire
from collector.attach import ONLY_LOOK, STOPS, TOO_MANY, attend, sending
from collector.calls.link import Tapped
from collector.channel import StreamError
from collector.errors import TokenError
from collector.page_view import (
    TREND_SECONDS,
    PageAsk,
    PageHello,
    PageReply,
    PageTrend,
    PageViewer,
    command_of,
    thinned,
)
from collector.serve.address import names_us, own_page
from collector.serve.pages import HEADERS, Document, acknowledge_page, login_page, main_page
from collector.serve.sessions import SESSION_SECONDS, SessionBook
from collector.serve.throttle import Throttle
from collector.serve.tokens import May, Token, TokenBook
from collector.serve.web_channel import WebChannel, new_socket
from collector.snapshot import Snapshot
from collector.store.trend import points
from collector.version import VERSION as COLDSIDE

if TYPE_CHECKING:
    from collector.feed import Feed, Viewer
    from collector.serve.service import ServeOptions

__all__ = ["House", "Tap"]

log = logging.getLogger(__name__)
_silent = logging.getLogger("collector.serve.http")
_silent.setLevel(logging.CRITICAL + 1)  # what it says of bad requests may quote them, tokens and all

REQUEST_SECONDS = 15.0
"""From the connection to the end of the answer; a WebSocket lives on."""
MOST_BODY_BYTES = 4096
MOST_HEADER_BYTES = 8190
MOST_HEADERS = 64
MOST_LINKS = 48
"""Fewer than the feed has room for: the dashboards of the house itself always find a place."""
PAGE_SECONDS = 2.0
"""Between two views of the page."""


NO_LINK = (
    "This link is not good here: it was cut, or it is of another pit or of a cook before. Open the newest message and "
    "tap its whole link, or acknowledge on the phone page or in the dashboard."
)


class Tap(Protocol):
    """Answers the token of a link in a message."""

    def __call__(self, token: str, *, act: bool) -> Tapped | None:
        """Acknowledge, or only say what it stands for; None: the token is none of ours."""


class AskTap(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What the page behind a link sends."""

    token: str
    act: bool = False
    """Acknowledge; else only say what the link stands for."""

    def __repr__(self) -> str:
        return f"AskTap(act={self.act})"  # what the token is, no log and no traceback shall say


class Refused(Exception):  # noqa: N818  says what happened
    """A request that is not answered as it wishes."""

    def __init__(self, status: int, why: str, **headers: str) -> None:
        super().__init__(status, why)
        self.status = status
        self.why = why
        self.headers = {name.replace("_", "-"): value for name, value in headers.items()}


class Link(msgspec.Struct, frozen=True, eq=False):
    """One WebSocket, and by which right it is open."""

    token: Token
    channel: web.WebSocketResponse
    connection: "_Connection"

    async def end(self) -> None:
        """Close it; who does not answer is cut off."""
        with contextlib.suppress(TimeoutError, ConnectionError):
            async with asyncio.timeout(1.0):
                await self.channel.close(code=WSCloseCode.POLICY_VIOLATION, message=b"the token was taken away")
        self.connection.abort()


class _Connection(web.RequestHandler):
    """One connection: cut off unless its request is answered in time, or turns into a WebSocket."""

    __slots__ = ("_cut", "_gone")

    def __init__(self, server: web.Server, gone: Callable[[], None]) -> None:
        loop = asyncio.get_running_loop()
        super().__init__(
            server, loop=loop, logger=_silent, access_log=_silent, max_line_size=2048,
            max_field_size=MOST_HEADER_BYTES, max_headers=MOST_HEADERS, lingering_time=1.0,
        )  # fmt: skip
        self._gone = gone
        self._cut: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        self._cut = asyncio.get_running_loop().call_later(REQUEST_SECONDS, self.abort)

    def connection_lost(self, exc: BaseException | None) -> None:
        self.stay()
        super().connection_lost(exc)
        self._gone()

    def stay(self) -> None:
        """Let it last."""
        if self._cut is not None:
            self._cut.cancel()
            self._cut = None

    def abort(self) -> None:
        """Cut it off."""
        if self.transport is not None:
            self.transport.abort()


class House:
    """Answers every request that comes in over the network.

    Args:
        feed: what is shown.
        options: names, certificate, unit.
        book: the tokens.
        tap: answers the token of a link; None: there are no links.
    """

    def __init__(self, feed: "Feed", options: "ServeOptions", book: TokenBook, tap: Tap | None = None) -> None:
        self._feed = feed
        self._options = options
        self._tls = options.certificate is not None
        self._book = book
        self._tap = tap
        self._sessions = SessionBook(options.sessions)
        self._throttle = Throttle()
        self._told_wrong = 0.0
        self._links: set[Link] = set()
        self._ending: set[asyncio.Task[None]] = set()
        self._viewer = PageViewer(feed.faults)
        self._server = web.Server(self._answer, request_factory=_request)
        self._cookie = "__Host-coldside" if self._tls else "coldside"
        self._routes: dict[tuple[str, str], Callable[[web.BaseRequest], Awaitable[web.StreamResponse]]] = {
            ("GET", "/"): self._page,
            ("POST", "/login"): self._login,
            ("POST", "/logout"): self._logout,
            ("GET", "/who"): self._who,
            ("GET", "/acknowledge"): self._tap_page,
            ("POST", "/acknowledge"): self._tapped,
            ("GET", "/feed"): self._feed_link,
            ("GET", "/page-feed"): self._page_link,
        }

    def connection(self, gone: Callable[[], None]) -> asyncio.Protocol:
        """Make the protocol of one connection; `gone` is called at its end."""
        return _Connection(self._server, gone)

    def end_links(self, now_unix: float) -> None:
        """End what is open by a token that holds no more, or now allows something else."""
        for link in list(self._links):
            token = self._book.of_digest(link.token.sha256, now_unix)
            if token is None or token.may is not link.token.may:
                self._links.discard(link)
                task = asyncio.create_task(link.end())
                self._ending.add(task)
                task.add_done_callback(self._ending.discard)

    async def close(self, seconds: float) -> None:
        """End all connections."""
        await self._server.shutdown(seconds)

    async def _answer(self, request: web.BaseRequest) -> web.StreamResponse:
        try:
            return await self._route(request)
        except Refused as refused:
            return _plain(refused.status, refused.why, refused.headers)
        except web.HTTPException as error:  # of aiohttp: too long a body, no WebSocket
            return _plain(error.status, error.reason)
        except ConnectionError:
            raise
        except Exception:
            log.exception("serving %s: a fault of ours", request.path[:40])
            return _plain(500, "a fault of ours; it is in the collector's log")

    async def _route(self, request: web.BaseRequest) -> web.StreamResponse:
        host, origin = request.headers.get("Host", ""), request.headers.get("Origin")
        if not names_us(host, self._options.hosts, _our_address(request)):
            raise Refused(421, 'the pit is not known by this name; add it to hosts = ["..."] of [serve] in the config')
        if origin is not None and not own_page(origin, host, tls=self._tls):
            raise Refused(403, "another page asks for this; it is not given")
        route = self._routes.get((request.method, request.path))
        if route is None:
            raise Refused(404, "there is nothing here")
        if origin is None and (request.method == "POST" or request.path == "/page-feed"):
            raise Refused(403, "only our own page may ask for this")
        return await route(request)

    async def _page(self, request: web.BaseRequest) -> web.StreamResponse:
        if self._session(request) is None:
            return self._document(login_page(""), request)
        return self._document(main_page(), request)

    async def _login(self, request: web.BaseRequest) -> web.StreamResponse:
        fields = parse_qs((await request.read()).decode("utf-8", "replace"), max_num_fields=8)
        try:
            token = self._judge(request, fields.get("token", [""])[0].strip())
        except Refused as refused:
            return self._document(login_page(refused.why), request, refused.status)
        answer = _plain(303, "logged in", {"Location": "/"})
        answer.set_cookie(
            self._cookie, self._sessions.begin(token, time.time()), max_age=int(SESSION_SECONDS), path="/",
            secure=self._tls, httponly=True, samesite="Strict",
        )  # fmt: skip
        log.info("%s logged in from %s by the token %r", _browser(request), request.remote, token.name)
        return answer

    async def _logout(self, request: web.BaseRequest) -> web.StreamResponse:
        self._sessions.end(request.cookies.get(self._cookie, ""))
        answer = _plain(303, "logged out", {"Location": "/"})
        answer.del_cookie(self._cookie, path="/", secure=self._tls, httponly=True, samesite="Strict")
        return answer

    async def _who(self, request: web.BaseRequest) -> web.StreamResponse:
        """Tell the page whether it is still logged in."""
        if self._session(request) is None:
            raise Refused(401, "log in again")
        return _plain(200, "logged in")

    async def _tap_page(self, request: web.BaseRequest) -> web.StreamResponse:
        """Send the page behind a link; whoever asks for it has shown nothing yet, so nothing is done."""
        return self._document(acknowledge_page(), request)

    async def _tapped(self, request: web.BaseRequest) -> web.StreamResponse:
        """Answer the page behind a link, which sends the token in the body."""
        self._let_wait(request)
        try:
            asked = msgspec.json.decode(await request.read(), type=AskTap)
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            self._note_wrong(request, "link")
            raise Refused(400, NO_LINK) from error
        found = None if self._tap is None else self._tap(asked.token, act=asked.act)
        if found is None:
            self._note_wrong(request, "link")
            raise Refused(403, NO_LINK)
        answer = web.Response(body=msgspec.json.encode(found), content_type="application/json", headers=HEADERS)
        answer.force_close()
        return answer

    async def _feed_link(self, request: web.BaseRequest) -> web.StreamResponse:
        scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() != "bearer":
            raise Refused(401, "a token is needed", WWW_Authenticate="Bearer")
        token = self._judge(request, secret.strip())
        async with self._link(request, token) as channel:
            try:
                await attend(WebChannel(channel, request.transport), self._feed, may_act=token.may is May.ACT)
            except StreamError as error:
                log.warning("a link by the token %r is ended: %s", token.name, error, extra={"peer": request.remote})
                await channel.close(code=WSCloseCode.UNSUPPORTED_DATA, message=str(error).encode())
        return channel

    async def _page_link(self, request: web.BaseRequest) -> web.StreamResponse:
        token = self._session(request)
        if token is None:
            raise Refused(401, "log in again")
        async with self._link(request, token) as channel:
            leave = partial(WebChannel(channel, None).close, STOPS)
            with self._feed.viewer(leave, self._page_bytes) as viewer:
                async with sending(self._send_page(channel, viewer, token)):
                    await self._listen_page(channel, viewer, token)
        return channel

    @contextlib.asynccontextmanager
    async def _link(self, request: web.BaseRequest, token: Token) -> AsyncIterator[web.WebSocketResponse]:
        """Turn a request into a WebSocket, counted while it is open."""
        connection = request.protocol
        assert isinstance(connection, _Connection)
        if self._feed.full or len(self._links) >= MOST_LINKS:
            raise Refused(503, TOO_MANY, Retry_After="10")
        channel = new_socket()
        await channel.prepare(request)
        connection.stay()
        link = Link(token, channel, connection)
        self._links.add(link)
        try:
            yield channel
        finally:
            self._links.discard(link)

    async def _send_page(self, channel: web.WebSocketResponse, viewer: "Viewer", token: Token) -> None:
        """Greet, tell the trend so far, then how it stands, as often as the page needs."""
        await _say(channel, PageHello(token.may, self._options.unit, COLDSIDE))
        rows = thinned(points(self._feed.history(TREND_SECONDS)), 0.0)
        await _say(channel, PageTrend(rows, whole=True))
        newest = rows[-1][0] if rows else 0.0
        while True:
            await viewer.wake.wait()
            viewer.wake.clear()
            rows = thinned(viewer.trend, newest)
            viewer.trend.clear()
            if rows:
                newest = rows[-1][0]
                await _say(channel, PageTrend(rows, whole=False))
            await _say_newest(channel, viewer)
            await asyncio.sleep(PAGE_SECONDS)

    async def _listen_page(self, channel: web.WebSocketResponse, viewer: "Viewer", token: Token) -> None:
        async for message in channel:
            if message.type is not WSMsgType.TEXT:
                continue
            try:
                asked: PageAsk = msgspec.json.decode(message.data, type=PageAsk)
            except (msgspec.DecodeError, UnicodeDecodeError):
                await channel.close(code=WSCloseCode.UNSUPPORTED_DATA, message=b"not a message of this version")
                return
            reply = wire.Reply(asked.number, done=False, why=ONLY_LOOK)
            if token.may is May.ACT:
                answer = self._feed.answer(command_of(asked))
                assert isinstance(answer, wire.Reply)
                reply = answer
            await _say(channel, PageReply(reply.number, reply.done, reply.why))
            await _say_newest(channel, viewer)

    def _page_bytes(self, snapshot: Snapshot) -> bytes:
        """Make what a page is sent of a snapshot."""
        return msgspec.json.encode(self._viewer.view(snapshot))

    def _judge(self, request: web.BaseRequest, secret: str) -> Token:
        """Find the token somebody shows.

        A right one is let in whatever else came from its address: 256 random bits are not found by trying, and a
        stranger who tries must not lock out a phone on the same network. Only a wrong one has to wait.

        Raises:
            Refused: it is none, or there were too many wrong ones from there.
        """
        try:
            self._book.refresh()
        except TokenError as error:  # told once a change of the file
            log.warning("%s; nobody is let in by a token", error)
        token = self._book.match(secret, time.time())
        if token is None:
            self._let_wait(request)
            self._note_wrong(request, "token")
            raise Refused(401, "this token is not known here, or its time is over", WWW_Authenticate="Bearer")
        return token

    def _let_wait(self, request: web.BaseRequest) -> None:
        """Refuse an address that has shown too much that was wrong.

        Raises:
            Refused: it has to wait.
        """
        if wait := self._throttle.wait_seconds(request.remote or "", asyncio.get_running_loop().time()):
            seconds = f"{wait + 0.5:.0f}"
            raise Refused(429, f"too many wrong tokens from here; wait {seconds} s", Retry_After=seconds)

    def _note_wrong(self, request: web.BaseRequest, what: str) -> None:
        """Count a wrong token or link; say so in the log, once a second."""
        address, now = request.remote or "", asyncio.get_running_loop().time()
        count = self._throttle.wrong(address, now)
        if now - self._told_wrong >= 1.0:
            self._told_wrong = now
            log.warning("a wrong %s from %s, %d in the last minute", what, address, count)

    def _session(self, request: web.BaseRequest) -> Token | None:
        """Find the token a browser has logged in with; None where it has not."""
        now = time.time()
        digest = self._sessions.token_hash(request.cookies.get(self._cookie, ""), now)
        return None if digest is None else self._book.of_digest(digest, now)

    def _document(self, page: Document, request: web.BaseRequest, status: int = 200) -> web.Response:
        socket = f"{'wss' if self._tls else 'ws'}://{request.headers['Host']}"
        headers = {
            **HEADERS,
            "Content-Security-Policy": page.policy.replace("{ws}", socket),
            "Referrer-Policy": "same-origin",  # under no-referrer a form tells no Origin; others are told nothing so
        }
        answer = web.Response(status=status, text=page.text, content_type="text/html", headers=headers)
        answer.force_close()
        return answer


def _request(message: Any, payload: Any, protocol: Any, writer: Any, task: Any) -> web.BaseRequest:
    """Make a request whose body is bounded."""
    loop = asyncio.get_running_loop()
    return web.BaseRequest(message, payload, protocol, writer, task, loop, client_max_size=MOST_BODY_BYTES)


def _plain(status: int, text: str, headers: dict[str, str] | None = None) -> web.Response:
    answer = web.Response(status=status, text=f"{text}\n", headers={**HEADERS, **(headers or {})})
    answer.force_close()
    return answer


def _our_address(request: web.BaseRequest) -> str:
    name = request.transport.get_extra_info("sockname") if request.transport is not None else None
    return str(name[0]) if name else ""


def _browser(request: web.BaseRequest) -> str:
    """Name the browser in a word, as far as it says one that can be printed."""
    said = request.headers.get("User-Agent", "")[:200]
    names = ("Firefox", "Edg", "Chrome", "Safari")
    return next((name for name in names if name in said), "a browser")


async def _say(channel: web.WebSocketResponse, message: msgspec.Struct) -> None:
    await channel.send_str(msgspec.json.encode(message).decode())


async def _say_newest(channel: web.WebSocketResponse, viewer: "Viewer") -> None:
    payload, viewer.snapshot = viewer.snapshot, None
    if payload:
        await channel.send_str(payload.decode())
