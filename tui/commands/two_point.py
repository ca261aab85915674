"""`coldside scan --two-point`: ice water and boiling water tell which bytes of a payload are the temperature."""

import argparse
import asyncio
import json
import sys
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, TextIO

from adapters.ble.mend import MENDS
from adapters.ble.survey import Device, Group, Survey
from adapters.decode.boiling import boiling_celsius
from adapters.decode.candidates import TOLERANCE_KELVIN
from adapters.errors import LinkError
from tui.commands.listening import Ear, enter_pressed, interruptible, wait
from tui.commands.printing import print_lines
from tui.commands.scan import fail, names_of, opened, view_of
from tui.draw.blocks import Block, Names, block_text
from tui.draw.scan import Heard, reading_words
from tui.draw.scan_blocks import alike, layout_block
from tui.draw.scan_document import candidate_document
from tui.draw.two_point import GUIDE_BOILING, GUIDE_ICE, SCALDING, Bathed, bathed, two_point_lines
from tui.errors import TuiError
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from adapters.ble.radio import Radio
    from collector.settings.load import Settings

__all__ = ["scan_two_point"]

Places = list[tuple[Device, Group]]
Listen = Callable[[], Awaitable[Places]]


async def scan_two_point(options: argparse.Namespace, settings: "Settings | None", record: TextIO | None) -> int:
    """Guide through both baths, listen in each, print what reads both."""
    boils, tolerance = _boiling(options), _tolerance(options)
    async with interruptible() as stop, opened(options, record) as heard:
        if heard is None:
            return Exit.FAILED
        radio, ear = heard
        try:
            baths = await _baths(options, radio, ear, stop)
        except LinkError as error:
            return fail(options, error.reason, error.detail, MENDS.get(error.reason, ""))
    if ear.trouble is not None:
        raise ear.trouble
    if baths is None:
        print("coldside: ended before both baths", file=sys.stderr)
        return Exit.FAILED
    return _print(options, settings, bathed(*baths, boils, tolerance), boils)


def _boiling(options: argparse.Namespace) -> float:
    """Tell at what the water boils here."""
    from collector.settings.quantity import QuantityError, parse_temperature

    if options.boiling is None:
        return boiling_celsius(options.altitude)
    try:
        celsius = parse_temperature(options.boiling)
    except QuantityError as error:
        raise TuiError(f"--boiling: {error}") from error
    if not 60.0 <= celsius <= 105.0:
        raise TuiError(f"--boiling: water boils at no {options.boiling} where people cook")
    return celsius


def _tolerance(options: argparse.Namespace) -> float:
    from collector.settings.quantity import QuantityError, parse_difference

    if options.tolerance is None:
        return TOLERANCE_KELVIN
    try:
        kelvin = parse_difference(options.tolerance)
    except QuantityError as error:
        raise TuiError(f"--tolerance: {error}") from error
    if not 0.0 < kelvin <= 30.0:
        raise TuiError(f"--tolerance: {options.tolerance} tells nothing; more than 0 and at most 30 K do")
    return kelvin


async def _baths(
    options: argparse.Namespace, radio: "Radio", ear: Ear, stop: asyncio.Event
) -> tuple[Places, Places] | None:
    """Hear both baths; None when it was ended before, which has been said where there was a reason."""
    if not options.connect:
        return await _both(options, stop, lambda: _hear_adverts(options, ear, stop))
    from tui.commands.scan_connect import first_heard, joined

    if not await first_heard(options, radio, ear, stop):
        return None
    async with joined(radio, ear) as link:

        async def hear() -> Places:
            listening = asyncio.create_task(link.reader.listen(options.listen, stop, link.gone), name="listen")
            await wait(options.listen, stop, lambda: "connected")
            await listening
            tree = link.reader.tree()
            if tree.lost:
                print(f"coldside: {tree.lost}", file=sys.stderr)
            return [(link.device, c.group) for _, c in tree.characteristics() if c.group is not None]

        return await _both(options, stop, hear)


async def _both(options: argparse.Namespace, stop: asyncio.Event, hear: Listen) -> tuple[Places, Places] | None:
    ice = await _bath(GUIDE_ICE, options.ice_seconds, stop, hear)
    if ice is None:
        return None
    boiling = await _bath((*GUIDE_BOILING, SCALDING), options.boiling_seconds, stop, hear)
    return None if boiling is None else (ice, boiling)


async def _bath(
    guide: tuple[str, ...], settle_seconds: float | None, stop: asyncio.Event, hear: Listen
) -> Places | None:
    """Say what to do, wait until it is done, listen."""
    # Guidance goes to standard error, so that standard output holds the result alone.
    print("\n".join(guide), file=sys.stderr)
    if settle_seconds is None:
        print("   Press Enter when it has settled, and leave it in. ", end="", file=sys.stderr, flush=True)
        if not await enter_pressed(stop):
            print(file=sys.stderr)
            return None
    else:
        await wait(settle_seconds, stop, lambda: "letting it settle")
    places = [] if stop.is_set() else await hear()
    if stop.is_set():
        return None
    payloads = sum(group.heard for _, group in places)
    devices = len({device.address for device, _ in places})
    told = f"{payloads} payloads of {devices} device{'' if devices == 1 else 's'}"
    print(f"   heard {told}\n", file=sys.stderr, flush=True)
    return places


async def _hear_adverts(options: argparse.Namespace, ear: Ear, stop: asyncio.Event) -> Places:
    ear.survey = Survey()
    await wait(options.seconds, stop, lambda: f"{len(ear.survey.devices())} devices")
    return [(device, group) for device in ear.survey.devices() for group in device.groups]


def _print(options: argparse.Namespace, settings: "Settings | None", found: list[Bathed], boils: float) -> int:
    good = [one for one in found if one.candidates]
    code = Exit.OK if good else Exit.FAILED
    if options.json:
        document = {
            "schema": 1, "boiling_celsius": round(boils, 3), "exit": int(code),
            "found": [
                {
                    "address": one.device.address, "name": one.device.name, "source": one.place.source,
                    "uuid": one.place.uuid or None, "company": one.place.company, "ice_hex": one.ice.last.hex(),
                    "boiling_hex": one.boiling.last.hex(),
                    "candidates": [candidate_document(c) for c in one.candidates],
                }
                for one in good
            ],
        }  # fmt: skip
        print(json.dumps(document))
        return code
    view = view_of(options, settings)
    if options.toml and good:
        print(block_text(_block(good[0], Names(names_of(settings)))), end="")
        for one in good[1:]:
            print(f"# {one.device.address} fits too; choose with --address", file=sys.stderr)
        return code
    print_lines(two_point_lines(found, boils, view), sys.stderr if options.toml else None)
    if good and not options.toml:
        print_lines([(("The same with --toml prints ready blocks for the config.", "faint"),)])
    return code


def _block(one: Bathed, names: Names) -> Block:
    chosen = one.candidates[0]
    others = alike(chosen, one.candidates[1:])
    notes = [f"in both baths: {reading_words(chosen)}"]
    notes += [f"reads both baths too: {reading_words(c)}" for c in one.candidates[1:4] if c not in others]
    return layout_block(
        Heard(one.device, ()), one.recognised(), chosen, others, names, tuple(notes), service=bool(one.place.service)
    )
