"""A server of snapshots on a unix socket: the collector's own feed, or one of the library `websockets`.

`python -m tests.bench.attach_server WAY SOCKET VIEWERS COUNT PER_SECOND` says `ready`, waits until so many are
attached, gives them so many snapshots at an even pace, and prints the CPU seconds that took. All ways make the message
from the snapshot once for all viewers: `ours`; `send`, the library's to each in turn; `broadcast`, the library's to
all; `bare`, whole frames written to the library's transports, which is what no server on asyncio comes below.
"""

import asyncio
import sys
import time
from collections.abc import Awaitable, Callable
from pathlib import Path

from websockets.asyncio.server import ServerConnection, broadcast, unix_serve

from collector import wire
from collector.feed import Feed
from collector.serve.web_channel import frame_head
from collector.snapshot import Snapshot
from tests.bench.painter import frames

__all__: list[str] = []


async def _give(
    send: Callable[[Snapshot], Awaitable[None]], attached: Callable[[], int], viewers: int, count: int, rate: float
) -> None:
    snapshots = frames(20)
    print("ready", flush=True)
    while attached() < viewers:
        await asyncio.sleep(0.01)
    await asyncio.sleep(0.3)
    began, cpu = asyncio.get_running_loop().time(), time.process_time()
    for k in range(count):
        await send(snapshots[k % len(snapshots)])
        await asyncio.sleep(max(0.0, began + (k + 1) / rate - asyncio.get_running_loop().time()))
    print(time.process_time() - cpu, flush=True)


async def ours(socket: Path, viewers: int, count: int, rate: float) -> None:
    """Serve by the collector's feed."""
    first = frames(1)[0]
    feed = Feed(lambda _: "", lambda: first)

    async def send(snapshot: Snapshot) -> None:
        feed.publish(snapshot)

    await feed.open(socket)
    try:
        await _give(send, lambda: len(feed._viewers), viewers, count, rate)
    finally:
        await feed.close()


async def library(way: str, socket: Path, viewers: int, count: int, rate: float) -> None:
    """Serve by one of the library's ways, or past it."""
    attached: set[ServerConnection] = set()

    async def attend(viewer: ServerConnection) -> None:
        attached.add(viewer)
        await viewer.wait_closed()
        attached.discard(viewer)

    async def send(snapshot: Snapshot) -> None:
        payload = wire.news(snapshot)
        if way == "broadcast":
            broadcast(attached, payload)
        elif way == "send":
            for viewer in attached:
                await viewer.send(payload)
        else:
            frame = frame_head(len(payload)) + payload
            for viewer in attached:
                viewer.transport.write(frame)

    async with unix_serve(attend, str(socket), compression=None):
        await _give(send, lambda: len(attached), viewers, count, rate)


if __name__ == "__main__":
    way, numbers = sys.argv[1], (int(sys.argv[3]), int(sys.argv[4]), float(sys.argv[5]))
    asyncio.run(ours(Path(sys.argv[2]), *numbers) if way == "ours" else library(way, Path(sys.argv[2]), *numbers))
