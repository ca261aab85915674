"""The fake of BlueZ behaves, through the real bleak, as BlueZ's source and bug reports say the real one does."""

import asyncio
import contextlib
import json
import struct

import pytest

from tests.waiting import WAIT_SECONDS

pytest.importorskip("dbus_fast")

from bleak import BleakClient, BleakScanner
from bleak.args.bluez import OrPattern
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
)

EVERY = {"filters": {"DuplicateData": True}}
PROBE = "AA:BB:CC:DD:EE:01"
SERVICE, VALUES = "0000fff0-0000-1000-8000-00805f9b34fb", "0000fff1-0000-1000-8000-00805f9b34fb"
CPF = struct.pack("<BbHBH", 0x0E, -1, 0x272F, 1, 0)  # sint16, 10^-1, degree Celsius


class Heard(list):
    """The adverts a scanner reported, and the BLEDevice of the last."""

    device = None

    def __call__(self, device, advert):
        self.device = device
        self.append(advert)


@contextlib.asynccontextmanager
async def scanning(bluez=EVERY, **what):
    heard = Heard()
    async with BleakScanner(heard, bluez=bluez, **what):
        yield heard


@pytest.fixture
def probe(hci0):
    """A device with a value to read and be notified of, described by a presentation format descriptor."""
    device = hci0.add_device(PROBE, name="box")
    values = device.gatt.add_service(SERVICE).add_characteristic(VALUES, value=b"\x39\x04")
    values.add_descriptor("2904", CPF)
    device.values = values
    return device


async def found(bluez, device):
    async with scanning() as heard:
        device.advertise()
        await bluez.drained()
    return heard.device


# --- adverts


async def test_an_advert_arrives_whole(bluez, hci0):
    device = hci0.add_device(PROBE, name="box", address_type="random", services=["fff0"])
    async with scanning() as heard:
        assert device.advertise(-71, {"181a": b"\x01\x02"}, {0xFFFF: b"\x03"}, tx_power=4)
        await bluez.drained()
    (advert,) = heard
    assert (advert.rssi, advert.local_name, advert.tx_power) == (-71, "box", 4)
    assert advert.service_data == {"0000181a-0000-1000-8000-00805f9b34fb": b"\x01\x02"}
    assert advert.manufacturer_data == {0xFFFF: b"\x03"}
    assert advert.service_uuids == [SERVICE]
    assert heard.device.address == PROBE
    assert heard.device.details["props"]["AddressType"] == "random"


@pytest.mark.parametrize(("duplicate", "told"), [(False, 1), (True, 5)])
async def test_equal_adverts_are_reported_only_with_duplicate_data(bluez, hci0, duplicate, told):
    device = hci0.add_device(PROBE)
    async with scanning({"filters": {"DuplicateData": duplicate}}) as heard:
        signals = sum(device.advertise(-60, {"fff0": b"\x01"}) for _ in range(5))
        await bluez.drained()
    assert len(heard) == signals == told


@pytest.mark.parametrize(("filters", "told"), [({}, [-60, -68]), ({"RSSI": -127}, [-60, -67, -68, -61])])
async def test_a_strength_counts_from_8_db_on_unless_filtered(bluez, hci0, filters, told):
    device = hci0.add_device(PROBE)
    async with scanning({"filters": filters}) as heard:
        for rssi in (-60, -67, -68, -61):
            device.advertise(rssi)
        await bluez.drained()
    assert [a.rssi for a in heard] == told


@pytest.mark.parametrize(("duplicate", "left"), [(False, {1, 2, 3}), (True, {3})])
async def test_company_ids_linger_unless_duplicate_data(bluez, hci0, duplicate, left):
    device = hci0.add_device(PROBE)
    async with scanning({"filters": {"DuplicateData": duplicate}}) as heard:
        for company in (1, 2, 3):
            device.advertise(manufacturer_data={company: b"\x00"})
        await bluez.drained()
    assert set(heard[-1].manufacturer_data) == left


async def test_nothing_is_heard_without_a_discovery(bluez, hci0):
    device = hci0.add_device(PROBE)
    assert not device.advertise()
    async with scanning() as heard:
        assert bluez.discovering() == ["hci0"]
        assert device.advertise()
        await bluez.drained()
    assert len(heard) == 1
    assert bluez.discovering() == []
    assert "RSSI" not in device.properties
    assert not device.advertise(-90)


