"""The collector under a service manager: what it tells it, what it does at a signal, and the unit it runs by."""

import asyncio
import os
import shutil
import signal
import socket
import subprocess
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.source import SourceCounts
from collector import daemon
from collector.service.health import COMMIT_SECONDS, TICK_SECONDS, WAITING_SECONDS, Flow, Pulse, hangs
from collector.service.notify import ServiceManager
from collector.service.unit import Unit, unit_text
from collector.settings.load import load
from collector.settings.secret import secrets_of
from tests.waiting import WAIT_SECONDS
from tui.commands import collect
from tui.nights import night_settings


class Manager:
    """A service manager's end of the socket; what it heard, line by line."""

    def __init__(self, address):
        self.way = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.way.bind(address)
        self.way.setblocking(False)
        self.heard = []

    def listen(self):
        while True:
            try:
                self.heard += self.way.recv(4096).decode().split("\n")
            except BlockingIOError:
                return self.heard

    async def until(self, ready):
        async with asyncio.timeout(WAIT_SECONDS):
            while not ready(self.listen()):
                await asyncio.sleep(0.02)


@pytest.fixture
def manager_at():
    made = []

    def make(address):
        made.append(Manager(address))
        return made[-1]

    yield make
    for manager in made:
        manager.way.close()


@pytest.mark.parametrize("kind", ["path", "abstract"])
def test_each_message_reaches_the_manager_by_either_kind_of_address(tmp_path, manager_at, kind):
    name = str(tmp_path / "notify") if kind == "path" else f"\0coldside-test-{os.getpid()}"
    manager = manager_at(name)
    told = ServiceManager({"NOTIFY_SOCKET": name.replace("\0", "@"), "WATCHDOG_USEC": "30000000"})
    assert told.listening
    assert told.watchdog_seconds == 30.0
    told.ready("cook one")
    told.alive()
    told.stopping()
    assert manager.listen() == ["READY=1", "STATUS=cook one", "WATCHDOG=1", "STOPPING=1"]
    manager.way.close()
    told.alive()  # nobody listens any more: no reason to fail


def test_a_watchdog_meant_for_another_process_is_none_of_ours():
    assert ServiceManager({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "1"}).watchdog_seconds == 0.0
    assert not ServiceManager({}).listening


@given(st.floats(0, TICK_SECONDS), st.floats(0, WAITING_SECONDS), st.floats(0, COMMIT_SECONDS), st.booleans())
@settings(max_examples=30, deadline=None)
def test_the_watchdog_is_fed_unless_something_hangs_that_a_restart_mends(tick, waiting, commit, held):
    assert not hangs(Pulse(tick, waiting, commit, held))
    assert "engine" in hangs(Pulse(TICK_SECONDS + 1, waiting, commit, held))
    assert "commit" in hangs(Pulse(tick, waiting, COMMIT_SECONDS + 1, held))
    stuck = hangs(Pulse(tick, WAITING_SECONDS + 1, commit, held))
    assert bool(stuck) is not held, "a disk that refuses holds sources back, and no restart mends it"


def test_readings_that_nobody_takes_are_waited_for_and_silence_is_not():
    flow = Flow(2)
    busy, quiet = SourceCounts(), SourceCounts(heard=3, undecodable=3)
    assert flow.waiting_seconds(0.0, [busy, quiet]) == 0.0
    busy.heard = 5
    assert flow.waiting_seconds(10.0, [busy, quiet]) == 10.0
    busy.heard, busy.yielded = 500, 2
    assert flow.waiting_seconds(20.0, [busy, quiet]) == 0.0, "it flows, though it is behind"
    busy.heard = 900
    assert flow.waiting_seconds(90.0, [busy, quiet]) == 70.0
    busy.yielded = 900
    assert flow.waiting_seconds(91.0, [busy, quiet]) == 0.0


async def test_it_reports_reloads_keeps_a_good_config_over_a_bad_one_and_ends_in_time(
    collecting, pit_config, manager_at, tmp_path, monkeypatch
):
    manager = manager_at(str(tmp_path / "notify"))
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
    monkeypatch.setenv("WATCHDOG_USEC", "800000")
    good = pit_config(1)
    running = collecting(good).start()
    await manager.until(lambda heard: "READY=1" in heard and heard.count("WATCHDOG=1") >= 2)
    before = await running.snapshot_when(lambda s: True)

    def hang_up():
        manager.heard.clear()
        running.process.send_signal(signal.SIGHUP)

    running.config.write_text(good.replace('name = "flat side"', 'name = "flat side"\nlevle = "grate"'))
    hang_up()
    await manager.until(lambda heard: any("the old config stays" in line for line in heard))
    assert "RELOADING=1" in manager.heard
    assert any(line.startswith("MONOTONIC_USEC=") for line in manager.heard)
    log = (tmp_path / "log").read_text()
    assert 'unknown key, did you mean "level"' in log
    assert [z.name for z in (await running.snapshot_when(lambda s: True)).zones] == ["flat side"]

    running.config.write_text(good)
    hang_up()
    await manager.until(lambda heard: any("has not changed" in line for line in heard))

    (tmp_path / "beat.url").write_text("http://[bad")
    (tmp_path / "beat.url").chmod(0o600)
    running.config.write_text(good + '[heartbeat]\nurl_file = "beat.url"\n')
    hang_up()
    await manager.until(lambda heard: any("the old config stays" in line for line in heard))
    assert "holds no address" in (tmp_path / "log").read_text()

    for address in ("http://127.0.0.1:9/a", "http://127.0.0.1:9/b"):
        (tmp_path / "beat.url").write_text(address)
        hang_up()
        await manager.until(lambda heard: "READY=1" in heard and not any("has not changed" in line for line in heard))
        await running.snapshot_when(lambda s: True)

    running.config.write_text(good.replace("flat side", "point side"))
    hang_up()
    await manager.until(lambda heard: "READY=1" in heard)
    after = await running.snapshot_when(lambda s: [z.name for z in s.zones] == ["point side"])
    assert (after.cook, after.started_unix) == (before.cook, before.started_unix), "the same cook goes on"

    manager.heard.clear()
    assert running.stop() == 0
    assert "STOPPING=1" in manager.listen()


