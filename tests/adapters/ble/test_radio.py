"""The scan of one adapter and its end, above all when the system bus died under it."""

import asyncio

import pytest
from bleak import BleakScanner

from adapters.source import LinkState
from tests.adapters.ble.night import device_source, layout, listening
from tests.waiting import WAIT_SECONDS


@pytest.fixture
def stops(monkeypatch):
    """List the scanners that were asked to stop."""
    asked, stop = [], BleakScanner.stop

    async def stop_noted(scanner):
        asked.append(scanner)
        await stop(scanner)

    monkeypatch.setattr(BleakScanner, "stop", stop_noted)
    return asked


async def test_a_scan_is_stopped_with_its_last_listener(bluez, radio, advertiser, stops):
    async with listening(device_source(radio, described=layout())) as night:
        await night.hears(2, poke=advertiser.send)
        assert stops == []
    assert len(stops) == 1
    await bluez.drained()
    assert bluez.called("StopDiscovery") == 1


async def test_a_scan_whose_bus_died_is_never_stopped_and_the_one_after_it_is(
    system_bus, bluez, radio, advertiser, stops
):
    """A dead connection's file number may belong to another connection by now, which stopping would close."""
    async with listening(device_source(radio, described=layout())) as night:
        await night.hears(2, poke=advertiser.send)
        system_bus.restart()
        await bluez.start()
        await night.hears(2, poke=advertiser.send)
        assert stops == []
        assert radio.bus_deaths == 1
    assert len(stops) == 1


async def test_the_last_listener_may_leave_while_the_bus_is_dead(system_bus, bluez, radio, advertiser, stops):
    async with listening(device_source(radio, described=layout())) as night:
        await night.hears(2, poke=advertiser.send)
        system_bus.stop()
        await night.until(lambda: radio.bus_deaths == 1)
    assert stops == []
    assert radio.link.state is LinkState.DOWN
    assert radio._watch is None


@pytest.mark.parametrize("trouble", ["hangs", "fails"])
async def test_a_scan_that_cannot_be_stopped_holds_up_nobody(trouble, bluez, radio, advertiser):
    if trouble == "hangs":
        bluez.faults.hang("StopDiscovery")
    else:
        bluez.faults.on("StopDiscovery", error=("org.bluez.Error.Failed", "No discovery started"))
    async with asyncio.timeout(WAIT_SECONDS):
        async with listening(device_source(radio, described=layout())) as night:
            await night.hears(2, poke=advertiser.send)
    assert radio.link.state is LinkState.DOWN
