"""A source is kept alive: backoff, faults, messages kept whole."""

import asyncio
import logging
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.backoff import delay_seconds
from adapters.errors import LinkError, LinkReason
from adapters.reading import Reading
from adapters.source import Link, LinkState, SourceCounts
from collector.supervisor import Supervision, supervise
from tests.waiting import WAIT_SECONDS


class Lives:
    """A source whose lives are scripted: readings, then an error, or the end."""

    name = "s"

    def __init__(self, *lives):
        self.counts = SourceCounts()
        self._lives = list(lives)
        self.link = Link(LinkState.DOWN, LinkReason.NOT_STARTED)

    async def __aiter__(self):
        readings, error = self._lives.pop(0)
        for reading in readings:
            yield reading
        if error is None:
            self.link = Link(LinkState.ENDED, LinkReason.ENDED)
            return
        raise error

    def committed(self, receipt):
        pass

    def restore(self, receipts):
        pass


def reading(value, receipt=None):
    return Reading("s", "k", value, value, receipt=receipt)


async def run(source, take, room=None):
    room = room or at_once
    slept = []

    async def sleep(seconds):
        slept.append(seconds)

    watched = Supervision(source)
    async with asyncio.timeout(WAIT_SECONDS):
        await supervise(watched, take, room, random=Random(1), sleep=sleep)
    return watched, slept


async def at_once():
    pass


async def test_every_life_is_followed_by_a_longer_wait_until_the_end():
    lost = LinkError(LinkReason.LOST)
    source = Lives(*[([reading(k)], lost) for k in range(8)], ([reading(9)], None))
    taken = []
    watched, slept = await run(source, taken.append)
    assert [r.celsius for r in taken] == [0, 1, 2, 3, 4, 5, 6, 7, 9]
    assert watched.restarts == 8
    assert watched.last_heard_unix == 9
    assert all(0 < s <= 30 for s in slept)
    assert sum(slept[4:]) > sum(slept[:4])


async def test_where_nobody_answers_it_knocks_every_few_seconds():
    nobody, refused = LinkError(LinkReason.UNREACHABLE), LinkError(LinkReason.REFUSED)
    _, slept = await run(Lives(*[([], nobody)] * 30, ([], None)), lambda r: True)
    assert max(slept) <= 5.0
    _, slept = await run(Lives(*[([], refused)] * 30, ([], None)), lambda r: True)
    assert max(slept) > 10.0


async def test_it_is_told_once_that_a_source_is_connected_again(caplog, monkeypatch):
    monkeypatch.setattr("collector.supervisor.LOOK_SECONDS", 0.0)
    caplog.set_level(logging.INFO)

    class Back(Lives):
        async def __aiter__(self):
            if len(self._lives) == 1:
                self.link = Link(LinkState.UP)
                await asyncio.sleep(0.01)
            async for reading in super().__aiter__():
                yield reading

    await run(Back(([reading(1)], LinkError(LinkReason.LOST)), ([reading(2)], None)), lambda r: True)
    assert [r.message for r in caplog.records if "again" in r.message] == ["source s is connected again"]


async def test_a_fault_nobody_foresaw_restarts_it_too(caplog):
    source = Lives(([reading(1)], ZeroDivisionError("oh")), ([reading(2)], None))
    taken = []
    watched, _ = await run(source, taken.append)
    assert len(taken) == 2
    assert watched.fault == "", "and is forgotten when it is heard again"
    assert "ZeroDivisionError" in caplog.text


async def test_cancelling_is_not_swallowed():
    class Endless(Lives):
        async def __aiter__(self):
            yield reading(1)
            await asyncio.Event().wait()

    task = asyncio.create_task(supervise(Supervision(Endless()), lambda _: True, at_once, random=Random(1)))
    await asyncio.sleep(0.01)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task


async def test_a_message_is_never_split_by_a_wait():
    pack = [reading(k, receipt=7) for k in range(4)] + [reading(9, receipt=8)]
    log = []

    async def room():
        log.append("waited")

    def take(r):
        log.append(r.receipt)
        return False

    await run(Lives((pack, None)), take, room)
    assert log == [7, 7, 7, 7, "waited", 8]


@given(st.integers(0, 10_000), st.integers())
def test_the_delay_is_capped_and_never_nothing(attempt, seed):
    assert 0.1 <= delay_seconds(attempt, Random(seed)) <= 30.0 + 1e-9


@pytest.mark.parametrize(("stood_seconds", "least", "most"), [(50.0, 3.0, 30.0), (70.0, 0.1, 1.0)])
async def test_a_link_that_stood_for_a_minute_starts_the_waits_from_the_beginning(
    stood_seconds, least, most, monkeypatch
):
    """Six lives cut short bring the step of the wait to its 30 s; a tenth of the step is the least of it.

    After a link that stood for more than a minute the next try comes within the first step, a second, and the one
    after it within the second step; after a shorter one the waits stay long, or a link that fails at once would be
    tried every second for ever.
    """
    loop = asyncio.get_running_loop()
    real, ahead = loop.time, [0.0]
    monkeypatch.setattr(loop, "time", lambda: real() + ahead[0])

    class Stands(Lives):
        async def __aiter__(self):
            if len(self._lives) == 3:
                ahead[0] += stood_seconds
            async for reading in super().__aiter__():
                yield reading

    slept = []

    async def sleep(seconds):
        slept.append(seconds)

    lost = LinkError(LinkReason.LOST)
    source = Stands(*[([reading(k)], lost) for k in range(8)], ([], None))
    await supervise(Supervision(source), lambda _: True, at_once, random=Random(1), sleep=sleep)
    assert len(slept) == 8
    assert least <= slept[6] <= most
    assert slept[7] <= 2.0 * most
