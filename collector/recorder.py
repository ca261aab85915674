"""Brings what the pipeline gathers to disk from a thread of its own, and says what is safe.

It keeps what it could not write and tries again; when too much waits, `room` holds the sources back, so that they
give up readings by their own rule and count them, and brokers keep what they have not seen acknowledged.
"""

import asyncio
import logging
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from collector.errors import StoreError
from collector.faults import FaultBook
from collector.pipeline import Pipeline
from collector.snapshot import KitchenView, StoreView
from collector.store.database import Batch, Database, parts_of

__all__ = ["Recorder"]

log = logging.getLogger(__name__)

MAX_WAITING = 8192
"""Readings that may wait for the disk before sources are held back."""
RECEIPTS_WAITING = 16
"""Acknowledgements owed before a commit is made at once: a broker hands out 20 messages and then waits for us
(Mosquitto's default)."""
SEAL_FIRST_SECONDS, SEAL_NEXT_SECONDS, SEAL_AGAIN_SECONDS = 900.0, 20.0, 3600.0
"""Ended cooks are sealed hour by hour from a quarter of an hour after the start on, and looked for every hour."""
SEAL_ENDED_SECONDS = 3600.0
"""Cooks that ended so long ago."""
RETRY_SECONDS = 1.0
RETRY_CAP_SECONDS = 5.0


