"""Cost against nights on record, sealed and not: listing them, starting the collector, the newest to its chart."""

import contextlib
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path

from adapters.reading import Reading
from collector.cooks import open_cook
from collector.pipeline import Pipeline
from collector.store.archive import Archive
from collector.store.database import Database
from tests.bench.growth.curve import Curve
from tests.bench.growth.probes import START, pit_of
from tests.bench.measure import Effort
from tests.bench.pit import scratch

__all__ = ["make_store", "measure"]

COUNTS = (1, 10, 100, 1000)
NIGHT_SECONDS, APART_SECONDS = 1800, 86_400
PROBES = 16
TABLES = ("reading", "trend")
COSTS = (
    ("list the cooks", "ms"), ("newest cook to its chart", "ms"), ("oldest cook into arrays", "ms"),
    ("start the collector's cook", "ms"), ("on disk", "MB"),
)  # fmt: skip


def measure(effort: Effort) -> Curve:
    """Make a store of so many short nights and read off it."""
    counts = COUNTS if not effort.quick else COUNTS[:3]
    found = []
    with scratch() as folder:
        for count in counts:
            path = Path(folder) / f"{count}.db"
            make_store(path, count)
            plain = _costs(path)
            sealing = 1e3 * _seal(path) / count
            found.append((*plain, *_costs(path), sealing))
            path.unlink()
    named = (
        *((f"{name}{state}", unit) for state in ("", ", sealed") for name, unit in COSTS),
        ("sealing, a night", "ms"),
    )
    return Curve(
        f"One record, more nights ({NIGHT_SECONDS // 60} min of {PROBES} probes every five seconds each)",
        "nights",
        counts,
        tuple((*head, values) for head, values in zip(named, zip(*found, strict=True), strict=True)),
        "Wall time.",
    )


def _costs(path: Path) -> tuple[float, ...]:
    """Give what `COSTS` names."""
    listed, charted = (1e3 * _seconds(lambda work=work: work(path)) for work in (_list, _chart))
    read = 1e3 * _seconds(lambda: _read(path))
    started = 1e3 * _start(path)
    return listed, charted, read, started, path.stat().st_size / 1e6


def _seconds(work: Callable[[], object], times: int = 3) -> float:
    best = float("inf")
    for _ in range(times):
        began = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - began)
    return best


def _list(path: Path) -> int:
    with Archive(path) as archive:
        return len(archive.cooks())


def _chart(path: Path) -> int:
    with Archive(path) as archive:
        return len(archive.trend(archive.cook("last")))


def _read(path: Path) -> int:
    with Archive(path) as archive:
        return len(archive.columns(archive.cook("night 0")).ordinal)


def _start(path: Path) -> float:
    """Begin a cook, as the collector does at its start, and take it away again; give the seconds of the first."""
    began = time.perf_counter()
    database = Database(path)
    try:
        opened = open_cook(database, pit_of(PROBES), START + 2000.0 * APART_SECONDS, name="again", coldside="bench")
        took = time.perf_counter() - began
        assert not opened.resumed
        database.end_cook(opened.number, round((START + 2001.0 * APART_SECONDS) * 1000))
        with Archive(path) as archive:
            database.forget([archive.cook("again")])
    finally:
        database.close()
    return took


def _seal(path: Path) -> float:
    """Press every night, as the recorder does in its spare time, and give the room back; give seconds of the first."""
    database = Database(path)
    try:
        began = time.perf_counter()
        while database.seal(START + 3000.0 * APART_SECONDS) is not None:
            pass
        took = time.perf_counter() - began
        database.compact()
    finally:
        database.close()
    return took


def make_store(path: Path, count: int) -> None:
    """Record one night, and put it on record again day by day."""
    plan = pit_of(PROBES)
    database = Database(path)
    opened = open_cook(database, plan, START, name="night 0", coldside="bench")
    pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
    for k in range(0, NIGHT_SECONDS, 5):
        for i, probe in enumerate(plan.probes):
            pipeline.take(Reading(probe.source, probe.key, 110.0 + 0.1 * ((k + i) % 7), START + k + 0.01 * i))
    database.commit(opened.number, pipeline.cut(), full=False)
    database.end_cook(opened.number, round((START + NIGHT_SECONDS) * 1000))
    database.close()
    with contextlib.closing(sqlite3.connect(path)) as db:
        columns = {
            t: [c[1] for c in db.execute(f"PRAGMA table_info({t})")] for t in ("reading", "trend", "cook", "plan")
        }
        step_ms = APART_SECONDS * 1000
        for k in range(1, count):
            moved = {"id": f"id + ({k * step_ms} << 12)", "time_ms": f"time_ms + {k * step_ms}", "cook": f"{k + 1}"}
            for table in TABLES:
                chosen = ", ".join(moved.get(c, f'"{c}"') for c in columns[table])
                low, high = round(START * 1000), round(START * 1000) + step_ms
                span = f"id < {high << 12}" if table == "reading" else f"time_ms < {high} AND time_ms >= {low}"
                db.execute(f"INSERT INTO {table} SELECT {chosen} FROM {table} WHERE {span}")
            cook = "SELECT ?, ?, started_ms + ?, ended_ms + ?, coldside FROM cook WHERE id = 1"
            values = (k + 1, f"night {k}", k * step_ms, k * step_ms)
            db.execute(f"INSERT INTO cook (id, name, started_ms, ended_ms, coldside) {cook}", values)
            plan = "SELECT ?, from_id + (? << 12), plan FROM plan WHERE cook = 1"
            db.execute(f"INSERT INTO plan {plan}", (k + 1, k * step_ms))
        db.commit()