async def test_a_stop_asked_for_during_a_reload_is_a_stop(collecting, pit_config):
    running = collecting(pit_config(1)).start()
    await running.snapshot_when(lambda s: True)
    running.config.write_text(pit_config(1).replace("flat side", "point side"))
    running.process.send_signal(signal.SIGHUP)
    running.process.send_signal(signal.SIGTERM)
    assert await asyncio.to_thread(running.process.wait, 15) == 0


UNIT = Unit(Path("/usr/local/bin/coldside"), Path("/etc/coldside/coldside.toml"), account="cook")


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd here to judge a unit")
@pytest.mark.parametrize("user", [False, True])
def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path, user):
    """`systemd-analyze verify`, and its own measure of exposure, 0 safe to 10 unsafe."""
    file = tmp_path / "coldside.service"
    unit = Unit(Path("/usr/bin/env"), tmp_path / 'pit of "100 %".toml', (tmp_path / "pw",), "root", user)
    file.write_text(unit_text(unit))
    words = ["systemd-analyze", *(["--user"] if user else [])]
    env = {**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)}
    told = subprocess.run([*words, "verify", str(file)], capture_output=True, text=True, env=env)
    assert told.returncode == 0, told.stderr
    assert not [line for line in told.stderr.splitlines() if "coldside.service" in line], told.stderr
    if not user:
        judged = ["systemd-analyze", "security", "--offline=true", "--threshold=20", str(file)]
        assert subprocess.run(judged, capture_output=True).returncode == 0


def test_a_unit_restarts_after_a_fault_and_not_after_a_bad_config():
    text = unit_text(UNIT)
    for line in (
        "Type=notify", "Restart=on-failure", "RestartPreventExitStatus=78", "StateDirectory=coldside",
        "User=cook", "ProtectSystem=strict", "ProtectHome=yes", "WantedBy=multi-user.target",
        "ExecStart=/usr/local/bin/coldside collect --config /etc/coldside/coldside.toml",
    ):  # fmt: skip
        assert line in text.splitlines()
    own = unit_text(Unit(UNIT.executable, UNIT.config, user=True))
    assert "User=" not in own
    assert "WantedBy=default.target" in own.splitlines()


def test_every_secret_the_config_names_becomes_a_credential(tmp_path, pit_config, monkeypatch):
    config = tmp_path / "coldside.toml"
    secret = tmp_path / "broker.pw"
    secret.write_text("hush")
    secret.chmod(0o600)
    config.write_text(pit_config(1).replace('client_id = "under-test"', 'user = "pit"\npassword_file = "broker.pw"'))
    assert secrets_of(load(config).config, tmp_path) == (secret,)
    assert f"LoadCredential=broker.pw:{secret}" in unit_text(Unit(UNIT.executable, config, (secret,), "cook"))


@pytest.mark.parametrize("error", [KeyError("injected"), RuntimeError("injected"), OSError("injected")])
def test_a_fault_while_building_under_a_new_config_goes_on_under_the_old_one(monkeypatch, error):
    """Nothing that a reload meets may end the night."""
    built = []

    def build(options, settings, manager, cook, note=""):
        built.append(settings)
        if settings == "new":
            raise error
        return "the collector under the old config"

    monkeypatch.setattr(collect, "_build", build)
    assert collect._build_again(None, "old", "new", None, "") == "the collector under the old config"
    assert built == ["new", "old"]


async def test_a_fault_after_the_store_was_opened_lets_it_go(tmp_path, monkeypatch):
    """Else the old config, which is tried next, would find the store locked by ourselves."""
    plan, path = night_settings().plan, tmp_path / "s.db"
    with monkeypatch.context() as patch:
        patch.setattr(daemon, "Feed", lambda *_args: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            daemon.Collector(plan, [], path, tmp_path / "c.sock", cook="n")
    made = daemon.Collector(plan, [], path, tmp_path / "c.sock")
    assert made.resumed
    await made._recorder.close(5.0)
