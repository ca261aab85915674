"""A job that fails is started again, with growing waits, and counted."""

import asyncio
from random import Random

import pytest

from collector import jobs
from collector.faults import FaultBook
from collector.jobs import CAP_SECONDS, CRITICAL_CAP_SECONDS, Job, keep_running

ENOUGH = 12


async def waits(job, faults):
    """Run a job until it was started again some times; give the waits between."""
    slept = []

    async def sleep(seconds):
        slept.append(seconds)
        if len(slept) == ENOUGH:
            raise asyncio.CancelledError

    with pytest.raises(asyncio.CancelledError):
        await keep_running(job, faults, lambda: 100.0 + len(slept), random=Random(3), sleep=sleep)
    return slept


async def fails():
    raise OSError("no such host")


@pytest.mark.parametrize(("critical", "cap"), [(True, CRITICAL_CAP_SECONDS), (False, CAP_SECONDS)])
async def test_a_job_that_fails_is_started_again_ever_later_and_each_time_counted(critical, cap):
    faults = FaultBook()
    slept = await waits(Job("serve", fails, critical=critical), faults)
    assert sum(slept[6:]) > sum(slept[:6])
    assert max(slept) <= cap
    assert max(slept) > cap / 2
    (fault,) = faults.records
    assert (fault.part, fault.count, fault.critical) == ("job serve", ENOUGH, critical)
    assert "no such host" in fault.traceback
    assert [t.key for t in faults.troubles(112.0)] == ["fault/job serve"]


async def test_a_job_that_ends_is_started_again_and_counted_too():
    ran = []

    async def ends():
        ran.append(1)

    faults = FaultBook()
    await waits(Job("tick", ends), faults)
    assert len(ran) == ENOUGH
    assert (faults.records[0].count, faults.records[0].error.partition(" ")[0]) == (ENOUGH, "JobEndedError")


async def test_a_job_that_ran_for_a_while_starts_from_the_shortest_wait_and_its_fault_is_over(monkeypatch):
    monkeypatch.setattr(jobs, "HEALTHY_SECONDS", 0.02)
    faults, working = FaultBook(), []

    async def works_for_a_while():
        await asyncio.sleep(0.05)
        working.append(not any(fault.failing for fault in faults.records))
        raise OSError

    slept = await waits(Job("serve", works_for_a_while), faults)
    assert max(slept) <= 1.0
    assert all(working)


async def test_cancelling_ends_it():
    task = asyncio.create_task(keep_running(Job("s", asyncio.Event().wait), FaultBook(), float, random=Random(1)))
    await asyncio.sleep(0)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
