"""The way in from other machines: listens, lets so many in, and never takes collecting down with it.

Imports neither TLS nor aiohttp before somebody knocks.
"""

import asyncio
import contextlib
import logging
import socket
import time
from collections import Counter
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from collector.errors import TokenError
from collector.paths import link_key_file, sessions_file, tokens_file
from collector.serve.address import Listen, parse_listen
from collector.serve.throttle import house_of
from collector.serve.tokens import TokenBook
from collector.settings.serving import certificate_files
from collector.settings.shape import Serve

if TYPE_CHECKING:
    import ssl

    from collector.feed import Feed
    from collector.serve.web import House, Tap

__all__ = ["ServeOptions", "Service", "serve_options"]

log = logging.getLogger(__name__)

RETRY_SECONDS = 10.0
TOKENS_SECONDS = 2.0
"""How soon a token that was taken away is shut out."""
MOST_CONNECTIONS = 96
MOST_OF_ONE_ADDRESS = 24
"""A browser opens a handful, a dashboard one."""
HANDSHAKE_SECONDS = 10.0
BACKLOG = 32


class ServeOptions(msgspec.Struct, frozen=True):
    """What is served where."""

    listen: Listen
    certificate: tuple[Path, Path] | None
    """Certificate and key; None on loopback only."""
    hosts: frozenset[str]
    """Names by which it may be reached."""
    tokens: Path
    sessions: Path
    unit: str = "F"
    """In which the page shows temperatures."""
    link: str = ""
    """Address under which a phone reaches us, for the links in messages; empty: they have none."""
    link_key: Path = Path()
    """File with the key by which links are signed."""


def serve_options(serve: Serve, folder: Path, store: Path, unit: str) -> ServeOptions:
    """Put together what the config says.

    Args:
        serve: a table that was checked.
        folder: of the config, where its files are.
        store: the tokens are beside it.
        unit: `F` or `C`.
    """
    return ServeOptions(
        parse_listen(serve.listen), certificate_files(serve, folder), frozenset(serve.hosts), tokens_file(store),
        sessions_file(store), unit, serve.link, link_key_file(store),
    )  # fmt: skip


