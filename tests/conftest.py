"""Fixtures for all tests: a real broker, a free port, the published check values."""

import fcntl
import json
import os
import pickle
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import settings

from tests.waiting import WAIT_SECONDS

# The suite starts the program some hundred times; told to keep no bytecode, each start would compile all of it anew
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

settings.register_profile("suite", max_examples=int(os.environ.get("COLDSIDE_EXAMPLES", "100")), deadline=None)
settings.load_profile("suite")  # `COLDSIDE_EXAMPLES=1000` looks longer
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

REFERENCE = Path(__file__).parent / "reference" / "data"


@pytest.fixture
def reference():
    """Load a table of published values by file name."""
    return lambda name: json.loads((REFERENCE / name).read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def played(tmp_path_factory):
    """Play a recorded night under the pit of all nights, once for all tests and workers; give its run and its store."""
    from adapters.recording import readings
    from collector.straight import run_straight
    from tui.nights import SOURCE, night_file, night_settings

    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base) / "nights"
    folder.mkdir(exist_ok=True)
    done = {}

    def play(name):
        store, kept = folder / f"{name}.db", folder / f"{name}.run"
        with (folder / f"{name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not kept.exists():
                run = run_straight(night_settings().plan, readings(night_file(name), SOURCE), store, cook=name)
                kept.write_bytes(pickle.dumps(run))
        if name not in done:
            done[name] = pickle.loads(kept.read_bytes())
        return done[name], store

    return play


@pytest.fixture(scope="session")
def evening(tmp_path_factory):
    """Give the store of the evening, and the cook as its report takes it."""
    from collector.report.played import play
    from collector.store.archive import Archive
    from tests.evening import cook

    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base) / "evening"
    folder.mkdir(exist_ok=True)
    store, kept = folder / "evening.db", folder / "evening.played"
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.exists():
            cook(store)
            with Archive(store) as archive:
                kept.write_bytes(pickle.dumps(play(archive, archive.cook("last"))))
    return store, pickle.loads(kept.read_bytes())


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


@dataclass
class Broker:
    """A broker on loopback that a test may stop, kill and start again."""

    folder: Path
    port: int
    config: str = ""
    process: subprocess.Popen | None = None
    real: bool = True
    anonymous: bool = True

    def start(self) -> "Broker":
        if self.real:
            file = self.folder / "mosquitto.conf"
            user = "user root\n" if os.geteuid() == 0 else ""  # else it may not read the test's folder
            anonymous = str(self.anonymous).lower()
            file.write_text(f"{user}listener {self.port} 127.0.0.1\nallow_anonymous {anonymous}\n{self.config}\n")
            words = [mosquitto(), "-c", str(file)]
        else:
            words = [sys.executable, "-W", "ignore", "-c", EMBEDDED, str(self.port)]
        self.process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        deadline = time.monotonic() + WAIT_SECONDS
        while time.monotonic() < deadline:
            with socket.socket() as s:
                if s.connect_ex(("127.0.0.1", self.port)) == 0:
                    return self
            time.sleep(0.02)
        raise RuntimeError("the broker did not come up")

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(WAIT_SECONDS)
            self.process = None


EMBEDDED = """
import asyncio, sys
from amqtt.broker import Broker
async def main():
    broker = Broker({"listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{sys.argv[1]}"}},
                     "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}})
    await broker.start()
    await asyncio.Event().wait()
asyncio.run(main())
"""


def mosquitto() -> str | None:
    return shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


@pytest.fixture
def broker(tmp_path) -> Iterator[Broker]:
    """A running broker: Mosquitto where it is installed, else one in Python (MQTT 3.1.1 only)."""
    folder = tmp_path / "broker"
    folder.mkdir()
    b = Broker(folder, free_port(), real=mosquitto() is not None).start()
    yield b
    b.stop()


@pytest.fixture
def real_broker(tmp_path) -> Iterator[Broker]:
    """A Mosquitto that is not started yet, so that a test can configure it."""
    if mosquitto() is None:
        pytest.skip("needs a real Mosquitto (apt install mosquitto)")
    folder = tmp_path / "broker"
    folder.mkdir()
    b = Broker(folder, free_port())
    yield b
    b.stop()
