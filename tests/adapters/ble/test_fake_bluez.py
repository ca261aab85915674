"""The fake of BlueZ behaves, through the real bleak, as BlueZ was found to."""

import asyncio

from bleak import BleakClient, BleakScanner


async def test_smoke(bluez, hci0):
    device = hci0.add_device("AA:BB:CC:DD:EE:01", name="box")
    char = device.gatt.add_service("fff0").add_characteristic("fff1", value=b"\x01\x02")
    heard = []
    async with BleakScanner(lambda d, a: heard.append((d, a)), bluez={"filters": {"DuplicateData": True}}):
        for _ in range(5):
            assert device.advertise(-60, {"fff0": b"\x01"})
        await bluez.drained()
    assert len(heard) == 5
    got = []
    async with asyncio.timeout(2), BleakClient(heard[0][0]) as client:
        assert await client.read_gatt_char("fff1") == b"\x01\x02"
        await client.start_notify("fff1", lambda _, data: got.append(bytes(data)))
        for n in range(5):
            assert char.notify(bytes([n]))
        await bluez.drained()
    assert got == [bytes([n]) for n in range(5)]
