"""Rows 4 and 16: CPU time a night and memory of the whole daemon, beside a bare aiomqtt loop on the same stream.

Both hear the same broker at the same time: sixteen messages a second at QoS 1, evenly spaced, as sixteen probes send.
At that pace waking up is the bill, not the work. The bare loop has numpy imported.
"""

import asyncio
import time
from pathlib import Path

from tests.bench.broker import broker, next_line, python
from tests.bench.burst import Daemon
from tests.bench.measure import Effort, Finding, cpu_seconds, resident_mb
from tests.bench.pit import config_text, scratch
from tests.bench.publisher import publish

__all__ = ["measure"]

PER_SECOND = 16
NIGHT_SECONDS = 36_000
WARM_UP_SECONDS = 4


def measure(effort: Effort) -> list[Finding]:
    """Run both for most of a minute, read in slices so that a disturbance shows."""
    slices, seconds = effort.of(6, 3), effort.of(9, 5)
    with broker() as b, scratch() as folder:
        daemon = Daemon(Path(folder), config_text(b.port))
        bare = python("tests.bench.receivers", "bare", b.port, "pit", 1, 0)
        asyncio.run(daemon.up())
        assert next_line(bare) == "ready"
        sender = publish(b.port, "pit", PER_SECOND * (WARM_UP_SECONDS + slices * seconds + 5), 1, PER_SECOND)
        time.sleep(WARM_UP_SECONDS)
        at = [(cpu_seconds(daemon.pid), cpu_seconds(bare.pid))]
        for _ in range(slices):
            time.sleep(seconds)
            at.append((cpu_seconds(daemon.pid), cpu_seconds(bare.pid)))
        ours_mb, bare_mb = resident_mb(daemon.pid), resident_mb(bare.pid)
        sender.kill()
        sender.wait(10)
        bare.kill()
        bare.wait(10)
        daemon.stop()
    return [_cpu(at, slices * seconds), _memory(ours_mb, bare_mb)]


def _cpu(at: list[tuple[float, float]], seconds: float) -> Finding:
    ratios = [(b[0] - a[0]) / (b[1] - a[1]) for a, b in zip(at, at[1:], strict=False)]
    ours, bare = at[-1][0] - at[0][0], at[-1][1] - at[0][1]
    night = NIGHT_SECONDS / seconds
    note = (
        f"{ours * night:.0f} against {bare * night:.0f} CPU-s a night of 10 h, from {seconds:.0f} s at {PER_SECOND}/s QoS 1; "
        f"{100 * ours / seconds:.2f} against {100 * bare / seconds:.2f} % of a core; least..most over slices"
    )
    return Finding(
        4,
        "CPU a night, coldside collect / aiomqtt loop",
        ours / bare,
        "x",
        1.3,
        0.8,
        False,
        min(ratios),
        max(ratios),
        note,
    )


def _memory(ours_mb: float, bare_mb: float) -> Finding:
    value = ours_mb / bare_mb
    note = f"{ours_mb:.1f} against {bare_mb:.1f} MB resident"
    return Finding(16, "memory, coldside collect / aiomqtt + numpy", value, "x", 1.25, None, False, value, value, note)
