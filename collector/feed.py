"""The newest snapshot to any number of dashboards, over a unix socket (`collector.channel`, `collector.attach`).

Those on other machines come in through `collector.serve`.

A viewer that reads slowly gets fewer snapshots, never late ones: each has room for one, and the newest replaces it.
"""

import asyncio
import contextlib
import logging
import math
import os
import socket as sockets
import stat
import time
from collections import deque
from collections.abc import Awaitable, Callable, Iterator
from functools import partial
from pathlib import Path

from collector import wire
from collector.attach import GREATEST_COMMAND_BYTES, TOO_MANY, attend
from collector.channel import StreamChannel, StreamError
from collector.errors import ServeError
from collector.faults import FaultBook
from collector.snapshot import RuleView, Snapshot, TrendPoint, TrendStretch
from collector.store.trend import PackedRow, row_of, stretches

__all__ = ["Feed", "Form", "Viewer"]

log = logging.getLogger(__name__)

HISTORY_POINTS = 12 * 360
"""Twelve hours at one point every ten seconds."""
MAX_VIEWERS = 64
GOODBYE_SECONDS = 0.5
STRANGE_SECONDS = 60.0

Form = Callable[[Snapshot], bytes]
"""Turns a snapshot into what is sent to one kind of viewer."""
AtOnce = Callable[[bytes], bool]
"""Hands a snapshot to the network where that takes it without a wait; tells whether it did."""


def _never(_: bytes) -> bool:
    return False


class Viewer:
    """What waits for one dashboard."""

    def __init__(self, leave: Callable[[], Awaitable[None]], form: Form, at_once: AtOnce) -> None:
        self.leave = leave
        """Says goodbye to it."""
        self.form = form
        self.at_once = at_once
        self.waits = False
        """All it was sent is under way: whoever sends to it waits for `wake`."""
        self.wake = asyncio.Event()
        self.snapshot: bytes | None = None
        self.trend: deque[TrendPoint] = deque(maxlen=HISTORY_POINTS)


