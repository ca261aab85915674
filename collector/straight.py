"""A whole recording straight through pipeline and store, as fast as it goes: the demo without a screen, and tests."""

from collections import Counter
from collections.abc import Iterable
from pathlib import Path

import msgspec

from adapters.reading import Reading
from collector.cooks import open_cook
from collector.errors import StoreError
from collector.model.alarm import Transition
from collector.model.plan import Plan
from collector.pipeline import Pipeline
from collector.snapshot import Mark, Snapshot, TrendPoint
from collector.store.archive import Archive
from collector.store.database import Database
from collector.store.row import unix_of, verdict_of
from collector.version import VERSION as COLDSIDE

__all__ = ["StraightRun", "run_straight"]

ROWS_PER_COMMIT = 5000


class StraightRun(msgspec.Struct, frozen=True):
    """What a run through a recording gave."""

    cook: str
    started_unix: float
    ended_unix: float
    readings: int
    qualities: dict[str, int]
    """Readings by the quality the screening gave them."""
    transitions: tuple[Transition, ...]
    marks: tuple[Mark, ...]
    trend: tuple[TrendPoint, ...]
    last: Snapshot


def run_straight(plan: Plan, readings: Iterable[Reading], store: Path, *, cook: str) -> StraightRun:
    """Record and judge all readings; the time is theirs.

    Raises:
        StoreError: the store cannot be used.
        ValueError: there are no readings.
    """
    source = iter(readings)
    first = next(source, None)
    if first is None:
        raise ValueError("the recording is empty")
    database = Database(store)
    try:
        with Archive(store) as archive:
            until = archive.last_ordinal()
        if unix_of(until) > first.received_unix:
            raise StoreError(
                f"{store}: holds what was recorded later than this; a recording is kept in a store of its own"
            )
        opened = open_cook(database, plan, first.received_unix, name=cook, coldside=COLDSIDE)
        events: list[Transition | Mark | TrendPoint] = []
        pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal, events.append)
        qualities: Counter[str] = Counter()
        count = 0
        reading: Reading | None = first
        while reading is not None:
            pipeline.take(reading)
            count += 1
            if len(pipeline.batch.rows) >= ROWS_PER_COMMIT:
                _commit(database, opened.number, pipeline, qualities)
            reading = next(source, None)
        _commit(database, opened.number, pipeline, qualities)
        database.end_cook(opened.number, round(pipeline.engine.now_unix * 1000))
    finally:
        database.close()
    return StraightRun(
        cook, opened.engine.started_unix, pipeline.engine.now_unix, count, dict(qualities),
        tuple(e for e in events if isinstance(e, Transition)), tuple(e for e in events if isinstance(e, Mark)),
        tuple(e for e in events if isinstance(e, TrendPoint)), pipeline.engine.snapshot(),
    )  # fmt: skip


def _commit(database: Database, cook: int, pipeline: Pipeline, qualities: Counter[str]) -> None:
    batch = pipeline.cut()
    for row in batch.rows:
        qualities[verdict_of(row[3])[0].name.lower()] += 1
    database.commit(cook, batch, full=False)
