"""Rows 7 and 8: bytes the disk takes for a reading at a commit a second, and how long a durable commit takes.

The bytes once more with the cook sealed afterwards: its rows are deleted, and pages change by that too.

Bytes are what the kernel counts as written by this process (`/proc/self/io`, write_bytes: pages dirtied), with every
commit of readings synced, so that no page is dirtied twice before it is counted; sealing syncs at its checkpoints.
"""

import os
import sqlite3
import statistics
import time
from collections.abc import Iterator
from pathlib import Path

from collector.store.database import Batch, Database
from collector.store.row import Row
from collector.store.schema import SEQUENCE_BITS
from tests.bench.measure import Effort, Finding
from tests.bench.pit import scratch, values_of

__all__ = ["batches", "measure"]

START_MS = 1_790_000_000_000
DAY_MS = 86_400_000


def batches(seconds: int) -> Iterator[list[Row]]:
    """Yield a second's readings of sixteen probes at a time, with receipts as QoS 1 has them."""
    for second, row in enumerate(values_of(seconds).tolist()):
        yield [
            (
                (START_MS + 1000 * second + 60 * k) << SEQUENCE_BITS,
                k + 1,
                round(1000 * value),
                0,
                None,
                k << 32 | 0x1234567,
            )
            for k, value in enumerate(row)
        ]


class _ByProbe:
    """The same rows in a table whose key begins with the probe."""

    def __init__(self, path: Path) -> None:
        self._connection = sqlite3.connect(path, isolation_level=None)
        run = self._connection.execute
        run("PRAGMA journal_mode = WAL")
        run("PRAGMA synchronous = FULL")
        run(
            "CREATE TABLE reading (series INTEGER, id INTEGER, millicelsius INTEGER, flags INTEGER, source_ms INTEGER,"
            " receipt INTEGER, PRIMARY KEY (series, id)) WITHOUT ROWID"
        )

    def commit(self, rows: list[Row]) -> None:
        run = self._connection.execute
        run("BEGIN IMMEDIATE")
        self._connection.executemany(
            "INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?)", [(r[1], r[0], *r[2:]) for r in rows]
        )
        run("COMMIT")

    def close(self) -> None:
        self._connection.close()


class _Ours:
    """Our store."""

    def __init__(self, path: Path) -> None:
        self._database = Database(path)
        self._cook = self._database.begin_cook("bench", START_MS, "{}", "bench")

    def commit(self, rows: list[Row]) -> None:
        batch = Batch()
        batch.rows = rows
        self._database.commit(self._cook, batch, full=True)

    def seal(self) -> None:
        """End the cook and press its hours."""
        self._database.end_cook(self._cook, START_MS + DAY_MS)
        while self._database.seal((START_MS + 2 * DAY_MS) / 1000) is not None:
            pass

    def close(self) -> None:
        self._database.close()


def _written() -> int:
    line = next(line for line in Path("/proc/self/io").read_text().splitlines() if line.startswith("write_bytes"))
    return int(line.split()[1])


def _bytes_a_reading(store: "_Ours | _ByProbe", seconds: int, *, sealed: bool = False) -> float:
    before = _written()
    for rows in batches(seconds):
        store.commit(rows)
    if sealed and isinstance(store, _Ours):
        store.seal()
    store.close()
    return (_written() - before) / (16 * seconds)


def _commit_times(folder: Path, commits: int) -> tuple[list[float], list[float]]:
    """Time our commits and, in between, bare appends of as many bytes with an fdatasync: one frame of the journal."""
    ours, page = _Ours(folder / "times.db"), os.urandom(24 + 4096)
    raw = os.open(folder / "raw", os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    ours_seconds, raw_seconds = [], []
    for rows in batches(commits):
        began = time.perf_counter()
        ours.commit(rows)
        between = time.perf_counter()
        os.write(raw, page)
        os.fdatasync(raw)
        ours_seconds.append(between - began)
        raw_seconds.append(time.perf_counter() - between)
    os.close(raw)
    ours.close()
    return ours_seconds, raw_seconds


def measure(effort: Effort) -> list[Finding]:
    """Compare bytes and times."""
    seconds = effort.of(900, 300)
    with scratch() as folder:
        ours = _bytes_a_reading(_Ours(Path(folder) / "ours.db"), seconds)
        theirs = _bytes_a_reading(_ByProbe(Path(folder) / "theirs.db"), seconds)
        sealed = _bytes_a_reading(_Ours(Path(folder) / "sealed.db"), seconds, sealed=True)
        mine, raw = _commit_times(Path(folder), effort.of(600, 200))
    amount = (
        f"{ours:.0f} against {theirs:.0f} bytes a reading, {seconds} commits of 16, each synced, checkpoints included"
    )
    value = ours / theirs
    size = len(mine) // 5
    parts = [
        statistics.median(mine[k : k + size]) / statistics.median(raw[k : k + size]) for k in range(0, 5 * size, size)
    ]
    middle, beside = statistics.median(mine), statistics.median(raw)
    times = f"median {1e3 * middle:.2f} against {1e3 * beside:.2f} ms, in turn; least..most over fifths"
    pressed = f"{sealed:.0f} bytes a reading, of which sealing {sealed - ours:.0f}"
    what = "bytes written a reading, ours / keyed (probe, ts)"
    return [
        Finding(7, what, value, "x", 0.2, None, False, value, value, amount),
        Finding(7, "the same, and sealed", sealed / theirs, "x", 0.2, None, False, sealed / theirs, sealed / theirs,
                pressed),
        Finding(8, "durable commit, ours / append + fdatasync", middle / beside, "x", 1.5, 1.0, False, min(parts),
                max(parts), times),
    ]  # fmt: skip
