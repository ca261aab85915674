"""Rows 4 and 16: CPU time a night and memory of the whole daemon, beside a bare aiomqtt loop on the same stream.

All hear the same broker at the same time: sixteen messages a second at QoS 1, evenly spaced, as sixteen probes send.
At that pace waking up is the bill, not the work. The bare loop has numpy imported. Both run twice, once on MQTT 3.1.1
and once on MQTT 5, whose packets cost more to read. What reading and acknowledging by paho's own code alone cost is
told beside it: no daemon on that library comes below.
"""

import asyncio
import time
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from tests.bench.broker import broker, next_line, python
from tests.bench.burst import Daemon
from tests.bench.measure import Effort, Finding, cpu_seconds, ratio, resident_mb
from tests.bench.pit import config_text, scratch
from tests.bench.publisher import publish

__all__ = ["measure"]

PER_SECOND = 16
NIGHT_SECONDS = 36_000
WARM_UP_SECONDS = 4


def measure(effort: Effort) -> list[Finding]:
    """Run them for most of a minute, read in slices so that a disturbance shows."""
    slices, seconds = effort.of(5, 3), effort.of(9, 5)
    with broker() as b, scratch() as folder:
        daemons = [_daemon(Path(folder), b.port, version) for version in ("3.1.1", "5")]
        peers = (("bare", "3.1.1"), ("bare", "5"), ("sockets", "3.1.1"), ("sockets", "5"))
        loops = [python("tests.bench.receivers", which, b.port, "pit", 1, 0, version) for which, version in peers]
        assert [next_line(loop) for loop in loops] == ["ready"] * len(peers)
        sender = publish(b.port, "pit", PER_SECOND * (WARM_UP_SECONDS + slices * seconds + 25), 1, PER_SECOND)
        for daemon in daemons:
            daemon.recording()
        pids = (*(daemon.pid for daemon in daemons), *(loop.pid for loop in loops))
        time.sleep(WARM_UP_SECONDS)
        at = [[cpu_seconds(pid) for pid in pids]]
        for _ in range(slices):
            time.sleep(seconds)
            at.append([cpu_seconds(pid) for pid in pids])
        resident = [resident_mb(pid) for pid in pids]
        asyncio.run(daemons[1].up())
        watched = resident_mb(daemons[1].pid)
        for process in (sender, *loops):
            process.kill()
            process.wait(10)
        for daemon in daemons:
            daemon.stop()
    spent = [[later - earlier for earlier, later in zip(a, b, strict=True)] for a, b in pairwise(at)]
    ours_3, ours_5, bare_3, bare_5, sockets_3, sockets_5 = zip(*spent, strict=True)
    return [
        _cpu("MQTT 3.1.1", ours_3, bare_3, sockets_3, seconds),
        _cpu("MQTT 5", ours_5, bare_5, sockets_5, seconds),
        _memory(resident[1], resident[2], watched),
    ]


def _daemon(folder: Path, port: int, version: str) -> Daemon:
    place = folder / version
    place.mkdir()
    return Daemon(place, config_text(port, version=version).replace("bench-pit", f"bench-{version}"))


def _cpu(
    protocol: str, ours: Sequence[float], theirs: Sequence[float], sockets: Sequence[float], seconds: float
) -> Finding:
    _, low, high = ratio(ours, theirs)
    span = seconds * len(ours)
    night = NIGHT_SECONDS / span
    note = (
        f"{sum(ours) * night:.0f} against {sum(theirs) * night:.0f} CPU-s a night of 10 h, from {span:.0f} s at "
        f"{PER_SECOND}/s QoS 1; {100 * sum(ours) / span:.2f} against {100 * sum(theirs) / span:.2f} % of a core; "
        f"paho's own reading and acknowledging alone {sum(sockets) * night:.0f} CPU-s, "
        f"{sum(sockets) / sum(theirs):.2f} of that loop; least..most over slices"
    )
    value = sum(ours) / sum(theirs)
    return Finding(
        4, f"CPU a night, coldside collect / aiomqtt loop, {protocol}", value, "x", 1.3, 0.8, False, low, high, note
    )


def _memory(ours_mb: float, bare_mb: float, watched_mb: float) -> Finding:
    value = ours_mb / bare_mb
    note = f"{ours_mb:.1f} against {bare_mb:.1f} MB resident, nobody attached; {watched_mb:.1f} MB once a dashboard was"
    return Finding(16, "memory, coldside collect / aiomqtt + numpy", value, "x", 1.25, None, False, value, value, note)
