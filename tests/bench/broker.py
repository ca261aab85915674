"""A Mosquitto for the benches, with queues that drop nothing, and processes whose output is read line by line."""

import contextlib
import select
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from tests.bench.pit import scratch
from tests.conftest import Broker, free_port, mosquitto

__all__ = ["NoBrokerError", "broker", "next_line", "python"]


class NoBrokerError(RuntimeError):
    """There is no Mosquitto here."""


@contextlib.contextmanager
def broker() -> Iterator[Broker]:
    """Run one on loopback.

    Raises:
        NoBrokerError: it is not installed.
    """
    if mosquitto() is None:
        raise NoBrokerError("needs a Mosquitto (apt install mosquitto)")
    with scratch() as folder:
        b = Broker(Path(folder), free_port(), "max_queued_messages 0\nmax_queued_bytes 0\nset_tcp_nodelay true").start()
        try:
            yield b
        finally:
            b.stop()


def python(module: str, *words: object) -> "subprocess.Popen[str]":
    """Start a module of ours as a process with a pipe from its output."""
    command = [sys.executable, "-m", module, *(str(w) for w in words)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def next_line(process: "subprocess.Popen[str]", seconds: float = 60.0) -> str:
    """Wait for the next line such a process prints.

    Raises:
        TimeoutError: it prints none; it is killed then.
    """
    assert process.stdout is not None
    if not select.select([process.stdout], [], [], seconds)[0]:
        process.kill()
        raise TimeoutError(f"{process.args} said nothing for {seconds:.0f} s")
    return process.stdout.readline().strip()
