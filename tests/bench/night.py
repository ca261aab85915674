"""Rows 4 and 16: CPU time a night and memory of the whole daemon, beside a bare aiomqtt loop on the same stream.

All hear the same broker at the same time: sixteen messages a second at QoS 1, evenly spaced, as sixteen probes send.
At that pace waking up is the bill, not the work. The bare loop has numpy imported,
and runs twice: on MQTT 3.1.1, its default, and on MQTT 5, which the daemon speaks. What reading and acknowledging by
paho's own code alone cost is told beside it: no daemon on that library comes below.
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
        daemon = Daemon(Path(folder), config_text(b.port))
        peers = (("bare", "3.1.1"), ("bare", "5"), ("sockets", "5"))
        loops = [python("tests.bench.receivers", which, b.port, "pit", 1, 0, version) for which, version in peers]
        assert [next_line(loop) for loop in loops] == ["ready"] * len(peers)
        sender = publish(b.port, "pit", PER_SECOND * (WARM_UP_SECONDS + slices * seconds + 25), 1, PER_SECOND)
        daemon.recording()
        pids = (daemon.pid, *(loop.pid for loop in loops))
        time.sleep(WARM_UP_SECONDS)
        at = [[cpu_seconds(pid) for pid in pids]]
        for _ in range(slices):
            time.sleep(seconds)
            at.append([cpu_seconds(pid) for pid in pids])
        resident = [resident_mb(pid) for pid in pids]
        asyncio.run(daemon.up())
        watched = resident_mb(daemon.pid)
        for process in (sender, *loops):
            process.kill()
            process.wait(10)
        daemon.stop()
    spent = [[later - earlier for earlier, later in zip(a, b, strict=True)] for a, b in pairwise(at)]
    ours, default, same, sockets = zip(*spent, strict=True)
    return [
        _cpu("aiomqtt loop", ours, default, sockets, seconds),
        _cpu("the same loop on MQTT 5", ours, same, sockets, seconds),
        _memory(resident[0], resident[1], watched),
    ]


def _cpu(
    peer: str, ours: Sequence[float], theirs: Sequence[float], sockets: Sequence[float], seconds: float
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
    return Finding(4, f"CPU a night, coldside collect / {peer}", value, "x", 1.3, 0.8, False, low, high, note)


def _memory(ours_mb: float, bare_mb: float, watched_mb: float) -> Finding:
    value = ours_mb / bare_mb
    note = f"{ours_mb:.1f} against {bare_mb:.1f} MB resident, nobody attached; {watched_mb:.1f} MB once a dashboard was"
    return Finding(16, "memory, coldside collect / aiomqtt + numpy", value, "x", 1.25, None, False, value, value, note)
