"""Keeps the collector's jobs running: a job that ends or fails is started again, with growing waits, and counted."""

import asyncio
from collections.abc import Awaitable, Callable
from random import Random

import msgspec

from adapters.backoff import delay_seconds
from collector.faults import FaultBook

__all__ = ["Job", "keep_running"]

HEALTHY_SECONDS = 60.0
"""A job that ran this long starts the waits from the shortest again."""
CRITICAL_CAP_SECONDS, CAP_SECONDS = 5.0, 60.0
"""The longest wait before a restart. What records, judges or calls is not left alone for long."""


class JobEndedError(Exception):
    """A job has ended that should run until the collector stops."""


class Job(msgspec.Struct, frozen=True):
    """Something that should run until the collector stops."""

    name: str
    run: Callable[[], Awaitable[None]]
    critical: bool = False
    """It records, judges or calls."""


async def keep_running(
    job: Job,
    faults: FaultBook,
    now: Callable[[], float],
    *,
    random: Random,
    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
) -> None:
    """Run a job until cancelled; record each failure as a fault of the part `job NAME`.

    Args:
        job: what runs.
        faults: where failures are recorded.
        now: the cook's time, Unix seconds.
        random: jitters the waits.
        sleep: how to wait.
    """
    part = f"job {job.name}"
    cap = CRITICAL_CAP_SECONDS if job.critical else CAP_SECONDS
    loop = asyncio.get_running_loop()
    attempt = 0
    while True:
        began = loop.time()
        healthy = loop.call_later(HEALTHY_SECONDS, lambda: faults.works(part, now()))
        try:
            await job.run()
            raise JobEndedError
        except Exception as error:  # noqa: BLE001 - a fault in one job does not end the night
            faults.record(part, now(), error, critical=job.critical, lasting=True)
        finally:
            healthy.cancel()
        attempt = 0 if loop.time() - began >= HEALTHY_SECONDS else attempt
        await sleep(delay_seconds(attempt, random, cap=cap))
        attempt += 1
