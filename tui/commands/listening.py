"""What the scan commands share: hearing through the radio, waiting with an end by Ctrl-C, and a line that shows it."""

import asyncio
import contextlib
import signal
import sys
import threading
from collections.abc import AsyncIterator, Callable
from typing import TYPE_CHECKING, Any, TextIO

from adapters.ble.advert import Advert
from adapters.ble.log import write
from adapters.ble.options import Match
from adapters.ble.survey import Survey

if TYPE_CHECKING:
    from bleak.backends.device import BLEDevice

__all__ = ["Ear", "enter_pressed", "interruptible", "wait"]

MAX_KNOWN = 4096


class Ear:
    """Hears one radio: surveys the devices that are meant, and writes the record.

    Args:
        wanted: which devices are meant.
        record: where each payload goes, a line each.
    """

    def __init__(self, wanted: Match, record: TextIO | None = None) -> None:
        self.survey = Survey()
        self.seen: dict[str, tuple[Advert, BLEDevice]] = {}
        """The last advertisement of each device meant, and what a connection is made with."""
        self.others = 0
        """Advertisements of devices that are not meant."""
        self.news = asyncio.Event()
        self.trouble: OSError | None = None
        """Why the record could not be written any further."""
        self.record = record
        self._wanted = wanted

    def hear(self, advert: Advert, device: "BLEDevice") -> None:
        """Take an advertisement."""
        # A name comes in some of a device's packets only, so one that matched once is meant from then on.
        if advert.address not in self.seen and not self._wanted(advert):
            self.others += 1
            return
        if advert.address in self.seen or len(self.seen) < MAX_KNOWN:
            self.seen[advert.address] = (advert, device)
        self.survey.take(advert)
        self.news.set()
        if self.record is not None:
            self.put(write(advert))

    def put(self, lines: list[str]) -> None:
        """Write lines to the record, where there is one."""
        if self.record is not None and self.trouble is None:
            try:
                self.record.writelines(f"{line}\n" for line in lines)
            except OSError as error:
                self.trouble = error

    def radio_changed(self) -> None:
        """Wake who waits for the radio."""
        self.news.set()


@contextlib.asynccontextmanager
async def interruptible() -> AsyncIterator[asyncio.Event]:
    """Give an event that the first Ctrl-C sets, to show what was heard till then; the second ends the command."""
    stop, loop, mine = asyncio.Event(), asyncio.get_running_loop(), asyncio.current_task()
    at_once = False

    def interrupted() -> None:
        nonlocal at_once
        if stop.is_set() and mine is not None:
            at_once = True
            mine.cancel()
        stop.set()

    before = signal.getsignal(signal.SIGINT)
    loop.add_signal_handler(signal.SIGINT, interrupted)
    try:
        yield stop
    except asyncio.CancelledError:
        if at_once:
            raise KeyboardInterrupt from None
        raise
    finally:
        loop.remove_signal_handler(signal.SIGINT)
        signal.signal(signal.SIGINT, before)


async def wait(seconds: float, stop: asyncio.Event, shown: Callable[[], str]) -> None:
    """Wait until the time is over or `stop` is set; on a terminal, show how it goes on standard error."""
    loop = asyncio.get_running_loop()
    end, live = loop.time() + seconds, sys.stderr.isatty()
    while (left := end - loop.time()) > 0 and not stop.is_set():
        if live:
            print(
                f"\r\x1b[Klistening, {left:.0f} s left: {shown()}  (Ctrl-C ends it)",
                end="",
                file=sys.stderr,
                flush=True,
            )
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(min(left, 0.5)):
                await stop.wait()
    if live:
        print("\r\x1b[K", end="", file=sys.stderr, flush=True)


async def enter_pressed(stop: asyncio.Event) -> bool:
    """Wait for Enter; False when the input has ended or `stop` was set."""
    loop = asyncio.get_running_loop()
    line: asyncio.Future[str] = loop.create_future()

    def put(text: str) -> None:
        if not line.done():
            line.set_result(text)

    def read() -> None:
        text = sys.stdin.readline()
        with contextlib.suppress(RuntimeError):  # the loop is gone: so is who waited
            loop.call_soon_threadsafe(put, text)

    # A thread, because a file or a closed input cannot be waited for by the loop.
    threading.Thread(target=read, name="Enter on standard input", daemon=True).start()
    stopped = asyncio.create_task(stop.wait(), name="Ctrl-C")
    both: set[asyncio.Future[Any]] = {line, stopped}
    try:
        await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
    finally:
        stopped.cancel()
    return line.done() and bool(line.result())
