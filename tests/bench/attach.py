"""Row 19: CPU time the server takes for a message to a dashboard, ways of the library `websockets` against ours.

Twenty viewers in this process read snapshots of sixteen probes and count them; a feed that gave fewer would be told,
for ours leaves out what a slow viewer could not take.
"""

import asyncio
import statistics
from pathlib import Path

from websockets.asyncio.client import unix_connect

from tests.bench.broker import next_line, python
from tests.bench.measure import Effort, Finding, ratio, turns
from tests.bench.pit import scratch
from tui.way import SocketWay

__all__ = ["measure"]

VIEWERS = 20
PER_SECOND = 200


def measure(effort: Effort) -> list[Finding]:
    """Compare them, in turn, several times."""
    count = effort.of(300, 200)
    got: dict[str, int] = {}

    def serve(which: str) -> float:
        with scratch() as folder:
            path = Path(folder) / "s"
            server = python("tests.bench.attach_server", which, path, VIEWERS, count, PER_SECOND)
            try:
                assert next_line(server) == "ready"
                read, cpu = asyncio.run(_view(path, which == "ours", lambda: float(next_line(server))))
                got[which] = read - (3 * VIEWERS if which == "ours" else 0)  # greeting, history and first sight
            finally:
                server.kill()
                server.wait(10)
        return 1e6 * cpu / got[which]

    ways = ("ours", "send", "broadcast", "bare")
    ours, *others = turns(3, [lambda way=way: serve(way) for way in ways])
    sent, broadcast, bare = others
    told = ", ".join(f"{way} {statistics.median(us):.0f}" for way, us in zip(ways, (ours, *others), strict=True))
    note = (
        f"us of CPU a message: {told}; {VIEWERS} viewers, {PER_SECOND} snapshots a second, of {VIEWERS * count} "
        f"messages {', '.join(f'{got[way]}' for way in ways)} arrived"
    )
    return [
        _finding("websockets, send to each / ours", ratio(sent, ours), 2, 2.5, note),
        _finding("websockets, broadcast / ours", ratio(broadcast, ours), 1, None),
        _finding("whole frames to bare transports / ours", ratio(bare, ours), 0.8, None),
    ]


def _finding(
    what: str, found: tuple[float, float, float], floor: float, stretch: float | None, note: str = ""
) -> Finding:
    return Finding(19, f"attach, CPU a message, {what}", found[0], "x", floor, stretch, True, found[1], found[2], note)


async def _view(socket: Path, ours: bool, told: object) -> tuple[int, float]:
    """Attach the viewers; give how many snapshots they read, and what the server said of its CPU time."""
    read = 0

    async def look() -> None:
        nonlocal read
        opened = SocketWay(socket).open() if ours else unix_connect(str(socket), compression=None)
        async with opened as link:
            async for _ in link:
                read += 1

    tasks = [asyncio.create_task(look()) for _ in range(VIEWERS)]
    cpu = await asyncio.to_thread(told)  # type: ignore[arg-type]
    await asyncio.sleep(0.2)
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    return read, cpu
