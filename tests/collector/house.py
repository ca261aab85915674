"""A service on loopback with a certificate of its own, a cook to show, and somebody who looks at it."""

import asyncio
import contextlib
import datetime as dt
import time
from dataclasses import dataclass, field
from pathlib import Path

import aiohttp
import msgspec

from collector import wire
from collector.feed import Feed
from collector.serve.address import Listen
from collector.serve.certificate import self_signed
from collector.serve.service import ServeOptions, Service
from collector.serve.tokens import May, add_token
from collector.snapshot import AlarmState, Priority, TroubleView
from tests.tui.conftest import alarm, history, night
from tests.waiting import WAIT_SECONDS

COLD = TroubleView(
    key="cold",
    priority=Priority.URGENT,
    state=AlarmState.UNACKNOWLEDGED,
    active=True,
    since_unix=time.time() - 780.0,
    title="2 zones run cold: flat side, stack end",
    what="look at the fire and the lid",
    value=13.0,
    limit=8.3,
    unit="kelvin",
    alarms=("cold-spot/stack end", "cold-spot/flat side"),
)


def certify(folder, name="pit"):
    """Make a certificate for loopback; give its file and the key's."""
    files = folder / f"{name}.crt", folder / f"{name}.key"
    self_signed(["pit.local", "127.0.0.1", "::1", "localhost"], *files, dt.datetime.now(dt.UTC))
    return files


def tonight():
    """Give the cook of the dashboard's tests, as if it were now."""
    now = time.time()
    cook = night()
    shift = now - cook.now_unix
    probes = tuple(
        msgspec.structs.replace(p, heard_unix=p.heard_unix + shift if p.heard_unix is not None else None)
        for p in cook.probes
    )
    stands = (alarm("cold-spot/stack end", value=13.0, limit=8.3, unit="kelvin"),)
    fire = msgspec.structs.replace(cook.fire, refuel_due_unix=now + 300.0)
    return msgspec.structs.replace(
        cook, fire=fire, now_unix=now, started_unix=now - 6 * 3600.0, probes=probes, troubles=(COLD,), alarms=stands
    )


@dataclass
class Served:
    """A running service and the tokens to it."""

    folder: Path
    feed: Feed
    service: Service
    options: ServeOptions
    tokens: dict[str, str]
    asked: list[wire.Request]
    cook: list = field(default_factory=list)
    task: asyncio.Task | None = None
    port: int = 0

    async def start(self):
        self.task = asyncio.create_task(self.service.run())
        async with asyncio.timeout(WAIT_SECONDS):
            while self.service.port is None:
                await asyncio.sleep(0.005)
        self.port = self.service.port

    async def stop(self):
        if self.task is not None:
            self.task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self.task
            self.task = None
            await self.feed.close()
            await self.service.close(0.1)

    def publish(self, **changes):
        self.cook[0] = msgspec.structs.replace(self.cook[0], now_unix=time.time(), **changes)
        self.feed.publish(self.cook[0])

    @property
    def ca(self):
        return self.options.certificate[0]


@contextlib.asynccontextmanager
async def serving(folder, *, tls=True, port=0, hosts=("pit.local",), start=True):
    """Serve tonight's cook; acknowledging its trouble is possible."""
    tokens = folder / "cooks.tokens.json"
    secrets = {m.value: add_token(tokens, m.value, m, time.time()) for m in May} if not tokens.exists() else {}
    files = None
    if tls:
        files = (folder / "pit.crt", folder / "pit.key")
        files = files if files[0].exists() else certify(folder)
    options = ServeOptions(Listen("127.0.0.1", port), files, frozenset(hosts), tokens, folder / "cooks.sessions.json")
    cook, asked = [tonight()], []

    def command(request):
        asked.append(request)
        if isinstance(request, wire.Acknowledge) and request.alarm == "cold":
            state = msgspec.structs.replace(COLD, state=AlarmState.ACKNOWLEDGED)
            served.publish(troubles=(state,))
            return ""
        if isinstance(request, wire.TurnMeat):
            return "" if request.piece == "brisket" else "there is no such piece"
        return "" if isinstance(request, wire.AddMark) else "there is no such alarm"

    feed = Feed(command, lambda: cook[0])
    shift = time.time() - night().now_unix
    for point in history():
        feed.add_trend(msgspec.structs.replace(point, time_unix=point.time_unix + shift))
    served = Served(folder, feed, Service(feed, options, retry_seconds=0.1), options, secrets, asked, cook)
    if start:
        await served.start()
    try:
        yield served
    finally:
        await served.stop()


def session():
    """Make a client that takes any certificate: what is tried here is the other side."""
    return aiohttp.ClientSession(connector=aiohttp.TCPConnector(ssl=False, force_close=True))
