"""Row 15: CPU time until the daemon is ready, the dashboard has painted, `--help` is told, over that of bare imports.

The daemon is ready when it says so to a service manager; the dashboard has painted once a number of the pit stands on
the terminal. The floors import what cannot be done without, in a process of their own, byte code made beforehand.
"""

import fcntl
import os
import pty
import select
import socket
import statistics
import struct
import subprocess
import sys
import termios
import time
from importlib.util import find_spec
from pathlib import Path

from tests.bench.broker import broker
from tests.bench.burst import Daemon
from tests.bench.measure import Effort, Finding, cpu_seconds, ratio, turns
from tests.bench.pit import config_text, scratch
from tests.bench.publisher import publish
from tests.bench.terminal import COLUMNS, ROWS

__all__ = ["measure"]

LONGEST_SECONDS = 30.0
EMPTY_APP = """
import numpy
from textual.app import App
from textual.widgets import Static
class Empty(App):
    def compose(self):
        yield Static("painted 113")
Empty().run()
"""
SAME_PANELS = """
import numpy
from textual.app import App
from textual.containers import Container, VerticalScroll
from textual.widgets import Static
class Panel(VerticalScroll):
    pass
class Panels(App):
    CSS = '''
#panels { layout: grid; grid-size: 3 3; height: 1fr; }
Panel { border: round $secondary; height: 100%; width: 100%; }
'''
    def compose(self):
        for k in range(4):
            yield Static(f"line {k}")
        with Container(id="panels"):
            for k in range(9):
                panel = Panel(Static("\\n".join(f"panel {k}, row {row}" for row in range(12))))
                panel.border_title = f"panel {k}"
                yield panel
        yield Static("painted 113")
Panels().run()
"""
"""As many widgets as the dashboard has, of the library's own, with nothing behind them."""
EMPTY_HELP = "import argparse; argparse.ArgumentParser().parse_args(['--help'])"
SEEN = b"113"
"""Of the pit's target, or what the empty app shows."""
LOOKS = {"TERM": "xterm-256color", "COLORTERM": "truecolor", "TEXTUAL_ANIMATIONS": "none", "LC_ALL": "C.UTF-8"}


def measure(effort: Effort) -> list[Finding]:
    """Compare, in turn, several times."""
    rounds = effort.of(7, 3)
    compile_all()
    with broker() as b, scratch() as folder:
        place = Path(folder)
        ready, imported = turns(rounds, (lambda: _ready(place, b.port), lambda: _imports("import aiomqtt, numpy")))
        running = place / "running"
        running.mkdir()
        daemon = Daemon(running, config_text(b.port))
        sender = publish(b.port, "pit", 100_000, 1, 16)
        try:
            daemon.recording()
            watch = [sys.executable, "-m", "tui.cli", "watch", "--socket", str(daemon.socket), "--unit", "C"]
            painted, empty, panels = turns(
                rounds,
                (
                    lambda: _painted(watch),
                    lambda: _painted([sys.executable, "-c", EMPTY_APP]),
                    lambda: _painted([sys.executable, "-c", SAME_PANELS]),
                ),
            )
        finally:
            sender.kill()
            sender.wait(10)
            daemon.stop()
    told, argparse = turns(rounds, (lambda: _told(["-m", "tui.cli", "--help"]), lambda: _told(["-c", EMPTY_HELP])))
    return [
        _finding("daemon ready / import aiomqtt, numpy", ready, imported, 1.3, 1.15),
        _finding("dashboard's first frame / empty Textual + numpy app", painted, empty, 1.25, 1.1),
        _finding("the same / an app of as many panels with nothing in them", painted, panels, 1.5, 1.25),
        _finding("--help / that of argparse alone", told, argparse, 1.5, 1.2),
    ]


def _finding(what: str, ours: list[float], floor: list[float], goal: float, stretch: float) -> Finding:
    middle, low, high = ratio(ours, floor)
    note = f"{1e3 * statistics.median(ours):.0f} against {1e3 * statistics.median(floor):.0f} ms of CPU"
    return Finding(15, what, middle, "x", goal, stretch, False, low, high, note)


LIBRARIES = (
    "aiohttp", "aiomqtt", "markdown_it", "msgspec", "multidict", "numpy", "paho", "platformdirs", "pygments", "rich",
    "textual", "yarl",
)  # fmt: skip


def compile_all() -> None:
    """Make the byte code that an installation has: where none is written, every start would compile."""
    found = [find_spec(name) for name in ("adapters", "collector", "tui", *LIBRARIES)]
    folders = [place for spec in found if spec for place in spec.submodule_search_locations or ()]
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    subprocess.run([sys.executable, "-m", "compileall", "-q", *folders], check=True, env=kept)


def _told(words: list[str]) -> float:
    """Run a program to its end; give the CPU seconds it took."""
    process = subprocess.Popen([sys.executable, *words], stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0, words
    return used.ru_utime + used.ru_stime


def _imports(statement: str) -> float:
    return _told(["-c", statement])


def _ready(folder: Path, port: int) -> float:
    """Start the collector; give the CPU seconds until it says that it is ready."""
    place = folder / f"ready-{time.monotonic_ns()}"
    place.mkdir()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(place / "notify"))
        manager.settimeout(LONGEST_SECONDS)
        os.environ["NOTIFY_SOCKET"] = str(place / "notify")
        try:
            daemon = Daemon(place, config_text(port))
        finally:
            del os.environ["NOTIFY_SOCKET"]
        try:
            while b"READY=1" not in manager.recv(4096):
                pass
            return cpu_seconds(daemon.pid)
        finally:
            daemon.stop()


def _painted(words: list[str]) -> float:
    """Run a program on a terminal; give the CPU seconds until it shows `SEEN`.

    Raises:
        TimeoutError: it never does.
    """
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
    kept = {k: v for k, v in os.environ.items() if k != "NO_COLOR"}
    process = subprocess.Popen(
        words, stdin=slave, stdout=slave, stderr=slave, start_new_session=True, env={**kept, **LOOKS}
    )
    os.close(slave)
    output, stop = bytearray(), time.monotonic() + LONGEST_SECONDS
    try:
        while time.monotonic() < stop:
            if select.select([master], [], [], 0.02)[0]:
                output += os.read(master, 1 << 16)
                if SEEN in output:
                    return cpu_seconds(process.pid)
        raise TimeoutError(bytes(output[-500:]).decode(errors="replace"))
    finally:
        process.kill()
        process.wait(10)
        os.close(master)
