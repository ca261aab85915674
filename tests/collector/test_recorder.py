"""The recorder: one row that cannot be written holds up no other, and is counted."""

import asyncio

import pytest

from adapters.reading import Reading
from collector.cooks import open_cook
from collector.errors import StoreError
from collector.faults import FaultBook
from collector.pipeline import Pipeline
from collector.recorder import Recorder
from collector.store.archive import Archive
from collector.store.database import Database
from tests.waiting import WAIT_SECONDS
from tui.nights import night_settings

START = 1_790_000_000.0
PLAN = night_settings().plan


@pytest.fixture
def recording(tmp_path):
    database = Database(tmp_path / "s.db")
    opened = open_cook(database, PLAN, START, name="n", coldside="test")
    pipeline = Pipeline(opened.engine, database.series)
    faults, acknowledged = FaultBook(), []
    recorder = Recorder(
        database,
        opened.number,
        pipeline,
        faults=faults,
        on_committed=lambda name, receipt: acknowledged.append(receipt),
    )
    return recorder, pipeline, faults, acknowledged


def hear(pipeline, count):
    for k in range(count):
        pipeline.take(Reading(PLAN.probes[0].source, PLAN.probes[0].key, 100.0 + k, START + k, receipt=k + 1))


async def test_a_row_the_store_cannot_take_is_given_up_and_all_others_are_written(recording, tmp_path, caplog):
    recorder, pipeline, faults, acknowledged = recording
    hear(pipeline, 10)
    bad = pipeline.batch.rows[4]
    pipeline.batch.rows[4] = (bad[0], bad[1], 1 << 70, *bad[3:])  # no integer of SQLite's
    assert await recorder.flush()
    assert acknowledged == [10]
    assert [(fault.part, fault.critical) for fault in faults.records] == [("record", True)]
    assert "1 rows cannot be written" in caplog.text
    hear(pipeline, 3)
    assert await recorder.flush(), "what comes next is recorded as ever"
    assert await recorder.close(5.0) == 0
    with Archive(tmp_path / "s.db") as archive:
        assert archive.cook("n").readings == 12


async def test_a_disk_that_refuses_is_tried_again_and_costs_nothing(recording, tmp_path, monkeypatch):
    recorder, pipeline, faults, acknowledged = recording
    hear(pipeline, 10)
    commit = Database.commit

    def refuse(*_args, **_more):
        raise StoreError("disk full")

    monkeypatch.setattr(Database, "commit", refuse)
    assert not await recorder.flush()
    assert (recorder.refused, acknowledged, faults.records) == (True, [], ())
    monkeypatch.setattr(Database, "commit", commit)
    assert await asyncio.wait_for(recorder.close(5.0), WAIT_SECONDS) == 0
    assert acknowledged == [10]
