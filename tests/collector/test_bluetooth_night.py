"""A night over Bluetooth, hurried: twenty devices on two adapters, all that goes wrong, and what is on record after.

The real bleak, sources, radios and collector, from a config file to the store; the adapters are those of `tests/bluez`.
Our clock is not hurried: alarms of the fire mean nothing here, delivery and bookkeeping everything.
"""

import asyncio
import contextlib
import dataclasses
import itertools
import sqlite3
import time

import msgspec
import pytest

from adapters.ble.options import Timing
from adapters.recording import readings
from adapters.source import LinkState
from collector import daemon
from collector.clock import Clock
from collector.replay import differences
from collector.settings.load import load
from collector.sources import build_sources
from collector.store.archive import Archive
from tests.adapters.ble.conftest import bluez, system_bus  # noqa: F401 - fixtures
from tests.collector import bluetooth_pit as pit
from tests.waiting import WAIT_SECONDS
from tui.nights import night_file

STEPS = 300
"""Of the night; each sends a measurement of every device."""
STEP_SECONDS = 0.04
HASTY = Timing(
    call=2.0, connect=1.5, slot=1.0, disconnect=2.0, scan_quiet=5.0, first_retry=0.05, last_retry=0.2, decide=0.3
)
HEAD = """
[chamber]
length = 120
width = 50
unit = "cm"
[cook]
target = "113 C"
band = "14 K"
[bluetooth]
slots = 7
[alarm.battery-low]
on_delay = 0
"""
HOSTILE = "smoke box \x1b[2J\x1b]0;x\x07\u202egnp \U0001f525 %s {0} '\"; DROP"


def devices():
    """One of each kind on each adapter, and a name to be matched by."""
    for adapter in ("hci0", "hci1"):
        far = adapter == "hci1"
        yield pit.Objects(f"{adapter} objects", adapter, 1, percent=88)
        yield pit.Objects(f"{adapter} adverts", adapter, 2, settings='read = "adverts"')
        yield pit.Encrypted(f"{adapter} sealed", adapter, 3)
        yield pit.Environmental(f"{adapter} open", adapter, 4 + far, settings='read = "adverts"')
        yield pit.Four(f"{adapter} four", adapter, 6, percent=70)
        yield pit.Four(f"{adapter} named", adapter, 7, percent=64, match="smoke box*", called=HOSTILE)
        yield pit.Bell(f"{adapter} bell", adapter, 8)
        yield pit.Polled(f"{adapter} polled", adapter, 9)
        yield pit.Tips(f"{adapter} tips", adapter, 10, settings='read = "connection"', called=HOSTILE[::-1])
        yield pit.Thermometer(f"{adapter} doctor", adapter, 11, percent=91, settings='read = "connection"')


