"""The dashboard on a real terminal: a pseudo-terminal, its bytes read back by a terminal emulator."""

import fcntl
import os
import pty
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pyte
import pytest

from tests.waiting import WAIT_SECONDS
from tui.errors import TerminalUnfit
from tui.terminal import colour_depth, refuse_unfit, speaks_utf8

NIGHT = Path(__file__).with_name("conftest.py")
PROGRAM = f"""
import asyncio, importlib.util
from collector import wire
from tests.trend import packed
from tui.app import run_dashboard
spec = importlib.util.spec_from_file_location("night", {str(NIGHT)!r})
night = importlib.util.module_from_spec(spec)
spec.loader.exec_module(night)
client = night.FakeClient(wire.History(packed(night.history())), wire.News(night.night()))
asyncio.run(run_dashboard(client))
"""


class Terminal:
    """One program on a pseudo-terminal."""

    def __init__(self, columns, rows, **environment):
        self.screen = pyte.Screen(columns, rows)
        self.stream = pyte.ByteStream(self.screen)
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        own = ("NO_COLOR", "COLORTERM", "LC_ALL", "LANG", "LC_CTYPE", "COLUMNS", "LINES")
        kept = {k: v for k, v in os.environ.items() if k not in own}
        self.process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM], stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
            env={**kept, "TERM": "xterm-256color", "TEXTUAL_ANIMATIONS": "none", **environment},
        )  # fmt: skip
        os.close(slave)

    def read_until(self, *words):
        """Read on until all words are on the screen."""
        end = time.monotonic() + WAIT_SECONDS
        while time.monotonic() < end:
            if select.select([self.master], [], [], 0.05)[0]:
                try:
                    self.stream.feed(os.read(self.master, 65536))
                except OSError:
                    break
            if all(word in self.text for word in words):
                return
        missing = [word for word in words if word not in self.text]
        raise AssertionError(f"{missing} never came:\n{self.text}")

    @property
    def text(self):
        return "\n".join(self.screen.display)

    @property
    def colours(self):
        cells = (cell for row in self.screen.buffer.values() for cell in row.values())
        return {c for cell in cells for c in (cell.fg, cell.bg)} - {"default"}

    def press(self, keys):
        os.write(self.master, keys.encode())

    def close(self):
        """Read to its end, or stop it, and give its exit status."""
        end = time.monotonic() + WAIT_SECONDS
        while self.process.poll() is None and time.monotonic() < end:
            if select.select([self.master], [], [], 0.05)[0]:
                try:
                    os.read(self.master, 65536)
                except OSError:
                    break
        if self.process.poll() is None and time.monotonic() >= end:
            os.killpg(self.process.pid, signal.SIGKILL)
        os.close(self.master)
        return self.process.wait(WAIT_SECONDS)


@pytest.mark.parametrize(
    ("size", "environment", "words"),
    [
        ((80, 24), {"LANG": "C.UTF-8", "COLORTERM": "truecolor"}, ("▲131", "▼99", "flat side", "zones at the grate")),
        ((160, 48), {"LANG": "C.UTF-8"}, ("▲131", "brisket point", "below 107", "garage/fridge", "acknowledged")),
        ((80, 24), {"LANG": "C.UTF-8", "TERM": "xterm"}, ("▲131", "▓▓▓", "flat side")),
        ((80, 24), {"LANG": "C.UTF-8", "NO_COLOR": "1"}, ("▲131", "▓▓▓", "flat side")),
        ((80, 24), {"LC_ALL": "C", "TERM": "xterm"}, ("^131", "v99", "###", "flat side")),
    ],
)
def test_it_is_there_and_leaves_the_terminal_as_it_was(size, environment, words):
    terminal = Terminal(*size, **environment)
    try:
        terminal.read_until("FIRE END", "STACK END", "NOT ACKNOWLEDGED", *words)
        if "LC_ALL" in environment:
            assert terminal.text.isascii()
        if "NO_COLOR" in environment:
            bare = {c for c in terminal.colours if len(c) == 6}
            assert all(c[:2] == c[2:4] == c[4:] for c in bare), f"NO_COLOR leaves greys only, not {bare}"
            assert len(bare) > 1, "and never black on black"
        terminal.press("q")
    finally:
        status = terminal.close()
    assert status == 0


@pytest.mark.parametrize("environment", [{"LANG": "C.UTF-8"}, {"LC_ALL": "C", "TERM": "xterm"}])
def test_an_event_is_confirmed_and_deleted_on_a_real_terminal(environment):
    terminal = Terminal(80, 24, **environment)
    try:
        terminal.read_until("FIRE END", "flat side")
        terminal.press("j")
        terminal.read_until("refuel seen?", "lid seen, confirmed", "y confirm", "x delete")
        terminal.press("y")
        terminal.read_until("confirmed: ")
        terminal.press("x")
        terminal.read_until("deleted: ")
        terminal.press("q")
    finally:
        status = terminal.close()
    assert status == 0


def test_a_dumb_terminal_is_refused_with_the_way_round():
    with pytest.raises(TerminalUnfit, match=r"status --watch"):
        refuse_unfit({"TERM": "dumb"})


def test_what_is_no_terminal_is_refused():
    refused = subprocess.run(
        [sys.executable, "-c", "from tui.terminal import refuse_unfit; refuse_unfit({'TERM': 'xterm'})"],
        stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False, timeout=WAIT_SECONDS,
    )  # fmt: skip
    assert refused.returncode == 1
    assert "TerminalUnfit" in refused.stderr
    assert "status --watch" in refused.stderr


@pytest.mark.parametrize(
    ("environment", "utf8"),
    [
        ({}, True), ({"LANG": "de_DE.UTF-8"}, True), ({"LANG": "C.UTF-8", "LC_ALL": "C"}, False),
        ({"LANG": "C", "LC_CTYPE": "C.UTF-8"}, False), ({"LANG": "C", "LC_CTYPE": "en_US.utf8"}, True),
        ({"LANG": "en_US.ISO-8859-1"}, False),
    ],
)  # fmt: skip
def test_the_locale_tells_whether_more_than_ascii_is_understood(environment, utf8):
    assert speaks_utf8(environment) is utf8


@pytest.mark.parametrize(
    ("environment", "depth"),
    [
        ({"TERM": "xterm-256color", "COLORTERM": "truecolor"}, "truecolor"), ({"TERM": "xterm-256color"}, "256"),
        ({"TERM": "xterm"}, "16"), ({"TERM": "linux"}, "16"),
    ],
)  # fmt: skip
def test_the_depth_of_colour(environment, depth):
    assert colour_depth(no_color=False, environment=environment) == depth
    assert colour_depth(no_color=True, environment=environment) == "none"
