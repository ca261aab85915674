"""Row 21: from BlueZ's signal to a reading, against a bare bleak callback that does nothing but count.

Adverts and notifications of one device, sent by a fake BlueZ in a process of its own; one contender after the other,
each in a process of its own, on the same bus. Flat out for the rate, sender, bus and contender sharing the cores; at
a fixed rate for the CPU time, which depends less on what the others do.

`python -m tests.bench.bluetooth BUS KIND CHANNELS COUNT` is one contender: bleak alone for 0 channels, else ours with
a layout of so many. It tells how long the signals took, from the first to the last.
"""

import asyncio
import contextlib
import json
import logging
import os
import statistics
import sys
from collections.abc import AsyncGenerator, Callable
from typing import Any

from adapters.reading import Reading
from tests.bench.broker import next_line, python
from tests.bench.measure import Effort, Finding, ratio, turns
from tests.bench.receivers import Lap
from tests.bluez.bus import PrivateBus
from tests.bluez.traffic import CHARACTERISTIC, SERVICE, address_of, traffic
from tests.waiting import WAIT_SECONDS

__all__ = ["KINDS", "Round", "measure", "readings"]

KINDS = ("adverts", "notify")
PER_SECOND = 1000.0
CHANNELS = (1, 4)
FILTERS: Any = {"DuplicateData": True, "RSSI": -127}
"""Of the scan, as our radio sets them: they decide what BlueZ makes a signal of."""


def _use_bus(address: str) -> None:
    """Have bleak take a bus for the system's, and not run a program to find BlueZ's version."""
    from bleak.backends.bluezdbus.version import BlueZFeatures

    os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = address
    BlueZFeatures.checked_bluez_version = True


async def readings(kind: str, channels: int) -> AsyncGenerator[tuple[Reading, int], None]:
    """Yield what our adapter makes of the traffic, with how many readings it gave up so far."""
    from adapters.ble.options import DeviceOptions, Match
    from adapters.ble.radio import Radio
    from adapters.ble.source import BleSource
    from adapters.decode.described import Described
    from adapters.decode.layout import Count, Layout, LayoutValue

    # The traffic carries one temperature; further channels are whatever stands behind it, as unsigned numbers valid.
    names = tuple(f"channel {k}" for k in range(channels))
    layout = Layout(
        source="service_data" if kind == "adverts" else "notify",
        uuid=SERVICE if kind == "adverts" else CHARACTERISTIC,
        counter=Count(at=2, type="uint32"),
        value=(LayoutValue(names=names, at=0, type="uint16", exponent=-2, repeat=channels),),
    )
    options = DeviceOptions("probe", Match(address=address_of(0).lower()), Described("bench", layout))
    source = BleSource(options, Radio())
    async with contextlib.aclosing(aiter(source)) as heard:  # type: ignore[type-var]
        async for reading in heard:
            yield reading, source.counts.dropped


async def _ours(kind: str, channels: int, count: int) -> None:
    lap = Lap(count * channels)
    async with contextlib.aclosing(readings(kind, channels)) as heard:
        async for _, dropped in heard:
            if lap.heard_one(dropped):
                lap.tell(dropped)
                break


async def _bare(kind: str, count: int) -> None:
    from bleak import BleakClient, BleakScanner

    lap, found, over = Lap(count), asyncio.Event(), asyncio.Event()
    devices = []

    def heard(_sender: Any, _data: Any) -> None:
        if lap.heard_one():
            over.set()

    def seen(device: Any, _data: Any) -> None:
        devices.append(device)
        found.set()

    scanner = BleakScanner(heard if kind == "adverts" else seen, bluez={"filters": FILTERS})
    async with contextlib.AsyncExitStack() as stack:
        await stack.enter_async_context(scanner)
        if kind == "notify":
            await found.wait()
            client = await stack.enter_async_context(BleakClient(devices[0]))
            await client.start_notify(CHARACTERISTIC, heard, bluez={"use_start_notify": True})
        await over.wait()
        lap.tell()


class Round:
    """Runs one contender after the other on one bus."""

    def __init__(self, bus: str, kind: str, count: int, per_second: float = 0) -> None:
        self._bus, self._kind, self._count, self._per_second = bus, kind, count, per_second
        self.dropped = 0
        """Readings ours gave up, and counted, over all rounds."""

    def run(self, channels: int) -> dict[str, float]:
        """Let a contender hear everything; give its lap."""
        sender = traffic(self._bus, self._kind, per_second=self._per_second, count=self._count)
        try:
            assert next_line(sender) == "ready"
            with python("tests.bench.bluetooth", self._bus, self._kind, channels, self._count) as receiver:
                lap: dict[str, float] = json.loads(next_line(receiver))
            assert receiver.returncode == 0
            assert json.loads(next_line(sender))["sent"] == self._count
        finally:
            sender.terminate()
            sender.communicate(timeout=WAIT_SECONDS)
        self.dropped += int(lap["dropped"])
        return lap

    def rate(self, channels: int) -> float:
        """Events a second, of those that were not given up."""
        lap = self.run(channels)
        return (self._count - lap["dropped"] / max(1, channels)) / lap["seconds"]

    def microseconds(self, channels: int) -> float:
        """CPU time an event."""
        return 1e6 * self.run(channels)["cpu"] / self._count


def _in_turn(rounds: int, figure: Callable[[int], float]) -> list[list[float]]:
    return turns(rounds, [lambda channels=channels: figure(channels) for channels in (0, *CHANNELS)])  # type: ignore[misc]


def measure(effort: Effort) -> list[Finding]:
    """Compare rates and CPU time, for adverts and notifications, with one channel and with four."""
    findings = []
    for kind in KINDS:
        with PrivateBus() as bus:
            flat = Round(bus.address, kind, effort.of(15_000, 10_000))
            bare, *ours = _in_turn(effort.of(4, 3), flat.rate)
            steady = Round(bus.address, kind, effort.of(1_500, 1_000), PER_SECOND)
            bare_cpu, *ours_cpu = _in_turn(2, steady.microseconds)
        assert not steady.dropped
        for channels, rates, cpu in zip(CHANNELS, ours, ours_cpu, strict=True):
            middle, low, high = ratio(rates, bare)
            cheap, least, most = ratio(bare_cpu, cpu)
            note = (
                f"{statistics.median(rates):,.0f} against {statistics.median(bare):,.0f} events/s flat out, "
                f"{flat.dropped:,} readings of all rounds given up and counted; at {PER_SECOND:,.0f}/s bare CPU / ours "
                f"{cheap:.2f} ({least:.2f}..{most:.2f}): {statistics.median(bare_cpu):.0f} against "
                f"{statistics.median(cpu):.0f} us/event, nothing given up"
            )
            what = f"Bluetooth, {kind}, {channels} channel{'s'[: channels - 1]}, ours / bare bleak"
            findings.append(Finding(21, what, middle, "x", 0.8, None, True, low, high, note))
    return findings


def main(bus: str, kind: str, channels: int, count: int) -> None:
    """Listen."""
    logging.disable()  # the library complains of whatever comes in while its connection is being closed
    _use_bus(bus)
    asyncio.run(_ours(kind, channels, count) if channels else _bare(kind, count))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
