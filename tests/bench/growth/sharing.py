"""Cost against collectors that share what one broker sends: a group of MQTT 5, each message to one member."""

import asyncio
import contextlib
import sqlite3
import time
from pathlib import Path

from tests.bench.broker import broker
from tests.bench.burst import Daemon
from tests.bench.growth.curve import Curve
from tests.bench.measure import Effort, cpu_seconds
from tests.bench.pit import config_text, scratch
from tests.bench.publisher import publish

__all__ = ["measure"]

COUNTS = (1, 2, 4)
LONGEST_SECONDS = 60.0


def measure(effort: Effort) -> Curve:
    """Send as fast as the members take it; count what is on record."""
    messages = effort.of(40_000, 16_000)
    counts = COUNTS if not effort.quick else COUNTS[:2]
    found = [asyncio.run(_share(count, messages)) for count in counts]
    return Curve(
        "One broker, more collectors in one group: whole collectors, QoS 1, as fast as they take it",
        "collectors",
        counts,
        (
            ("all, on record", "messages/s", tuple(rate for rate, _, _ in found)),
            ("all", "us of CPU a message", tuple(cpu for _, cpu, _ in found)),
            ("least that one member got", "% of an even share", tuple(least for _, _, least in found)),
        ),
        "Each message is on record once, over all members. Broker, sender and members are on this one machine.",
    )


async def _share(members: int, messages: int) -> tuple[float, float, float]:
    """Give messages a second, microseconds a message, and the least share of a member, percent of an even one."""
    with broker() as b, scratch() as folder:
        daemons = []
        for k in range(members):
            place = Path(folder) / str(k)
            place.mkdir()
            group = f'client_id = "bench-{k}"\nshare = "bench"'
            daemons.append(Daemon(place, config_text(b.port).replace('client_id = "bench-pit"', group)))
        try:
            for daemon in daemons:
                await daemon.up()
            before = sum(cpu_seconds(d.pid) for d in daemons)
            sender = publish(b.port, "pit", messages, 1, values="numbered")
            stop, began, early = time.monotonic() + LONGEST_SECONDS, 0.0, 0
            while sum(kept := [_on_record(d.store) for d in daemons]) < messages and time.monotonic() < stop:
                if not early and sum(kept):  # the sender makes its packets first
                    began, early = time.perf_counter(), sum(kept)
                await asyncio.sleep(0.1)
            took, spent = time.perf_counter() - began, sum(cpu_seconds(d.pid) for d in daemons) - before
            sender.wait(10)
        finally:
            for daemon in daemons:
                daemon.stop()
        told = [n for daemon in daemons for n in _numbers(daemon.store)]
    assert sorted(told) == list(range(messages)), "a message is on record twice, or not at all"
    return (messages - early) / took, 1e6 * spent / messages, 100.0 * min(kept) * members / messages


def _on_record(store: Path) -> int:
    with contextlib.closing(sqlite3.connect(f"file:{store}?mode=ro", uri=True)) as db:
        return int(db.execute("SELECT count(*) FROM reading").fetchone()[0])


def _numbers(store: Path) -> list[int]:
    with contextlib.closing(sqlite3.connect(store)) as db:
        return [n for (n,) in db.execute("SELECT millicelsius FROM reading")]
