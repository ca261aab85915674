"""A real PostgreSQL of our own: a cluster in a folder, started, killed and started again."""

import asyncio
import contextlib
import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import asyncpg

from collector.kitchen.address import KitchenAddress
from tests.waiting import WAIT_SECONDS

PASSWORD = "smoke"
ACCOUNT = {"user": "postgres", "group": "postgres"} if os.geteuid() == 0 else {}
"""The server refuses to run as root."""


def binaries():
    """Give the folder of PostgreSQL's programs; None where there are none."""
    found = shutil.which("initdb")
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin")) or ([Path(found).resolve().parent] if found else [])
    return places[-1] if places else None


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@dataclass
class Cluster:
    """One server."""

    folder: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(prefix="coldside-pg-")))
    port: int = field(default_factory=free_port)
    process: subprocess.Popen | None = None
    databases: int = 0

    def make(self):
        (self.folder / "password").write_text(PASSWORD)
        if ACCOUNT:
            for path in (self.folder, self.folder / "password"):
                shutil.chown(path, ACCOUNT["user"], ACCOUNT["group"])
        words = ["-D", self.folder / "data", "-U", "cook", "-A", "scram-sha-256", "--pwfile", self.folder / "password"]
        words += ["-N", "--locale=C", "-E", "UTF8"]
        subprocess.run([binaries() / "initdb", *words], check=True, capture_output=True, cwd="/", **ACCOUNT)
        return self.start()

    def start(self):
        settings = {
            "port": self.port, "listen_addresses": "127.0.0.1", "unix_socket_directories": "", "fsync": "off",
            "shared_buffers": "16MB", "max_connections": "20",
        }  # fmt: skip
        words = [f"-c{key}={value}" for key, value in settings.items()]
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [binaries() / "postgres", "-D", self.folder / "data", *words],
                stdout=log,
                stderr=log,
                cwd="/",
                **ACCOUNT,
            )
        deadline = time.monotonic() + WAIT_SECONDS
        while time.monotonic() < deadline:
            ready = [binaries() / "pg_isready", "-q", "-h", "127.0.0.1", "-p", str(self.port), "-U", "cook"]
            if subprocess.run(ready, check=False).returncode == 0:
                return self
            time.sleep(0.05)
        raise AssertionError((self.folder / "log").read_text()[-2000:])

    def kill(self):
        """Take the power away from it: `kill -9`, and its children go as they notice."""
        children = subprocess.run(["pgrep", "-P", str(self.process.pid)], capture_output=True, text=True).stdout.split()
        for pid in (self.process.pid, *map(int, children)):
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        self.process.wait(WAIT_SECONDS)
        for pid in map(int, children):
            while Path(f"/proc/{pid}").exists() and "State:\tZ" not in Path(f"/proc/{pid}/status").read_text():
                time.sleep(0.01)

    def end(self):
        if self.process.poll() is None:
            self.kill()
        shutil.rmtree(self.folder, ignore_errors=True)

    async def ask(self, query, *parameters, database="postgres"):
        connection = await asyncpg.connect(self.url(database), password=PASSWORD)
        try:
            return await connection.fetch(query, *parameters)
        finally:
            await connection.close()

    def url(self, database, port=None):
        return f"postgresql://cook@127.0.0.1:{port or self.port}/{database}"

    async def database(self):
        self.databases += 1
        name = f"t{self.databases}"
        await self.ask(f"CREATE DATABASE {name}")
        return Kitchen(self, name)


@dataclass
class Kitchen:
    """An empty database."""

    cluster: Cluster
    name: str

    @property
    def url(self):
        return self.cluster.url(self.name)

    @property
    def address(self):
        return KitchenAddress(self.url, PASSWORD)

    async def ask(self, query, *parameters):
        return await self.cluster.ask(query, *parameters, database=self.name)


class CuttingProxy:
    """Stands before the server and cuts every connection after so many bytes from the client."""

    def __init__(self, port):
        self._port = port
        self.cut_after = None
        self.cuts = 0

    async def __aenter__(self):
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_):
        self._server.close()

    async def _serve(self, reader, writer):
        there, back = await asyncio.open_connection("127.0.0.1", self._port)
        left = self.cut_after

        async def forth():
            nonlocal left
            while data := await reader.read(65536):
                if left is not None:
                    left -= len(data)
                    if left <= 0:  # what was to be said arrives; the answer does not
                        self.cuts += 1
                        back.write(data)
                        await back.drain()
                        writer.transport.abort()
                        await asyncio.sleep(0.05)
                        break
                back.write(data)
                await back.drain()
            back.close()

        async def home():
            with contextlib.suppress(ConnectionError):
                while data := await there.read(65536):
                    writer.write(data)
                    await writer.drain()
                writer.close()

        with contextlib.suppress(ConnectionError):
            await asyncio.gather(forth(), home())