class Recorder:
    """Commits the pipeline's batches.

    Args:
        database: the open store.
        cook: number of the cook.
        pipeline: where batches gather.
        commit_seconds: time between commits.
        durable_seconds: time between commits that are synced to the device; those with receipts all are.
        on_committed: called with source name and receipt once a message is safe, newest only.
        on_written: called with each batch that is on disk, and the last ordinal that would outlive a power cut.
        kitchen: shows how far the server's copy goes.
        throwaway: whether the store is gone at the end.
        faults: records a row that cannot be written.
        settled_only: seal only cooks of which the server holds everything.
    """

    def __init__(
        self,
        database: Database,
        cook: int,
        pipeline: Pipeline,
        *,
        commit_seconds: float = 1.0,
        durable_seconds: float = 10.0,
        on_committed: Callable[[str, int], None] = lambda _source, _receipt: None,
        on_written: Callable[[Batch, int], None] = lambda _batch, _durable: None,
        kitchen: Callable[[], KitchenView | None] = lambda: None,
        throwaway: bool = False,
        settled_only: bool = False,
        faults: FaultBook | None = None,
    ) -> None:
        self._faults = faults or FaultBook()
        self._database = database
        self._cook = cook
        self._pipeline = pipeline
        self._commit_seconds = commit_seconds
        self._durable_seconds = durable_seconds
        self._on_committed = on_committed
        self._on_written = on_written
        self._kitchen = kitchen
        self._throwaway = throwaway
        self._settled_only = settled_only
        self._seal_at = time.monotonic() + SEAL_FIRST_SECONDS
        self._thread = ThreadPoolExecutor(1, "store")
        self._wake = asyncio.Event()
        self._room = asyncio.Event()
        self._room.set()
        self._failed: list[tuple[Batch, bool]] = []
        """Batches not on disk yet, and whether each must be synced to the device."""
        self._in_flight = 0
        self._written = self._durable = 0
        self._receipts = 0
        self._last_full = 0.0
        self._last_commit_unix: float | None = None
        self._fault = ""
        self._commit_began = 0.0

    @property
    def committing_seconds(self) -> float:
        """How long the commit under way has taken; 0 where none is."""
        return time.monotonic() - self._commit_began if self._commit_began else 0.0

    @property
    def refused(self) -> bool:
        """Whether the disk takes nothing, so that readings wait."""
        return bool(self._fault)

    def noticed(self, *, receipt: bool) -> bool:
        """Take note that the pipeline took a reading; tell whether there is room for the next."""
        if receipt:
            self._receipts += 1
        if self._pipeline.urgent or self._receipts >= RECEIPTS_WAITING:
            self._wake.set()
        if self._waiting() >= MAX_WAITING:
            self._room.clear()
            self._wake.set()
            return False
        return True

    async def room(self) -> None:
        """Wait until there is room for more readings."""
        await self._room.wait()

    def _waiting(self) -> int:
        return len(self._pipeline.batch.rows) + self._in_flight

    def hurry(self) -> None:
        """Commit as soon as may be."""
        self._wake.set()

    async def run(self) -> None:
        """Commit until cancelled: at each interval, or at once when something urgent waits."""
        delay = RETRY_SECONDS
        while True:
            try:
                async with asyncio.timeout(self._commit_seconds):
                    await self._wake.wait()
            except TimeoutError:
                pass
            self._wake.clear()
            if await self.flush():
                delay = RETRY_SECONDS
                if time.monotonic() >= self._seal_at and not self._waiting():
                    await self._seal()
            else:
                await asyncio.sleep(delay)
                delay = min(2 * delay, RETRY_CAP_SECONDS)
                self._wake.set()

    async def _seal(self) -> None:
        """Seal an hour of an ended cook, while nothing waits; say it where the disk refuses, and go on."""
        loop, wait = asyncio.get_running_loop(), SEAL_AGAIN_SECONDS
        before = self._pipeline.engine.now_unix - SEAL_ENDED_SECONDS
        try:
            if await loop.run_in_executor(self._thread, self._seal_before, before):
                wait = SEAL_NEXT_SECONDS
        except StoreError as error:
            log.warning("an hour could not be sealed, it stays as it is: %s", error)
        self._seal_at = time.monotonic() + wait

    def _seal_before(self, before_unix: float) -> bool:
        return self._database.seal(before_unix, settled_only=self._settled_only) is not None

    async def flush(self) -> bool:
        """Write everything that waits; tell whether the disk took it."""
        due = time.monotonic() - self._last_full >= self._durable_seconds
        urgent, batch = self._pipeline.urgent, self._pipeline.cut()
        full = urgent or due or bool(batch.receipts)  # a broker sends no more what we have acknowledged
        if batch:
            self._failed.append((batch, full))
            self._in_flight += len(batch.rows)
        self._receipts = 0
        loop = asyncio.get_running_loop()
        while self._failed:
            batch, full = self._failed[0]
            self._commit_began = time.monotonic()
            try:
                await loop.run_in_executor(self._thread, self._commit, batch, full)
            except StoreError as error:
                if str(error) != self._fault:
                    log.error(  # noqa: TRY400 - the cause is in the sentence, a traceback a second would drown the journal
                        "the store does not take readings, %d wait: %s", self._waiting(), error
                    )
                self._fault = str(error)
                return False
            except Exception as error:
                self._faults.record("record", time.time(), error, critical=True)
                try:
                    lost = await loop.run_in_executor(self._thread, self._commit_in_parts, batch)
                except StoreError as refused:
                    self._fault = str(refused)
                    return False
                log.exception("%d rows cannot be written and are given up: a fault of coldside's", lost)
            finally:
                self._commit_began = 0.0
            self._failed.pop(0)
            self._settle(batch, full=full)
        return True

    def _commit(self, batch: Batch, full: bool) -> None:
        self._database.commit(self._cook, batch, full=full)

    def _commit_in_parts(self, batch: Batch) -> int:
        """Write each row of a batch apart; return how many the store cannot take.

        Raises:
            StoreError: the disk refuses.
        """
        lost = 0
        for part in parts_of(batch):
            try:
                self._database.commit(self._cook, part, full=False)
            except StoreError:
                raise
            except Exception:  # noqa: BLE001 - it is the one that cannot be written
                lost += 1
        self._database.commit(self._cook, Batch(receipts=batch.receipts), full=True)
        return lost

    def _settle(self, batch: Batch, *, full: bool) -> None:
        """Account for a batch that is safe, and let its messages be acknowledged."""
        if self._fault:
            log.warning("the store takes readings again")
            self._fault = ""
        self._in_flight -= len(batch.rows)
        self._last_commit_unix = time.time()
        full = full and batch.writes  # a commit that writes nothing syncs nothing of those before it
        if full:
            self._last_full = time.monotonic()
        for source, receipt in batch.receipts.items():
            self._on_committed(source, receipt)
        self._written = max(self._written, batch.last_ordinal)
        if full:
            self._durable = self._written
        self._on_written(batch, self._durable)
        if self._waiting() < MAX_WAITING // 2:
            self._room.set()

    def view(self) -> StoreView:
        """Show what is safe."""
        return StoreView(
            str(self._database.path),
            self._waiting(),
            self._last_commit_unix,
            self._fault,
            self._throwaway,
            self._kitchen(),
        )

    async def close(self, deadline_seconds: float = 8.0) -> int:
        """Write what waits and close the store; give how many readings could not be written in time."""
        stop = time.monotonic() + deadline_seconds
        while not await self.flush() and time.monotonic() < stop:  # noqa: ASYNC110 - the disk has no event to wait for
            await asyncio.sleep(0.5)
        lost = self._waiting()
        loop = asyncio.get_running_loop()
        await loop.run_in_executor(self._thread, self._database.close)
        self._thread.shutdown(wait=False)
        return lost
