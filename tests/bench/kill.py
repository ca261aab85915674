"""Row 10: a writer killed at random moments: what it said was committed is there, and the store opens at once.

`python -m tests.bench.kill STORE FIRST` is the writer: it commits sixteen readings at a time and says each time how
many there are.
"""

import contextlib
import random
import select
import sqlite3
import sys
import time
from pathlib import Path

from collector.store.database import Batch, Database
from tests.bench.broker import next_line, python
from tests.bench.measure import Effort, Finding
from tests.bench.pit import scratch

__all__ = ["measure"]


def write(store: Path, first: int) -> None:
    """Commit until killed."""
    database = Database(store)
    cook = database.begin_cook(f"from {first}", 0, "{}", "bench")
    n = first
    while True:
        batch = Batch()
        batch.rows = [(k + 1, k % 16, k, 0, None, None) for k in range(n, n + 16)]
        database.commit(cook, batch, full=n % 160 == 0)
        n += 16
        print(n, flush=True)


def _killed(store: Path, first: int, after_seconds: float) -> int:
    """Let it write for a while and kill it; give how many readings it said were committed."""
    writer = python("tests.bench.kill", store, first)
    acknowledged = int(next_line(writer))
    stop = time.monotonic() + after_seconds
    while (left := stop - time.monotonic()) > 0:
        if select.select([writer.stdout], [], [], left)[0]:
            acknowledged = int(next_line(writer))
    writer.kill()
    said, _ = writer.communicate()
    lines = said.split("\n")[:-1]  # what follows the last line's end was cut off
    return int(lines[-1]) if lines else acknowledged


def measure(effort: Effort) -> list[Finding]:
    """Kill it twenty times; open the store and look after each."""
    choose = random.Random(20)
    lost, opened, acknowledged = 0, [], 0
    with scratch() as folder:
        store = Path(folder) / "killed.db"
        for _ in range(effort.of(20, 5)):
            acknowledged = _killed(store, acknowledged, choose.uniform(0.02, 0.4))
            began = time.perf_counter()
            database = Database(store)
            opened.append(1e3 * (time.perf_counter() - began))
            with contextlib.closing(sqlite3.connect(store)) as db:
                assert db.execute("PRAGMA quick_check").fetchone() == ("ok",)
                (there,) = db.execute("SELECT count(*) FROM reading WHERE id <= ?", (acknowledged,)).fetchone()
                (acknowledged_next,) = db.execute("SELECT coalesce(max(id), 0) FROM reading").fetchone()
            database.close()
            lost += acknowledged - there
            acknowledged = acknowledged_next
    opened.sort()
    note = f"{len(opened)} kills, {acknowledged} readings, quick_check ok each time"
    middle = opened[len(opened) // 2]
    return [
        Finding(10, "kill -9: acknowledged readings lost", lost, "", 0, 0, False, lost, lost, note),
        Finding(10, "kill -9: opening the store again", opened[-1], " ms", 100, 50, False, opened[0], opened[-1],
                f"median {middle:.1f} ms; the greatest counts"),
    ]  # fmt: skip


if __name__ == "__main__":
    write(Path(sys.argv[1]), int(sys.argv[2]))