async def test_filters_by_strength_and_service_keep_adverts_away(bluez, hci0):
    near, far = hci0.add_device(PROBE, services=["fff0"]), hci0.add_device("AA:BB:CC:DD:EE:02", services=["181a"])
    async with scanning({"filters": {"RSSI": -70}}):
        assert (near.advertise(-70), near.advertise(-71), far.advertise(-50)) == (True, False, True)
    async with scanning(service_uuids=[SERVICE]):
        assert (near.advertise(-70), far.advertise(-50)) == (True, False)


async def test_any_change_repeats_the_last_data(bluez, hci0, probe):
    async with scanning() as heard:
        probe.advertise(-60, {"fff0": b"\x01"})
        await bluez.drained()
        async with asyncio.timeout(WAIT_SECONDS), BleakClient(heard.device):
            pass
        await bluez.drained()
        assert len(heard) == 4  # the advert, Connected, ServicesResolved, Connected again
        assert probe.touch()
        assert probe.withdraw()
        await bluez.drained()
    assert [a.rssi for a in heard] == [-60] * 5 + [-127]
    assert all(a.service_data == {SERVICE: b"\x01"} for a in heard)


async def test_a_device_taken_off_the_list_is_found_anew(bluez, hci0):
    device = hci0.add_device(PROBE)
    heard = Heard()
    async with BleakScanner(heard, bluez=EVERY) as scanner:
        device.advertise()
        await bluez.drained()
        assert len(scanner.discovered_devices) == 1
        device.remove()
        await bluez.drained()
        assert scanner.discovered_devices == []
        assert len(heard) == 1
        assert device.advertise()
        await bluez.drained()
    assert len(heard) == 2


async def test_a_passive_scan_hears_what_fits_a_pattern(bluez, hci0):
    fits, other = hci0.add_device(PROBE), hci0.add_device("AA:BB:CC:DD:EE:02")
    patterns = [OrPattern(0, 0x16, b"\xf0\xff"), OrPattern(0, 0xFF, b"\xff\xff\x07")]
    async with scanning({"or_patterns": patterns}, scanning_mode="passive") as heard:
        await bluez.drained()
        assert fits.advertise(service_data={"fff0": b"\x01"})
        assert not other.advertise(service_data={"181a": b"\x01"}, manufacturer_data={0xFFFF: b"\x06"})
        assert not fits.advertise(service_data={"fff0": b"\x01"})  # nobody asked for duplicates
        assert other.advertise(manufacturer_data={0xFFFF: b"\x07"})
        await bluez.drained()
    assert [set(a.service_data) or set(a.manufacturer_data) for a in heard] == [{SERVICE}, {0xFFFF}]
    assert not fits.advertise(service_data={"fff0": b"\x02"})


async def test_a_passive_scan_needs_the_monitor_interface(bluez):
    bluez.add_adapter("hci1", advertisement_monitor=False)
    passive = {"or_patterns": [OrPattern(0, 0x16, b"\xf0\xff")], "adapter": "hci1"}
    with pytest.raises(BleakError, match="passive scanning"):
        await BleakScanner(scanning_mode="passive", bluez=passive).start()


async def test_each_adapter_hears_its_own(bluez, hci0):
    hci1 = bluez.add_adapter("hci1")
    await bluez.drained()
    ours, theirs = hci0.add_device(PROBE), hci1.add_device("AA:BB:CC:DD:EE:02")
    async with scanning({**EVERY, "adapter": "hci0"}) as first, scanning({**EVERY, "adapter": "hci1"}) as second:
        assert (ours.advertise(), theirs.advertise()) == (True, True)
        await bluez.drained()
    assert (len(first), len(second)) == (1, 1)
    assert (first.device.address, second.device.address) == (ours.address, theirs.address)


# --- the link


async def test_a_session_reads_and_is_notified_and_the_next_must_subscribe_again(bluez, probe):
    device = await found(bluez, probe)
    for session in (1, 2):
        lost, got = asyncio.Event(), []
        client = BleakClient(device, lambda _: lost.set())  # noqa: B023
        async with asyncio.timeout(WAIT_SECONDS):
            await client.connect()
            assert await client.read_gatt_char(VALUES) == b"\x39\x04"
            (descriptor,) = client.services.get_characteristic(VALUES).descriptors
            assert await client.read_gatt_descriptor(descriptor) == CPF
            assert not probe.values.notify(b"\x00\x00")  # nobody subscribed in this session
            await client.start_notify(VALUES, lambda _, data: got.append(bytes(data)))  # noqa: B023
            assert all(probe.values.notify(bytes([n, session])) for n in range(5))
            await bluez.drained()
            assert got == [bytes([n, session]) for n in range(5)]
            assert bluez.links() == [probe]
            probe.drop_link()
            await lost.wait()
        assert not client.is_connected
        assert bluez.links() == []
        await client.disconnect()
    assert probe.values.reads == 2


