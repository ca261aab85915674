"""`coldside scan --connect`: what one device offers to who connects to it."""

import argparse
import asyncio
import contextlib
import json
import time
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, TextIO

from adapters.ble.advert import Advert
from adapters.ble.link import connected
from adapters.ble.log import write_value
from adapters.ble.mend import MENDS
from adapters.ble.options import DeviceOptions, Match
from adapters.ble.tree import TreeReader, Way
from adapters.decode.gatt import Format
from adapters.errors import LinkError
from tui.commands.listening import Ear, interruptible, wait
from tui.commands.printing import print_lines
from tui.commands.scan import fail, names_of, nothing_heard, opened, view_of
from tui.draw.blocks import Names, block_text
from tui.draw.scan import Heard, device_lines
from tui.draw.tree import tree_lines
from tui.draw.tree_blocks import tree_block, tree_document
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from adapters.ble.radio import Radio
    from adapters.ble.survey import Device
    from adapters.ble.tree import Tree
    from collector.settings.load import Settings

__all__ = ["Connected", "first_heard", "joined", "scan_connected"]


@dataclass(frozen=True, slots=True)
class Connected:
    """A device we hold a connection to, its tree read once."""

    device: "Device"
    reader: TreeReader
    gone: asyncio.Event


async def first_heard(options: argparse.Namespace, radio: "Radio", ear: Ear, stop: asyncio.Event) -> bool:
    """Wait until the device is heard; False, with the reason said, when it is not."""
    began = time.monotonic()
    found = asyncio.Event()

    async def look() -> None:
        while not ear.seen:
            ear.news.clear()
            await ear.news.wait()
        found.set()

    async def either() -> None:
        await asyncio.wait(ends, return_when=asyncio.FIRST_COMPLETED)
        found.set()

    ends = [asyncio.create_task(look(), name="device heard"), asyncio.create_task(stop.wait(), name="Ctrl-C")]
    both = asyncio.create_task(either(), name="either")
    try:
        await wait(options.seconds, found, lambda: "waiting for the device")
    finally:
        for task in (*ends, both):
            task.cancel()
        await asyncio.gather(*ends, both, return_exceptions=True)
    if not ear.seen:
        nothing_heard(options, radio, ear, time.monotonic() - began)
    return bool(ear.seen)


@contextlib.asynccontextmanager
async def joined(radio: "Radio", ear: Ear) -> AsyncIterator[Connected]:
    """Connect to the device that the ear has heard, and read its tree.

    Raises:
        LinkError: no connection.
    """
    advert, device = next(iter(ear.seen.values()))
    gone = asyncio.Event()

    def record(
        unix: float, source: Way, service: str, uuid: str, payload: bytes, form: Format | None, text: str
    ) -> None:
        ear.put([write_value(advert, unix, source, service, uuid, payload, presentation=form, label=text)])

    # A connected device advertises no more: what was heard of it before is all there is.
    surveyed = _surveyed(ear, advert)
    options = DeviceOptions(advert.address, Match(address=advert.address.lower()))
    async with connected(radio, device, options, gone=gone.set) as calls:
        reader = TreeReader(calls, time.time, record)
        await reader.read()
        yield Connected(surveyed, reader, gone)


def _surveyed(ear: Ear, advert: Advert) -> "Device":
    return next(d for d in ear.survey.devices() if d.address == advert.address)


async def scan_connected(options: argparse.Namespace, settings: "Settings | None", record: TextIO | None) -> int:
    """Connect, listen, print."""
    if options.two_point:
        from tui.commands.two_point import scan_two_point

        return await scan_two_point(options, settings, record)
    async with interruptible() as stop, opened(options, record) as heard:
        if heard is None:
            return Exit.FAILED
        radio, ear = heard
        if not await first_heard(options, radio, ear, stop):
            return Exit.FAILED
        try:
            async with joined(radio, ear) as link:
                listening = asyncio.create_task(link.reader.listen(options.listen, stop, link.gone), name="listen")
                await wait(options.listen, stop, lambda: "connected")
                await listening
                tree, device = link.reader.tree(), link.device
        except LinkError as error:
            return fail(options, error.reason, error.detail, MENDS.get(error.reason, CONNECTION_MEND))
    if ear.trouble is not None:
        raise ear.trouble
    return _print(options, settings, device, tree)


CONNECTION_MEND = "nearer, or wake it by its button; a phone that holds it must let it go first"


def _print(options: argparse.Namespace, settings: "Settings | None", device: "Device", tree: "Tree") -> int:
    if options.json:
        print(json.dumps(tree_document(device, tree)))
        return Exit.OK
    if options.toml:
        block = tree_block(device, tree, Names(names_of(settings)))
        if block is None:
            return fail(options, "it offers nothing that looks like a temperature", tree.lost, "is a probe plugged in?")
        print(block_text(block), end="")
        return Exit.OK
    view = view_of(options, settings)
    print_lines([*device_lines(Heard(device, ()), view), ()])
    print_lines(tree_lines(tree, view))
    return Exit.OK