class Service:
    """Lets dashboards and phones on other machines in.

    Args:
        feed: what they are shown.
        options: where, and how it is guarded.
        tap: answers the token of a link in a message.
        retry_seconds: wait before it tries again to listen.
    """

    def __init__(
        self, feed: "Feed", options: ServeOptions, *, tap: "Tap | None" = None, retry_seconds: float = RETRY_SECONDS
    ) -> None:
        if options.certificate is None and not options.listen.loopback:
            raise ValueError("beyond this machine it is served with a certificate or not at all")
        self._feed = feed
        self._options = options
        self._tap = tap
        self._retry_seconds = retry_seconds
        self._book = TokenBook(options.tokens)
        self._house: House | None = None
        self._context: ssl.SSLContext | None = None
        self._context_of: tuple[int, ...] = ()
        self._by_address: Counter[str] = Counter()
        self._callers: set[asyncio.Task[None]] = set()
        self.port: int | None = None
        """Where it listens; None while it does not."""

    @property
    def connections(self) -> int:
        """How many are connected or about to be."""
        return len(self._callers)

    async def run(self) -> None:
        """Listen for ever; a port that is taken is tried again and again."""
        try:
            async with asyncio.TaskGroup() as group:
                group.create_task(self._watch_tokens(), name="tokens")
                group.create_task(self._listen(), name="listen")
        finally:
            self.port = None

    async def close(self, seconds: float = 0.5) -> None:
        """Let everybody go; `run` has been cancelled before."""
        if self._house is not None:
            await self._house.close(seconds)
        callers = list(self._callers)
        for caller in callers:
            caller.cancel()
        await asyncio.gather(*callers, return_exceptions=True)
        for _ in range(5):  # the loop sees that they were shut down, and closes them
            await asyncio.sleep(0)

    async def _listen(self) -> None:
        told, where = "", self._options.listen
        while True:
            try:
                self._renew_context()
                listener = _listener(where)
            except (OSError, ValueError) as error:
                why = (error.strerror if isinstance(error, OSError) else None) or str(error)
                if why != told:
                    log.warning("nobody can attach at %s: %s; collecting goes on, it is tried again", where, why)
                told = why
                await asyncio.sleep(self._retry_seconds)
                continue
            told = ""
            with contextlib.closing(listener):
                self.port = listener.getsockname()[1]
                self._tell()
                await self._accept(listener)
            self.port = None

    def _tell(self) -> None:
        """Say in the log where it listens, and by which fingerprint it is known."""
        secure = "https" if self._options.certificate else "http"
        log.info("dashboards and phones may attach at %s://%s", secure, self._options.listen)
        if self._options.certificate is not None:
            from collector.serve.certificate import fingerprint

            log.info("SHA-256 fingerprint of the certificate: %s", fingerprint(self._options.certificate[0]))

    async def _accept(self, listener: socket.socket) -> None:
        """Take calls until the listening socket fails for good."""
        loop = asyncio.get_running_loop()
        failed = 0
        while failed < 10:
            try:
                caller, address = await loop.sock_accept(listener)
            except OSError as error:  # as many files are open as may be: some will be closed
                failed += 1
                log.warning("a caller could not be taken: %s", error.strerror)
                await asyncio.sleep(1.0)
                continue
            failed = 0
            house = house_of(str(address[0]))
            if len(self._callers) >= MOST_CONNECTIONS or self._by_address[house] >= MOST_OF_ONE_ADDRESS:
                caller.close()
                continue
            task = asyncio.create_task(self._admit(caller, house), name=f"caller {house}")
            self._callers.add(task)
            self._by_address[house] += 1
            task.add_done_callback(partial(self._gone, house))

    def _gone(self, house: str, task: asyncio.Task[None]) -> None:
        self._callers.discard(task)
        self._by_address[house] -= 1
        if self._by_address[house] <= 0:
            del self._by_address[house]
        if not task.cancelled() and (error := task.exception()) is not None:
            log.error("serving: a fault of ours", exc_info=error)

    async def _admit(self, caller: socket.socket, house: str) -> None:
        """Shake hands with one caller and keep the connection until it ends."""
        gone, handed_over = asyncio.Event(), False
        try:
            protocol = self._opened().connection(gone.set)
            self._renew_context()
            patience = HANDSHAKE_SECONDS if self._context is not None else None
            handed_over = True
            transport, _ = await asyncio.get_running_loop().connect_accepted_socket(
                lambda: protocol, caller, ssl=self._context, ssl_handshake_timeout=patience
            )
            try:
                await gone.wait()
            finally:
                transport.abort()
        except OSError as error:  # also of TLS: no browser, a certificate it does not take, nothing said for too long
            log.debug("%s was not let in: %s", house, error)
        finally:
            with contextlib.suppress(OSError):  # it is closed already, as a rule
                caller.shutdown(socket.SHUT_RDWR)  # a handshake that was broken off waits for the other side no more
            if not handed_over:
                caller.close()

    def _opened(self) -> "House":
        if self._house is None:
            from collector.serve.web import House

            self._house = House(self._feed, self._options, self._book, self._tap)
        return self._house

    def _renew_context(self) -> None:
        """Load the certificate, or load it anew when its files changed; one that cannot be loaded leaves the old.

        Raises:
            OSError: there is none so far, and it cannot be loaded.
        """
        if self._options.certificate is None:
            return
        from collector.serve.certificate import server_context

        try:
            found = tuple(file.stat().st_mtime_ns for file in self._options.certificate)
            if found == self._context_of:
                return
            self._context_of = found
            self._context = server_context(*self._options.certificate)
        except OSError as error:
            if self._context is None:
                self._context_of = ()
                raise
            log.warning("the new certificate cannot be used, the old one is kept: %s", error)

    async def _watch_tokens(self) -> None:
        """Read the tokens when their file changes, and end the links of those that are no more."""
        first = True
        while True:
            try:
                self._book.refresh()
            except TokenError as error:
                log.warning("%s; nobody is let in by a token", error)
            if first and not len(self._book):
                log.warning("nobody has a token yet: `coldside token add NAME --may look` makes one")
            first = False
            if self._house is not None:
                self._house.end_links(time.time())
            await asyncio.sleep(TOKENS_SECONDS)


def _listener(listen: Listen) -> socket.socket:
    """Open the socket to listen at; on `::` for IPv4 too.

    Raises:
        OSError: it is taken, or there is no such address here.
    """
    both = listen.host == "::" and socket.has_dualstack_ipv6()
    family = socket.AF_INET6 if ":" in listen.host else socket.AF_INET
    listener = socket.create_server((listen.host, listen.port), family=family, backlog=BACKLOG, dualstack_ipv6=both)
    listener.setblocking(False)
    return listener