@pytest.mark.parametrize("rearms", [False, True])
async def test_notifications_may_come_twice_and_to_old_connections_again(bluez, probe, rearms):
    device, got = await found(bluez, probe), []
    first = BleakClient(device)
    async with asyncio.timeout(WAIT_SECONDS):
        await first.connect()
        await first.start_notify(VALUES, lambda _, data: got.append(bytes(data)))
        probe.values.notify_twice(b"\x01\x00")
        await bluez.drained()
        assert got == [b"\x01\x00"] * 2
        probe.rearms_notify = rearms
        probe.drop_link()
        await bluez.drained()
        async with BleakClient(device):
            assert probe.values.notify(b"\x02\x00") is rearms  # the first client's connection is still open
        await first.disconnect()


async def test_values_are_written_and_forbidden_ones_refused(bluez, probe):
    sink = probe.gatt.services[0].add_characteristic("fff2", flags=["write"])
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(await found(bluez, probe)) as client:
        await client.write_gatt_char("fff2", b"\x05\x06", response=True)
        with pytest.raises(BleakGATTProtocolError):
            await client.read_gatt_char("fff2")
        with pytest.raises(BleakDBusError, match="NotSupported"):
            await client.start_notify("fff2", lambda _, __: None)
    assert sink.writes == [b"\x05\x06"]


async def test_a_table_that_changed_is_seen_only_as_it_is(bluez, probe):
    device = await found(bluez, probe)
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(device) as client:
        probe.gatt.clear()
        probe.gatt.add_service(SERVICE).add_characteristic("fff7")
        with pytest.raises(BleakDBusError, match="UnknownObject"):
            await client.read_gatt_char(VALUES)
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(device) as client:
        assert client.services.get_characteristic(VALUES) is None
        assert client.services.get_characteristic("fff7") is not None


async def test_a_refused_connect_succeeds_when_the_fault_is_used_up(bluez, probe):
    device = await found(bluez, probe)
    bluez.faults.on("Connect", device=probe, error=("org.bluez.Error.Failed", "br-connection-refused"), times=2)
    for _ in range(2):
        with pytest.raises(BleakDBusError, match="refused"):
            await BleakClient(device).connect()
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(device):
        assert probe.connected
    assert bluez.called("Connect") == 3


async def test_an_aborted_connect_is_tried_again_by_bleak(bluez, probe):
    device = await found(bluez, probe)
    bluez.faults.abort(device=probe, times=2)
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(device):
        assert bluez.called("Connect") == 3


@pytest.mark.parametrize("how", ["hang", "abort without a flicker", "services never resolved"])
async def test_a_connect_that_hangs_ends_with_its_timeout(bluez, probe, how):
    device = await found(bluez, probe)
    if how == "hang":
        bluez.faults.hang("Connect", device=probe)
    elif how == "services never resolved":
        probe.resolves = False
    else:
        bluez.faults.abort(device=probe, flicker=False)
    with pytest.raises(TimeoutError):
        await BleakClient(device, timeout=0.1).connect()
    await bluez.drained()
    assert bluez.calls[-1].member == "Disconnect"
    probe.resolves = True
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(device):
        assert bluez.links() == [probe]


async def test_reads_and_subscriptions_hang_without_limit(bluez, probe):
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(await found(bluez, probe)) as client:
        bluez.faults.hang("ReadValue", device=probe)
        bluez.faults.hang("StartNotify", device=probe.values)
        for call in (client.read_gatt_char(VALUES), client.start_notify(VALUES, lambda _, __: None)):
            with pytest.raises(TimeoutError):
                async with asyncio.timeout(0.05):
                    await call
        assert await client.read_gatt_char(VALUES) == b"\x39\x04"


async def test_a_mute_device_keeps_its_link_and_says_nothing(bluez, probe):
    got = []
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(await found(bluez, probe)) as client:
        await client.start_notify(VALUES, lambda _, data: got.append(data))
        probe.mute()
        assert not probe.values.notify(b"\x01")
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.05):
                await client.read_gatt_char(VALUES)
        assert client.is_connected
        probe.unmute()
        assert probe.values.notify(b"\x02")
        await bluez.drained()
    assert got == [b"\x02"]