def temperatures():
    """Give the recorded night in so many steps, each a list of temperatures."""
    by_key = {}
    for reading in readings(night_file("quiet-night")):
        by_key.setdefault(reading.key, []).append(reading.celsius)
    return [[series[k * len(series) // STEPS] for series in by_key.values()] for k in range(STEPS)]


class Night:
    """The pit and its collector, step by step through the recorded night."""

    def __init__(self, fake, folder):
        self.bluez, self.folder = fake, folder
        self.probes = list(devices())
        self.steps = itertools.cycle(temperatures())  # a slow machine needs more than one night for the faults
        self.left = STEPS
        (folder / "bind.key").write_text(pit.Encrypted.key.hex())
        (folder / "bind.key").chmod(0o600)
        config = folder / "coldside.toml"
        config.write_text(HEAD + "".join(p.table() for p in self.probes) + pit.LAYOUTS)
        settings, clock = load(config), Clock()
        assert not settings.warnings
        self.sources = {s.name: s for s in build_sources(settings, clock.now, clock.now())}
        self.radios = {s._radio for s in self.sources.values()}
        for source in self.sources.values():  # a config has no table for the patience of a test
            source._options = dataclasses.replace(source._options, timing=HASTY)
        for radio in self.radios:
            radio.timing = HASTY
        self.collector = daemon.Collector(
            settings.plan, list(self.sources.values()), folder / "cooks.db", folder / "c.sock", clock=clock
        )
        for probe in self.probes:
            probe.appear(fake)
        self.due = 0.0

    def living(self, adapter=""):
        return [p for p in self.probes if not p.gone and p.adapter.startswith(adapter)]

    def yielded(self):
        return {p.name: self.sources[p.name].counts.yielded for p in self.living()}

    async def step(self):
        """Let every device send the next measurement of the night."""
        celsius = itertools.cycle(next(self.steps))
        self.left -= 1
        for k, probe in enumerate(self.living()):
            probe.measure(list(itertools.islice(celsius, len(probe.keys))), times=1 + (self.left + k) % 3)
        await self.bluez.room()
        self.due = max(self.due + STEP_SECONDS, time.monotonic())
        await asyncio.sleep(self.due - time.monotonic())

    async def play(self, steps):
        """Go on with the night; every device must be heard."""
        before = self.yielded()
        for _ in range(steps):
            await self.step()
        await self.settle()
        silent = [name for name, count in self.yielded().items() if count <= before[name]]
        assert not silent

    async def settle(self):
        """Wait until all that was sent is taken."""
        await self.bluez.drained()
        await asyncio.sleep(0.02)

    async def outage(self, probes, fault):
        """Let a fault happen to these devices while the night goes on, until each is heard again."""
        await self.settle()
        for probe in probes:
            probe.sure = False
        happening = asyncio.ensure_future(fault)
        while not happening.done():
            await self.step()
        await happening
        await self.settle()
        await self.heard_again(probes)

    async def heard_again(self, probes):
        mark, waiting = self.yielded(), {p for p in probes if not p.gone}
        async with asyncio.timeout(WAIT_SECONDS):
            while waiting:
                await self.step()
                back = {p for p in waiting if self.sources[p.name].counts.yielded > mark[p.name]}
                for probe in back:
                    probe.sure = True
                waiting -= back

    def views(self):
        return {view.name: view for view in self.collector.snapshot().sources}


@contextlib.asynccontextmanager
async def collecting(night):
    """Run the collector; it must end in peace."""
    task = asyncio.create_task(night.collector.run())
    try:
        await night.collector.ready.wait()
        yield
    finally:
        night.collector.stop()
        async with asyncio.timeout(WAIT_SECONDS):
            assert await task == 0, "everything is saved"


async def drops(night, *names):
    for _ in range(2):
        for probe in night.probes:
            if probe.name in names:
                probe.device.drop_link()
        await asyncio.sleep(0.15)


async def off_and_on(night, adapter):
    night.bluez.adapters[adapter].power(False)
    await asyncio.sleep(0.3)
    night.bluez.adapters[adapter].power(True)


async def bus_restarts(night, bus):
    bus.restart()
    await night.bluez.start()


async def hostility(night):
    """Send what nobody should: rubbish, forgeries, old packets, strangers by the dozen with a name as ours has."""
    for probe in night.living():
        probe.spoil()
    for probe in night.living():
        if isinstance(probe, pit.Encrypted):
            for age in (1, 5, 20):
                probe.replay(age)
    for k in range(60):
        adapter = night.bluez.adapters[f"hci{k % 2}"]
        stranger = adapter.add_device(f"F0:0D:00:00:00:{k:02X}", name=HOSTILE, address_type="random")
        payload = bytes([k]) * (k % 24)
        stranger.advertise(-30, {"fcd2": payload, "fff0": payload, "181a": payload}, {0xFFFF: payload, k: payload})
        await night.bluez.room()


@pytest.fixture
async def night(bluez, tmp_path, monkeypatch):  # noqa: F811
    monkeypatch.setattr(daemon, "VITALS_SECONDS", 1.0)
    bluez.add_adapter("hci1")
    await bluez.drained()
    return Night(bluez, tmp_path)


async def test_a_whole_night_over_bluetooth(night, bluez, system_bus):  # noqa: F811
    before = asyncio.all_tasks()
    async with collecting(night):
        await night.heard_again(night.living())
        await night.play(20)
        two = [p for p in night.probes if p.name in ("hci0 bell", "hci1 doctor")]
        await night.outage(two, drops(night, "hci0 bell", "hci1 doctor"))
        leaver = next(p for p in night.probes if p.name == "hci1 tips")
        leaver.gone = True
        bluez.faults.abort(device=leaver.device, times=None)
        leaver.device.drop_link()
        await night.play(20)
        await hostility(night)
        low = next(p for p in night.probes if p.name == "hci0 named")
        low.percent = 9
        await night.play(20)
        await night.outage(night.living("hci1"), off_and_on(night, "hci1"))
        await night.play(20)
        await night.outage(night.living(), bluez.restart(down_seconds=0.2))
        for probe in night.living():
            if isinstance(probe, pit.Encrypted):
                probe.replay(30)
        await night.play(20)
        await night.outage(night.living(), bus_restarts(night, system_bus))
        await night.play(max(night.left, 20))
        async with asyncio.timeout(WAIT_SECONDS):
            while night.views()[leaver.name].state is LinkState.CONNECTING:  # it is tried again and again
                await asyncio.sleep(0.005)
        check_snapshot(night)
    check_nothing_is_left(night, before)
    check_record(night)
    check_replay(night)


def check_snapshot(night):
    """Every living device is up with its signal, battery and rate; the one that left says why; one battery is low."""
    snapshot = night.collector.snapshot()
    for probe in night.living():
        view = night.views()[probe.name]
        assert view.state is LinkState.UP, view
        if probe.device.connected:
            assert view.rssi_dbm is None, "no strength is measured over a connection, an old one is not shown"
        else:
            assert view.rssi_dbm == probe.rssi, view
        assert view.battery_percent == probe.percent, view
        assert view.packets_per_minute > 20, view
        assert view.undecodable == probe.spoilt * probe.faults_each, view
        assert view.dropped == 0, view
        assert not view.unplaced, view
    leaver = night.views()["hci1 tips"]
    assert leaver.state is LinkState.DOWN
    assert leaver.why
    raised = {a.key for a in snapshot.alarms if a.rule in ("battery-low", "source-silent", "probe-silent")}
    assert raised >= {"battery-low/hci0 named", "source-silent/hci1 tips"}
    assert not [key for key in raised if key.startswith("battery-low") and key != "battery-low/hci0 named"]
    assert not any(radio.faults for radio in night.radios)


def check_nothing_is_left(night, before):
    assert not night.bluez.links()
    assert not night.bluez.discovering()
    left = {t.get_name() for t in asyncio.all_tasks() - before if "monitor_bus" not in repr(t.get_coro())}
    assert left <= {"fake bluez wire"}, "the fake's own, since the bus was restarted"


def check_record(night):
    """What was sent while it could be heard is on record once, what was sent otherwise at most once, nothing else."""
    with contextlib.closing(sqlite3.connect(night.collector._recorder.view().path)) as db:
        rows = db.execute(
            "SELECT source, key, millicelsius FROM reading JOIN series ON series.id = series ORDER BY reading.id"
        ).fetchall()
        vitals = {
            row[0]: row[1:] for row in db.execute("SELECT source, rssi, battery, packets FROM vitals ORDER BY id")
        }
    found = {}
    for source, key, milli in rows:
        found.setdefault((source, key), []).append(milli)
    assert set(found) == {(p.name, key) for p in night.probes for key in p.keys}
    for probe in night.probes:
        for key in probe.keys:
            valued = [milli for milli in found[probe.name, key] if milli is not None]
            sent = probe.may[key]
            assert len(valued) == len(set(valued)), f"{probe.name} {key}: twice"
            assert valued == [milli for milli in sent if milli in set(valued)], f"{probe.name} {key}: order, values"
            assert not probe.must[key] - set(valued), f"{probe.name} {key}: lost"
        rssi, battery, packets = vitals[probe.name]
        assert (rssi is None) if isinstance(probe, pit.Connected) else rssi == probe.rssi
        assert battery == probe.percent
        assert packets > 0


def check_replay(night):
    with Archive(night.folder / "cooks.db") as archive:
        cook = archive.cook("last")
        assert cook.alarms >= 2
        assert differences(archive, cook) == []


async def test_a_lost_device_of_steady_strength_is_found_again(night):
    """It is asked for by its own scan; without that, only a scan restarted for silence would show it."""
    for radio in night.radios:
        radio.timing = msgspec.structs.replace(HASTY, scan_quiet=10 * WAIT_SECONDS)
    steady = [p for p in night.living() if isinstance(p, pit.Connected)]
    for probe in steady:
        probe.wanders_db = 3
    async with collecting(night):
        await night.heard_again(night.living())
        await night.outage(steady, drops(night, *(p.name for p in steady)))
