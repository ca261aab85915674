"""Why Bluetooth does not work: six reasons told apart, each with its mend; and a scan that starts once it does."""

import asyncio
import json
import os
import socket
import sys

import pytest

from adapters.ble import bluez as bluez_module
from adapters.ble.diagnosis import diagnose
from adapters.ble.mend import MENDS
from adapters.errors import LinkReason
from tests.bluez.bus import PrivateBus
from tests.bluez.fake import FakeBluez

CONFIG = """
[chamber]
length = 48
width = 20
unit = "in"
[cook]
target = "235 F"
[[source]]
name = "box"
kind = "ble"
address = "C0:1D:51:DE:00:01"
[[probe]]
name = "flat"
source = "box"
x = 30
y = 10
"""


async def test_no_bus(monkeypatch, tmp_path):
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/none")
    found = await diagnose()
    assert found.reason is LinkReason.NO_BUS
    assert "systemctl start dbus" in found.mend


async def test_a_socket_nobody_answers_at(monkeypatch, tmp_path):
    """A process that took the socket and hangs."""
    monkeypatch.setattr(bluez_module, "CALL_SECONDS", 0.2)
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/s")
    with socket.socket(socket.AF_UNIX) as deaf:
        deaf.bind(f"{tmp_path}/s")
        deaf.listen()
        assert (await diagnose()).reason in (LinkReason.NO_BUS, LinkReason.BUS_REFUSED)


@pytest.mark.parametrize(
    ("how", "seen"), [({"mechanism": "DBUS_COOKIE_SHA1"}, "REJECTED"), ({"denied": ["org.bluez"]}, "")]
)
async def test_refused(monkeypatch, how, seen):
    with PrivateBus(**how) as bus:
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", bus.address)
        if "denied" in how:
            fake = await FakeBluez(bus.address).start()
            fake.add_adapter("hci0")
        found = await diagnose()
        assert found.reason is LinkReason.BUS_REFUSED, found
        assert seen in found.detail
        assert "container" in found.mend
        if "denied" in how:
            await fake.stop()


async def test_no_bluez(system_bus):
    found = await diagnose()
    assert found.reason is LinkReason.NO_BLUETOOTH
    assert "apt install bluez" in found.mend


async def test_bluez_that_does_not_answer(bluez, monkeypatch):
    monkeypatch.setattr(bluez_module, "CALL_SECONDS", 0.2)
    bluez.faults.hang("GetManagedObjects")
    found = await diagnose()
    assert found.reason is LinkReason.NO_BLUETOOTH
    assert "not answered" in found.detail


async def test_no_adapter_and_one_of_another_name(bluez, hci0):
    found = await diagnose("hci7")
    assert found.reason is LinkReason.NO_ADAPTER
    assert "hci0" in found.detail
    hci0.remove()
    assert (await diagnose()).reason is LinkReason.NO_ADAPTER


async def test_an_adapter_that_cannot_scan_is_passed_over(bluez, hci0):
    hci0.remove()
    bluez.add_adapter("hci1", roles=("peripheral",))
    found = await diagnose()
    assert found.reason is LinkReason.NO_ADAPTER
    assert "cannot scan" in found.detail


async def test_off_and_blocked(bluez, hci0, tmp_path, monkeypatch):
    monkeypatch.setattr(bluez_module, "RFKILL", tmp_path)
    hci0.power(False)
    assert (await diagnose()).reason is LinkReason.POWERED_OFF
    hci0.power(False, "off-blocked")
    assert (await diagnose()).reason is LinkReason.BLOCKED
    hci0.power(False)  # an older BlueZ does not say so, the kernel does
    switch = tmp_path / "rfkill0"
    switch.mkdir()
    for name, text in (("type", "bluetooth"), ("soft", "1"), ("hard", "0")):
        (switch / name).write_text(text + "\n")
    found = await diagnose()
    assert found.reason is LinkReason.BLOCKED
    assert "rfkill unblock bluetooth" in found.mend


async def test_all_well_and_the_powered_one_is_taken(bluez, hci0):
    assert (await diagnose()).adapter == "hci0"
    hci0.power(False)
    bluez.add_adapter("hci1")
    found = await diagnose()
    assert (found.adapter, found.reason) == ("hci1", None)


def test_every_reason_of_a_radio_has_its_mend():
    radio = (LinkReason.NO_BUS, LinkReason.BUS_REFUSED, LinkReason.NO_BLUETOOTH, LinkReason.NO_ADAPTER,
             LinkReason.POWERED_OFF, LinkReason.BLOCKED, LinkReason.STUCK, LinkReason.DEAF)  # fmt: skip
    assert len({MENDS[reason] for reason in radio}) == len(radio)


async def coldside(*words, address):
    environment = {**os.environ, "DBUS_SYSTEM_BUS_ADDRESS": address}
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tui.cli", *words, env=environment,
        stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
    )  # fmt: skip
    out, err = await process.communicate()
    return process.returncode, out.decode(), err.decode()


async def test_check_says_it_as_a_user_reads_it(bluez, hci0, system_bus, tmp_path):
    file = tmp_path / "pit.toml"
    file.write_text(CONFIG, encoding="utf-8")
    code, out, _ = await coldside("check", "-c", str(file), address=system_bus.address)
    assert (code, "hci0 is there and on" in out) == (0, True), out
    hci0.power(False)
    code, out, _ = await coldside("check", "-c", str(file), address=system_bus.address)
    assert code == 1
    assert "the Bluetooth adapter is off (hci0)" in out
    assert "bluetoothctl power on" in out
    code, out, _ = await coldside("check", "-c", str(file), "--json", address="unix:path=/nowhere")
    (told,) = json.loads(out)["bluetooth"]
    assert (code, told["ok"]) == (1, False)
    assert told["reason"] == LinkReason.NO_BUS
    code, out, _ = await coldside("check", "-c", str(file), "--file-only", address="unix:path=/nowhere")
    assert (code, "Bluetooth" in out) == (0, False)