async def test_errors_and_delays_are_scripted_per_method(bluez, probe):
    loop = asyncio.get_running_loop()
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(await found(bluez, probe)) as client:
        bluez.faults.on("ReadValue", error=("org.bluez.Error.Failed", "Operation failed with ATT error: 0x0e"))
        with pytest.raises(BleakGATTProtocolError):
            await client.read_gatt_char(VALUES)
        bluez.faults.delay("ReadValue", 0.1, device=probe, times=1)
        began = loop.time()
        await client.read_gatt_char(VALUES)
        assert loop.time() - began >= 0.09
        bluez.faults.hang("ReadValue", times=None)
        waiting = asyncio.create_task(client.read_gatt_char(VALUES))
        await asyncio.sleep(0.02)
        assert not waiting.done()
        bluez.release()
        assert await waiting == b"\x39\x04"
        bluez.faults.clear()
        await client.read_gatt_char(VALUES)


async def test_an_adapter_has_only_so_many_links(bluez, hci0):
    hci0.max_links = 1
    first, second = hci0.add_device(PROBE), hci0.add_device("AA:BB:CC:DD:EE:02")
    one, two = await found(bluez, first), await found(bluez, second)
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(one):
        with pytest.raises(BleakDBusError, match="Too many links"):
            await BleakClient(two).connect()
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(two):
        assert bluez.links() == [second]


async def test_a_device_removed_while_connected_is_not_reported(bluez, probe):
    device, told = await found(bluez, probe), []
    client = BleakClient(device, told.append)
    async with asyncio.timeout(WAIT_SECONDS):
        await client.connect()
        probe.remove()
        await bluez.drained()
    assert client.is_connected
    assert not told
    assert bluez.links() == []
    with pytest.raises(BleakError):
        await BleakClient(device).connect()


async def test_a_device_gone_from_bluez_alone_cannot_be_connected(bluez, probe):
    device = await found(bluez, probe)
    probe.unpublish(silent=True)
    with pytest.raises(BleakDeviceNotFoundError):
        await BleakClient(device).connect()


# --- adapter, daemon and bus


async def test_a_second_scanner_is_in_the_way(bluez):
    async with scanning():
        with pytest.raises(BleakDBusError, match="InProgress"):
            await BleakScanner(bluez=EVERY).start()
        with pytest.raises(BleakDBusError, match="InProgress"):
            await BleakClient(PROBE).connect()


async def test_power_off_and_on_ends_scan_and_links_for_good(bluez, hci0, probe):
    heard, lost = Heard(), asyncio.Event()
    scanner = BleakScanner(heard, bluez=EVERY)
    await scanner.start()
    probe.advertise()
    await bluez.drained()
    client = BleakClient(heard.device, lambda _: lost.set())
    async with asyncio.timeout(WAIT_SECONDS):
        await client.connect()
        hci0.power(False)
        await bluez.drained()
        assert lost.is_set()
    with pytest.raises(BleakBluetoothNotAvailableError) as refused:
        await BleakScanner().start()
    assert refused.value.reason is BleakBluetoothNotAvailableReason.POWERED_OFF
    with pytest.raises(BleakDBusError, match="NotReady"):
        await BleakScanner(bluez={"adapter": "hci0"}).start()
    hci0.power(True)
    assert not probe.advertise(-40)
    with pytest.raises(BleakDBusError, match="No discovery started"):
        await scanner.stop()
    async with scanning() as again:
        assert probe.advertise(-40)
        await bluez.drained()
    assert len(again) == 1


@pytest.mark.parametrize("announce", [False, True])
async def test_nobody_is_told_of_a_new_bluetoothd(bluez, probe, announce):
    heard, told = Heard(), []
    scanner = BleakScanner(heard, bluez=EVERY)
    await scanner.start()
    probe.advertise()
    await bluez.drained()
    client = BleakClient(heard.device, told.append)
    async with asyncio.timeout(WAIT_SECONDS):
        await client.connect()
        await bluez.restart(announce=announce)
        await bluez.drained()
    assert client.is_connected
    assert not told
    assert not probe.advertise()
    assert (bluez.links(), bluez.discovering()) == ([], [])
    with pytest.raises(BleakDBusError, match="No discovery started"):
        await scanner.stop()
    async with scanning() as again:
        probe.advertise()
        await bluez.drained()
    assert len(again) == 1


async def test_a_known_device_is_there_again_after_a_restart(bluez, hci0):
    hci0.add_device(PROBE, known=True)
    passing = hci0.add_device("AA:BB:CC:DD:EE:02")
    async with scanning():
        passing.advertise()
        assert passing.path in bluez.tree
    await bluez.restart()
    assert [path for path in bluez.tree if "/dev_" in path] == ["/org/bluez/hci0/dev_AA_BB_CC_DD_EE_01"]


