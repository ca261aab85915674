"""A BlueZ in a process of its own that sends adverts or notifications, so that it costs the measured process nothing.

`python -m tests.bluez.traffic ADDRESS KIND DEVICES PER_SECOND COUNT`: own org.bluez on the bus at ADDRESS, print
`ready`, and wait until a discovery runs (KIND `adverts`) or every device is subscribed to (`notify`; meanwhile each
advertises). Then send COUNT signals (0: until SIGTERM), PER_SECOND of them a second over all devices (0: flat out),
to the devices in turn; print one JSON object: sent, seconds, cpu_seconds; and stay until SIGTERM or until standard
input closes.
"""

import asyncio
import json
import signal
import struct
import subprocess
import sys
import time

from tests.bluez.device import Device
from tests.bluez.fake import FakeBluez

__all__ = ["CHARACTERISTIC", "LAYOUT", "SERVICE", "address_of", "traffic"]

SERVICE, CHARACTERISTIC = "fff0", "fff1"
LAYOUT = struct.Struct("<hIQ")
"""What every signal carries: temperature in 0.01 °C, its number from 0, `time.monotonic_ns` when it was sent."""
BLOCK = 100
ADVERT_EVERY_SECONDS = 0.05


def address_of(n: int) -> str:
    """Give the address of the nth device, from 0."""
    return f"C0:00:00:00:{n >> 8:02X}:{n & 255:02X}"


def traffic(
    address: str, kind: str, *, devices: int = 1, per_second: float = 0, count: int = 0
) -> "subprocess.Popen[str]":
    """Start one; its output is a pipe, and closing its input ends it."""
    words = [sys.executable, "-m", "tests.bluez.traffic", address, kind, str(devices), str(per_second), str(count)]
    return subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def _content(n: int) -> bytes:
    return LAYOUT.pack(11_000 + n % 1000, n, time.monotonic_ns())


def _advertise(device: Device, content: bytes) -> bool:
    return device.advertise(-60, {SERVICE: content})


async def _wanted(fake: FakeBluez, devices: list[Device], kind: str) -> None:
    """Wait for those who listen."""
    while True:
        if kind == "adverts" and fake.discovering():
            return
        if kind == "notify" and all(c.notifying for d in devices for c in d.gatt.characteristics()):
            return
        for device in devices:
            device.advertise(-60)
        await asyncio.sleep(ADVERT_EVERY_SECONDS)


async def _send(fake: FakeBluez, devices: list[Device], kind: str, per_second: float, count: int) -> int:
    """Send until told to stop or `count` are through; give how many BlueZ made signals of."""
    characteristics = [d.gatt.characteristics()[0] for d in devices]
    began, sent, n = time.monotonic(), 0, 0
    try:
        while not count or n < count:
            due = n + BLOCK if not per_second else int((time.monotonic() - began) * per_second) + 1
            for number in range(n, min(due, count) if count else due):
                k = number % len(devices)
                if kind == "adverts":
                    sent += _advertise(devices[k], _content(number))
                else:
                    sent += characteristics[k].notify(_content(number))
            n = max(n, due)
            if per_second:
                await asyncio.sleep(max(0.0, began + n / per_second - time.monotonic()))
            else:
                await fake.room()
    except asyncio.CancelledError:
        pass
    return sent


async def main(address: str, kind: str, devices: int, per_second: float, count: int) -> None:
    """Serve, send and report."""
    fake = await FakeBluez(address).start()
    adapter = fake.add_adapter("hci0")
    made = [adapter.add_device(address_of(n), name=f"probe {n}", services=[SERVICE]) for n in range(devices)]
    for device in made:
        device.gatt.add_service(SERVICE).add_characteristic(CHARACTERISTIC, value=lambda: _content(0))
    loop, over = asyncio.get_running_loop(), asyncio.Event()
    loop.add_signal_handler(signal.SIGTERM, over.set)
    loop.add_reader(sys.stdin, over.set)
    print("ready", flush=True)
    waiting = asyncio.create_task(_wanted(fake, made, kind))
    ending = asyncio.create_task(over.wait())
    await asyncio.wait({waiting, ending}, return_when=asyncio.FIRST_COMPLETED)
    waiting.cancel()
    if not over.is_set():
        began, cpu = time.monotonic(), time.process_time()
        sending = asyncio.create_task(_send(fake, made, kind, per_second, count))
        await asyncio.wait({sending, ending}, return_when=asyncio.FIRST_COMPLETED)
        sending.cancel()
        sent = await sending
        await fake.drained()
        took = {"sent": sent, "seconds": time.monotonic() - began, "cpu_seconds": time.process_time() - cpu}
        print(json.dumps(took), flush=True)
        await over.wait()
    await fake.stop()
    ending.cancel()


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1], sys.argv[2], int(sys.argv[3]), float(sys.argv[4]), int(sys.argv[5])))