class Feed:
    """Serves dashboards.

    Args:
        command: carries out what a dashboard asks; returns why not, empty when done.
        snapshot: shows the cook now, for a dashboard that attaches.
        rules: shows how every rule stands, for whoever asks.
        faults: contains what cannot be shown to one kind of viewer.
    """

    def __init__(
        self,
        command: Callable[[wire.Request], str],
        snapshot: Callable[[], Snapshot],
        rules: Callable[[], tuple[RuleView, ...]] = tuple,
        faults: FaultBook | None = None,
    ) -> None:
        self.faults = faults or FaultBook()
        self._command = command
        self._snapshot = snapshot
        self._rules = rules
        self._viewers: set[Viewer] = set()
        self._history: deque[PackedRow] = deque(maxlen=HISTORY_POINTS)
        """A night as objects would be megabytes."""
        self._server: asyncio.Server | None = None
        self._attached: dict[asyncio.Task[None], StreamChannel] = {}
        self._told_strange = -math.inf
        self._socket: tuple[Path, tuple[int, int] | None] | None = None
        """Its path, and which file it is there."""

    @property
    def watched(self) -> bool:
        """Whether any dashboard is attached: nobody needs a snapshot otherwise."""
        return bool(self._viewers)

    @property
    def full(self) -> bool:
        """Whether as many dashboards are attached as there is room for."""
        return len(self._viewers) >= MAX_VIEWERS

    def answer(self, command: wire.Command) -> wire.Reply | wire.Rules:
        """Carry out what a dashboard asks, or tell what it wants to know."""
        if isinstance(command, wire.AskRules):
            none: tuple[RuleView, ...] = ()
            now = time.time()
            rules = self.faults.attempt("list of the rules", now, self._rules, lambda: none, lasting=False)
            return wire.Rules(command.number, rules)
        why = self._command(command)
        return wire.Reply(command.number, not why, why)

    def history(self, newest_seconds: float = float("inf")) -> tuple[TrendStretch, ...]:
        """Give the trend so far, oldest first; or only so many seconds of it, the newest."""
        since = self._history[-1][0] - newest_seconds if self._history else 0.0
        return stretches(row for row in self._history if row[0] > since)

    def add_trend(self, point: TrendPoint) -> None:
        """Add a row to the history and to what each viewer gets next."""
        self._history.append(row_of(point))
        for viewer in self._viewers:
            viewer.trend.append(point)

    def publish(self, snapshot: Snapshot) -> None:
        """Give every viewer this snapshot in place of the one it has not read yet."""
        if not self._viewers:
            return
        made: dict[Form, bytes | None] = {}
        for viewer in self._viewers:
            form = viewer.form
            if form not in made:
                made[form] = self._formed(form, snapshot)
            payload = made[form]
            if payload is None:
                continue
            all_sent = viewer.waits and not viewer.wake.is_set() and not viewer.trend
            if all_sent and viewer.at_once(payload):
                continue  # nobody had to be woken for it, which would cost more than the sending
            viewer.snapshot = payload
            viewer.wake.set()

    def _formed(self, form: Form, snapshot: Snapshot) -> bytes | None:
        """Write a snapshot for one kind of viewer; None where that fails."""
        return self.faults.attempt(
            "form of the news", snapshot.now_unix, partial(form, snapshot), lambda: None, lasting=False
        )

    @contextlib.contextmanager
    def viewer(
        self, leave: Callable[[], Awaitable[None]], form: Form = wire.news, at_once: AtOnce = _never
    ) -> Iterator[Viewer]:
        """Count a dashboard in, with the cook as it is now for its first sight, and out again."""
        viewer = Viewer(leave, form, at_once)
        viewer.snapshot = self._formed(form, self._snapshot())
        if viewer.snapshot is not None:
            viewer.wake.set()
        self._viewers.add(viewer)
        try:
            yield viewer
        finally:
            self._viewers.discard(viewer)

    async def open(self, socket: Path) -> None:
        """Listen on a unix socket that the owner and the group may use.

        Raises:
            ServeError: the socket cannot be made, something else is in its place, or another collector serves there.
        """
        mask = os.umask(0o117)
        try:
            _clear(socket)
            self._server = await asyncio.start_unix_server(self._attend, socket, limit=GREATEST_COMMAND_BYTES)
        except OSError as error:
            raise ServeError(f"{socket}: dashboards cannot attach here: {error.strerror or error}") from error
        finally:
            os.umask(mask)
        self._socket = socket, _identity(socket)

    async def _attend(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one dashboard of this machine."""
        task = asyncio.current_task()
        assert task is not None
        self._attached[task] = channel = StreamChannel(reader, writer, greatest_bytes=GREATEST_COMMAND_BYTES)
        try:
            if self.full:
                await channel.send(wire.encode(wire.Goodbye(TOO_MANY)))
            else:
                await attend(channel, self, may_act=True)
        except StreamError as error:
            channel.abort()  # who speaks otherwise may never read what is under way to him
            self._tell_strange(error)
        except OSError as error:
            log.debug("a dashboard is gone: %s", error)
        finally:
            del self._attached[task]
            await channel.close()

    def _tell_strange(self, error: StreamError) -> None:
        """Log it once a minute: a dashboard of another version knocks every few seconds."""
        now = asyncio.get_running_loop().time()
        if now - self._told_strange >= STRANGE_SECONDS:
            self._told_strange = now
            log.warning("who came to the socket is no dashboard of this version: %s", error)

    async def close(self) -> None:
        """Let all viewers go and take the socket away, if it is still ours."""
        if self._socket is not None:
            path, ours = self._socket
            if _identity(path) == ours:  # while the server lives, no other file can have this number
                path.unlink(missing_ok=True)
            self._socket = None
        if self._server is not None:
            self._server.close()
        await asyncio.gather(*(_let_go(viewer) for viewer in self._viewers))
        if self._attached:
            await asyncio.wait(self._attached, timeout=GOODBYE_SECONDS)
        for channel in self._attached.values():
            channel.abort()
        if self._attached:  # they see the end of their streams
            await asyncio.wait(self._attached, timeout=GOODBYE_SECONDS)


async def _let_go(viewer: Viewer) -> None:
    """Say goodbye to a viewer, who need not listen."""
    with contextlib.suppress(TimeoutError, ConnectionError):
        async with asyncio.timeout(GOODBYE_SECONDS):
            await viewer.leave()


def _clear(socket: Path) -> None:
    """Make room for the socket: a collector that was killed leaves its own behind.

    Raises:
        ServeError: what is there is no such leftover.
    """
    mask = os.umask(0o027)
    try:
        socket.parent.mkdir(parents=True, exist_ok=True)
    finally:
        os.umask(mask)
    try:
        kind = socket.lstat().st_mode
    except FileNotFoundError:
        return
    if not stat.S_ISSOCK(kind):
        raise ServeError(f"{socket}: is a file, not a socket; it is left as it is")
    if _answers(socket):
        raise ServeError(f"{socket}: another collector serves here")
    socket.unlink(missing_ok=True)


def _answers(socket: Path) -> bool:
    """Tell whether anybody listens on a socket."""
    with sockets.socket(sockets.AF_UNIX) as caller:
        caller.setblocking(False)
        try:
            caller.connect(str(socket))
        except (ConnectionRefusedError, FileNotFoundError):
            return False
        except BlockingIOError:  # it listens, and is busy
            return True
    return True


def _identity(path: Path) -> tuple[int, int] | None:
    """Give device and number of a file, None where there is none."""
    try:
        found = path.lstat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