async def test_an_adapter_pulled_out_is_missed_until_it_is_back(bluez, hci0, probe):
    await found(bluez, probe)
    hci0.remove()
    await bluez.drained()
    assert set(bluez.tree) == set()
    with pytest.raises(BleakBluetoothNotAvailableError) as refused:
        await BleakScanner().start()
    assert refused.value.reason is BleakBluetoothNotAvailableReason.NO_BLUETOOTH
    hci0.insert()
    await bluez.drained()
    async with scanning() as heard:
        probe.advertise()
        await bluez.drained()
    assert len(heard) == 1


async def test_a_blocked_or_denied_adapter_says_so(bluez, hci0):
    blocked = bluez.add_adapter("hci1", power_state="off-blocked")
    assert not blocked.powered
    bluez.faults.on("StartDiscovery", error=("org.freedesktop.DBus.Error.AccessDenied", "no"), device=hci0)
    with pytest.raises(BleakDBusError, match="AccessDenied"):
        await BleakScanner().start()
    await BleakScanner.discover(0.01)
    bluez.add_adapter("hci2", roles=["peripheral"])
    hci0.remove()
    blocked.remove()
    await bluez.drained()
    with pytest.raises(BleakBluetoothNotAvailableError) as refused:
        await BleakScanner().start()
    assert refused.value.reason is BleakBluetoothNotAvailableReason.NO_BLE_CENTRAL_ROLE


async def test_a_bus_without_bluez_answers_service_unknown(system_bus):
    with pytest.raises(BleakDBusError, match="ServiceUnknown"):
        await BleakScanner().start()


async def test_a_bus_may_turn_clients_away(system_bus, monkeypatch):
    from tests.bluez.bus import PrivateBus
    from tests.bluez.fake import FakeBluez

    with PrivateBus(mechanism="DBUS_COOKIE_SHA1") as bus:
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", bus.address)
        with pytest.raises(BleakBluetoothNotAvailableError) as refused:
            await BleakScanner().start()
        assert refused.value.reason is BleakBluetoothNotAvailableReason.DENIED_BY_SYSTEM
    with PrivateBus(denied=["org.bluez"]) as bus:
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", bus.address)
        fake = await FakeBluez(bus.address).start()
        with pytest.raises(BleakDBusError, match="AccessDenied"):
            await BleakScanner().start()
        await fake.stop()


async def test_a_bus_that_restarts_takes_links_along(bluez, system_bus, probe):
    device, lost = await found(bluez, probe), asyncio.Event()
    client = BleakClient(device, lambda _: lost.set())
    async with asyncio.timeout(WAIT_SECONDS):
        await client.connect()
        system_bus.restart()
        await lost.wait()
        assert not bluez.running
        await bluez.start()
        async with scanning() as heard:
            assert probe.advertise()
            await bluez.drained()
    assert len(heard) == 1


async def test_a_burst_larger_than_the_socket_gets_through(bluez, probe):
    got = []
    async with asyncio.timeout(WAIT_SECONDS), BleakClient(await found(bluez, probe)) as client:
        await client.start_notify(VALUES, lambda _, data: got.append(int.from_bytes(data)))
        assert all(probe.values.notify(n.to_bytes(20)) for n in range(5000))
        await bluez.drained()
    assert got == list(range(5000))


@pytest.mark.parametrize("kind", ["adverts", "notify"])
async def test_traffic_from_another_process_arrives_whole(system_bus, kind):
    from tests.bluez.traffic import CHARACTERISTIC, LAYOUT, address_of, traffic

    process, got, seen = traffic(system_bus.address, kind, devices=2, count=1000), [], {}

    def on_advert(device, advert):
        seen[device.address] = device
        if kind == "adverts":
            got.extend(LAYOUT.unpack(data)[1] for data in advert.service_data.values())

    try:
        assert process.stdout.readline() == "ready\n"
        async with asyncio.timeout(WAIT_SECONDS), contextlib.AsyncExitStack() as stack:
            await stack.enter_async_context(BleakScanner(on_advert, bluez=EVERY))
            while kind == "notify" and len(seen) < 2:
                await asyncio.sleep(0.01)
            for n in range(2 if kind == "notify" else 0):
                client = await stack.enter_async_context(BleakClient(seen[address_of(n)]))
                await client.start_notify(CHARACTERISTIC, lambda _, data: got.append(LAYOUT.unpack(data)[1]))
            report = json.loads(await asyncio.to_thread(process.stdout.readline))
            assert report["sent"] == 1000
            assert got == list(range(1000))
    finally:
        process.terminate()
        process.communicate(timeout=WAIT_SECONDS)
    assert process.returncode == 0
