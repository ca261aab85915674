"""A Bluetooth adapter for tests: our fake of BlueZ on a private bus that bleak takes for the system's."""

import asyncio
import gc
import logging
import sys

import pytest


async def _forget_manager():
    """Close the connection bleak keeps for this event loop, and with it all it remembers of BlueZ."""
    from bleak.backends.bluezdbus.manager import _global_instances

    manager = _global_instances.pop(asyncio.get_running_loop(), None)
    if manager is not None and manager._bus is not None:
        if manager._bus.connected:
            manager._bus.disconnect()
        if manager._bus_watcher_task is not None:
            await asyncio.wait({manager._bus_watcher_task}, timeout=1)


@pytest.fixture
async def system_bus(monkeypatch):
    """A running PrivateBus in the place of the system bus, without BlueZ; a test may stop and restart it."""
    if sys.platform != "linux":
        pytest.skip("BlueZ is Linux's")
    from bleak.backends.bluezdbus.version import BlueZFeatures

    from tests.bluez.bus import PrivateBus, dbus_daemon

    if dbus_daemon() is None:
        pytest.skip("needs a dbus-daemon (apt install dbus)")
    monkeypatch.setattr(BlueZFeatures, "checked_bluez_version", True)  # else bleak runs a program to find out
    bus = PrivateBus()
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", bus.address)
    bus.start()
    asyncio_log = logging.getLogger("asyncio")
    level = asyncio_log.level
    yield bus
    await _forget_manager()
    # A connection whose end nobody waited for complains when it is collected: expected here, so it may do so unheard.
    asyncio_log.setLevel(logging.CRITICAL + 1)
    bus.close()
    await asyncio.sleep(0.005)  # connections tests left open see the end and close
    gc.collect()
    asyncio_log.setLevel(level)


@pytest.fixture
async def bluez(system_bus):
    """A running FakeBluez with a powered hci0 (`bluez.adapters["hci0"]`)."""
    from tests.bluez.fake import FakeBluez

    fake = FakeBluez(system_bus.address)
    await fake.start()
    fake.add_adapter("hci0")
    await fake.drained()
    yield fake
    await fake.stop()


@pytest.fixture
def hci0(bluez):
    return bluez.adapters["hci0"]


@pytest.fixture
def radio():
    """A radio on whichever adapter there is, too impatient for anything but a test."""
    from adapters.ble.radio import Radio
    from tests.adapters.ble.night import FAST

    return Radio(timing=FAST)


def _packet():
    from tests.adapters.ble.night import packet

    return packet


@pytest.fixture
def advertiser(hci0):
    device = hci0.add_device("C0:1D:51:DE:00:01", name="box")
    device.sent = 0

    def send(left=107.2):
        device.sent += 1
        device.advertise(-60, {"fff0": _packet()(device.sent, left)})

    device.send = send
    return device


@pytest.fixture
def connector(hci0):
    device = hci0.add_device("C0:1D:51:DE:00:01", name="box")
    char = device.gatt.add_service("fff0").add_characteristic("fff1", flags=["notify"], value=_packet()(0))
    device.sent = 0

    def send(left=107.2):
        if char.notifying:
            device.sent += 1
            char.notify(_packet()(device.sent, left))
        else:
            device.sent += 1
            device.advertise(-50 - device.sent % 20, {})  # BlueZ is silent when neither data nor signal changed

    device.send = send
    device.char = char
    return device
