"""Cost against pits of one machine: a collector each, sixteen messages a second each, a real broker."""

import time
from pathlib import Path

from tests.bench.broker import broker
from tests.bench.burst import Daemon
from tests.bench.growth.curve import Curve
from tests.bench.measure import Effort, cpu_seconds, resident_mb
from tests.bench.pit import config_text, scratch
from tests.bench.publisher import publish

__all__ = ["measure"]

COUNTS = (1, 5, 20, 50)
PER_SECOND = 16
SECONDS = 6.0


def measure(effort: Effort) -> Curve:
    """Run so many collectors and read what they take together."""
    counts = COUNTS if not effort.quick else COUNTS[:2]
    share, memory, start = [], [], []
    for count in counts:
        cpu, resident, began = _run(count)
        share.append(100.0 * cpu)
        memory.append(resident)
        start.append(began)
    return Curve(
        "One machine, more pits: whole collectors at sixteen readings a second each, QoS 1",
        "pits",
        counts,
        (
            ("all collectors", "% of a core", tuple(share)),
            ("all collectors", "MB resident", tuple(memory)),
            ("until all record", "s", tuple(start)),
        ),
        "Started at once; the broker and the sender are not counted.",
    )


def _run(count: int) -> tuple[float, float, float]:
    with broker() as b, scratch() as folder:
        sender = publish(b.port, "pit", 100_000, 1, PER_SECOND)
        began = time.monotonic()
        daemons = []
        for k in range(count):
            place = Path(folder) / str(k)
            place.mkdir()
            text = config_text(b.port).replace('client_id = "bench-pit"', f'client_id = "bench-{k}"')
            daemons.append(Daemon(place, text))
        try:
            for daemon in daemons:
                daemon.recording(120.0)
            ready = time.monotonic() - began
            time.sleep(2.0)
            before = [cpu_seconds(d.pid) for d in daemons]
            at = time.monotonic()
            time.sleep(SECONDS)
            spent = sum(cpu_seconds(d.pid) - early for d, early in zip(daemons, before, strict=True))
            return spent / (time.monotonic() - at), sum(resident_mb(d.pid) for d in daemons), ready
        finally:
            sender.kill()
            sender.wait(10)
            for daemon in daemons:
                daemon.process.terminate()
            for daemon in daemons:
                daemon.stop()
