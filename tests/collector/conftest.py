"""A collector as a process of its own, as its user runs it."""

import asyncio
import contextlib
import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.waiting import WAIT_SECONDS
from tui.once import NoCollectorError, snapshots

PIT = """
[chamber]
length = 120
width = 50
unit = "cm"
[cook]
target = "113 C"
band = "14 K"
[[source]]
name = "house"
kind = "mqtt"
host = "127.0.0.1"
port = {port}
version = "{version}"
client_id = "under-test"
subscribe = [{{ filter = "pit/+", qos = {qos}, key = "level 2" }}]
"""
PLACES = [(12, 12), (12, 38), (40, 25), (64, 12), (64, 38), (90, 12), (90, 38), (112, 25)]


def config_text(port, *, qos=1, version="5", probes=8):
    text = PIT.format(port=port, qos=qos, version=version)
    for k in range(probes):
        x, y = PLACES[k % 8]
        text += f'[[probe]]\nname = "p{k}"\nsource = "house"\nx = {x}\ny = {y}\n'
    return text + '[[zone]]\nname = "flat side"\nx = [76, 120]\ny = [0, 50]\n'


@dataclass
class Running:
    """`coldside collect` under test."""

    folder: Path
    config: Path
    process: subprocess.Popen | None = None
    extra: list[str] = field(default_factory=list)

    @property
    def store(self):
        return self.folder / "cooks.db"

    @property
    def socket(self):
        return self.folder / "c.sock"

    def start(self):
        words = [sys.executable, "-m", "tui.cli", "collect", "-c", str(self.config), "--store", str(self.store)]
        words += ["--socket", str(self.socket), *self.extra]
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                words, stdout=log, stderr=log, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"}, start_new_session=True
            )
        return self

    async def snapshot_when(self, ready):
        deadline = time.monotonic() + WAIT_SECONDS
        while time.monotonic() < deadline:
            try:
                async with (
                    asyncio.timeout(max(0.1, deadline - time.monotonic())),
                    contextlib.aclosing(snapshots(self.socket)) as coming,
                ):
                    async for snapshot in coming:
                        if ready(snapshot):
                            return snapshot
            except (NoCollectorError, TimeoutError):
                await asyncio.sleep(0.05)
        raise AssertionError(f"it did not come to that: {(self.folder / 'log').read_text()[-2000:]}")

    async def up(self):
        return await self.snapshot_when(lambda s: all(source.state == "up" for source in s.sources))

    def kill(self):
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(WAIT_SECONDS)

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(WAIT_SECONDS)


@pytest.fixture
def collecting(tmp_path):
    """Make a collector with a config; it is killed at the end if it still runs."""
    made = []

    def make(text, extra=(), folder=tmp_path):
        folder.mkdir(exist_ok=True)
        config = folder / "coldside.toml"
        config.write_text(text)
        running = Running(folder, config, extra=list(extra))
        made.append(running)
        return running

    yield make
    for running in made:
        if running.process is not None and running.process.poll() is None:
            running.kill()


@pytest.fixture
def pit_config():
    return config_text
