"""A pseudo-terminal of 160 by 50 in true colour that takes whatever a program draws."""

import fcntl
import os
import pty
import select
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pyte

from tests.bench.pit import scratch

__all__ = ["COLUMNS", "ROWS", "Drawn", "last_screen", "paint"]

COLUMNS, ROWS = 160, 50


class Drawn:
    """What a program drew and what it cost."""

    def __init__(self, cpu_seconds_a_frame: float, output: bytes) -> None:
        self.cpu_seconds_a_frame = cpu_seconds_a_frame
        self.output = output


def last_screen(output: bytes) -> pyte.Screen:
    """Read back the screen as it stood before the program left it."""
    screen = pyte.Screen(COLUMNS, ROWS)
    pyte.ByteStream(screen).feed(output[: output.rfind(b"\x1b[?1049l")])
    return screen


def paint(program: str, which: str, period: float, count: int, seconds: float = 90.0) -> Drawn:
    """Run a program of this folder, `painter` or `chart_painter`, on a terminal.

    Raises:
        RuntimeError: it ended without a figure; its output's end is in the message.
    """
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
    kept = {k: v for k, v in os.environ.items() if k != "NO_COLOR"}
    looks = {"TERM": "xterm-256color", "COLORTERM": "truecolor", "TEXTUAL_ANIMATIONS": "none", "LC_ALL": "C.UTF-8"}
    with scratch() as folder:
        figures = Path(folder) / "figures"
        process = subprocess.Popen(
            [sys.executable, "-m", f"tests.bench.{program}", which, str(period), str(count)],
            stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
            env={**kept, **looks, "FIGURES": str(figures)},
        )  # fmt: skip
        os.close(slave)
        output = bytearray()
        stop = time.monotonic() + seconds
        while time.monotonic() < stop:
            if select.select([master], [], [], 0.1)[0]:
                try:
                    output += os.read(master, 1 << 16)
                except OSError:
                    break
        process.kill()
        process.wait(10)
        os.close(master)
        if not figures.exists():
            raise RuntimeError(f"{program} {which} left no figure: {bytes(output[-2000:]).decode(errors='replace')}")
        return Drawn(float(figures.read_text(encoding="ascii")), bytes(output))
