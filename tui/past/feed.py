"""A past cook as a feed: what a dashboard is told, when it asks for a moment of it; nothing can be changed."""

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from typing import Any

from collector import wire
from collector.errors import StoreError
from collector.records import open_record
from collector.store.record import Record
from tui.client import ClientLink, ClientState
from tui.past.cook import PastCook

__all__ = ["NOTHING_CHANGES", "PastFeed"]

NOTHING_CHANGES = "a past cook: nothing can be changed"


class PastFeed:
    """Loads the cook in one thread, and gives moments of it from another; see `tui.client.Feed`.

    Args:
        where: the record, as `open_record` takes it.
        past: the cook.
        on_progress: told whenever more of it can be shown.
    """

    def __init__(self, where: str, past: PastCook, on_progress: Callable[[], None] = lambda: None) -> None:
        self.past = past
        self.link = ClientLink(ClientState.UP, time.time())
        self.on_progress = on_progress
        self.fault = ""
        """Why the record cannot be read now; empty while it can."""
        self._where = where
        self._wanted = past.start_unix
        self._given: float | None = None
        self._news = asyncio.Event()
        self._thread = ThreadPoolExecutor(1, "moment")
        self._record: Record | None = None

    @property
    def shown_unix(self) -> float:
        """The moment that is wanted."""
        return self._wanted

    def go_to(self, unix: float) -> float:
        """Show a moment, as near as it can be shown; return it."""
        self._wanted = min(max(unix, self.past.start_unix), self.past.loaded_unix)
        if self.past.begun and self._wanted != self._given:
            self._news.set()
        return self._wanted

    async def load(self) -> None:
        """Load all of the cook, in a thread."""
        if self.past.loaded:
            self.on_progress()
            return
        loop = asyncio.get_running_loop()
        loader = ThreadPoolExecutor(1, "load")
        try:
            await loop.run_in_executor(loader, self._load, lambda: loop.call_soon_threadsafe(self.on_progress))
        except StoreError as error:
            self.fault = f"{error}; open the cook again to load the rest of it"
            self.on_progress()
        finally:
            loader.shutdown(wait=False, cancel_futures=True)

    def _load(self, told: Callable[[], Any]) -> None:
        with open_record(self._where) as record:
            for _ in self.past.load(record):
                try:
                    told()
                except RuntimeError:  # the dashboard was closed meanwhile
                    return

    async def __aiter__(self) -> AsyncIterator[wire.FromCollector]:
        """Yield trend and snapshot of each moment that is wanted; of several wanted meanwhile the last."""
        loop = asyncio.get_running_loop()
        while True:
            await self._news.wait()
            self._news.clear()
            unix = self._given = self._wanted
            try:
                snapshot, trend = await loop.run_in_executor(self._thread, self._moment, unix)
            except StoreError as error:  # a server that is away; the next moment is asked of it anew
                self.fault, self._given = str(error), None
                continue
            if self.past.loaded:
                self.fault = ""
            yield wire.History(trend)
            yield wire.News(snapshot)

    def _moment(self, unix: float) -> tuple[Any, Any]:
        record, self._record = self._record or open_record(self._where), None
        with ExitStack() as held:
            held.enter_context(record)  # which says a failure in words, and closes the record after one
            found = self.past.snapshot(record, unix), self.past.trend(unix)
            held.pop_all()
            self._record = record
        return found

    def close(self) -> None:
        """Let go of the record."""
        if self._record is not None:
            self._thread.submit(self._record.close)
        self._thread.shutdown(wait=False)

    async def send(self, command: wire.Command) -> wire.Reply:
        """Refuse: what was is not changed."""
        return wire.Reply(command.number, False, NOTHING_CHANGES)
