"""A server of snapshots on a unix socket: the collector's own feed, or one of the library `websockets`.

`python -m tests.bench.attach_server ours|library SOCKET VIEWERS COUNT PER_SECOND` says `ready`, waits until so many
are attached, gives them so many snapshots at an even pace, and prints the CPU seconds that took. Both make the message
from the snapshot once for all viewers.
"""

import asyncio
import sys
import time
from collections.abc import Callable
from pathlib import Path

from websockets.asyncio.server import ServerConnection, broadcast, unix_serve

from collector import wire
from collector.feed import Feed
from collector.snapshot import Snapshot
from tests.bench.painter import frames

__all__: list[str] = []


async def _give(
    send: Callable[[Snapshot], None], attached: Callable[[], int], viewers: int, count: int, rate: float
) -> None:
    snapshots = frames(20)
    print("ready", flush=True)
    while attached() < viewers:
        await asyncio.sleep(0.01)
    await asyncio.sleep(0.3)
    began, cpu = asyncio.get_running_loop().time(), time.process_time()
    for k in range(count):
        send(snapshots[k % len(snapshots)])
        await asyncio.sleep(max(0.0, began + (k + 1) / rate - asyncio.get_running_loop().time()))
    print(time.process_time() - cpu, flush=True)


async def ours(socket: Path, viewers: int, count: int, rate: float) -> None:
    """Serve by the collector's feed."""
    first = frames(1)[0]
    feed = Feed(lambda _: "", lambda: first)
    await feed.open(socket)
    try:
        await _give(feed.publish, lambda: len(feed._viewers), viewers, count, rate)
    finally:
        await feed.close()


async def library(socket: Path, viewers: int, count: int, rate: float) -> None:
    """Serve by the library's own way to tell many the same."""
    attached: set[ServerConnection] = set()

    async def attend(viewer: ServerConnection) -> None:
        attached.add(viewer)
        await viewer.wait_closed()
        attached.discard(viewer)

    async with unix_serve(attend, str(socket), compression=None):
        await _give(lambda s: broadcast(attached, wire.news(s)), lambda: len(attached), viewers, count, rate)


if __name__ == "__main__":
    serve = ours if sys.argv[1] == "ours" else library
    asyncio.run(serve(Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]), float(sys.argv[5])))
