"""How a command ends when the system asks it to: the terminal left sane, throwaway folders removed, 128 + signal."""

import asyncio
import contextlib
import os
import signal
import threading
from collections.abc import Callable, Coroutine, Iterator
from types import FrameType
from typing import Any

from tui.exit_codes import Exit

__all__ = ["exit_on_signals", "on_end", "on_hangup", "until_signalled"]

_ENDING = (signal.SIGTERM, signal.SIGHUP)
CLEAN_UP_SECONDS = 5.0
_SIGNALLED = 128
"""A shell's exit code of a process ended by signal n is this and n."""


def _ours() -> list[signal.Signals]:
    """List the signals that end us; one that our parent had us ignore (`nohup`) does not."""
    return [number for number in _ENDING if signal.getsignal(number) is not signal.SIG_IGN]


@contextlib.contextmanager
def exit_on_signals() -> Iterator[None]:
    """Leave by `SystemExit` at a signal, so that what is open is closed on the way out."""

    def leave(number: int, _frame: FrameType | None) -> None:
        raise SystemExit(_SIGNALLED + number)

    before = {number: signal.signal(number, leave) for number in _ours()}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


async def until_signalled(job: Coroutine[Any, Any, None]) -> int:
    """Run a job to its end, or cancel it at a signal and wait until it has cleaned up; return the exit code."""
    loop = asyncio.get_running_loop()
    running = loop.create_task(job, name="until signalled")
    caught: list[int] = []

    def end(number: int) -> None:
        if not caught:  # a second signal must not cut the cleaning up short
            running.cancel()
            # A terminal that is gone can hold the cleaning up for ever: nothing is left to draw on then.
            last = threading.Timer(CLEAN_UP_SECONDS, os._exit, (_SIGNALLED + number,))
            last.daemon = True
            last.start()
        caught.append(number)

    before = {number: signal.getsignal(number) for number in _ours()}
    for number in before:
        loop.add_signal_handler(number, end, number)
    try:
        await running
    except asyncio.CancelledError:
        if not caught:
            raise
    finally:
        for number, handler in before.items():
            loop.remove_signal_handler(number)
            signal.signal(number, handler)
    return _SIGNALLED + caught[0] if caught else Exit.OK


def on_end(end: Callable[[], None]) -> None:
    """Call this at SIGTERM and SIGINT."""
    for number in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(number, end)


def on_hangup(stop: Callable[[], None], reload: Callable[[], None]) -> None:
    """Stop when the terminal closes, unless we were started to outlive it; without one, read the config again."""
    outlives = signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    asyncio.get_running_loop().add_signal_handler(signal.SIGHUP, stop if _has_terminal() and not outlives else reload)


def _has_terminal() -> bool:
    """Tell whether we hang on a terminal, as a service does not."""
    try:
        os.close(os.open("/dev/tty", os.O_RDONLY | os.O_NOCTTY))
    except OSError:
        return False
    return True
