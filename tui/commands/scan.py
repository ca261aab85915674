"""`coldside scan`: from what is in the air, or on a broker, to a ready block of config."""

import argparse
import asyncio
import contextlib
import json
import sys
import time
from collections.abc import AsyncIterator, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from tui.commands.options import add_config, add_json, known_settings, metres
from tui.commands.signals import exit_on_signals
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from adapters.ble.options import Match
    from adapters.ble.radio import Radio
    from adapters.ble.survey import Device
    from adapters.errors import LinkReason
    from collector.settings.load import Settings
    from tui.commands.listening import Ear
    from tui.draw.line import Line
    from tui.draw.scan import Heard
    from tui.draw.view import View

__all__ = ["add_options", "fail", "look", "names_of", "opened", "run", "view_of"]

LONGEST_SECONDS = 86_400.0
START_SECONDS = 5.0
SEARCHED = 64
"""Payload places, of the strongest devices first, that are searched for candidates; a chosen device always is."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `scan`."""
    add_config(parser)
    add_json(parser)
    parser.add_argument("--seconds", type=_seconds, default=20.0, metavar="N", help="how long to listen (default 20)")
    parser.add_argument("--adapter", default="", metavar="hci0", help="the adapter (default: the first that is on)")
    parser.add_argument("--address", type=_address, metavar="A", help="this device alone")
    parser.add_argument("--device", metavar="NAME", help="devices of this name alone; * and ? stand for what varies")
    parser.add_argument("--toml", action="store_true", help="print blocks for the config instead of what was heard")
    parser.add_argument("--record", metavar="FILE", help="write every payload to a file, for `coldside decode`")
    parser.add_argument("--unit", choices=("C", "F"), help="temperature unit")
    parser.add_argument("--ascii", action="store_true", help="plain ASCII characters only")
    connect = parser.add_argument_group("a device that is connected to")
    connect.add_argument("--connect", type=_address, metavar="ADDRESS", help="connect and show what it offers")
    connect.add_argument(
        "--listen", type=_seconds, default=10.0, metavar="N", help="how long to hear its notifications (default 10)"
    )
    baths = parser.add_argument_group("which bytes are the temperature")
    baths.add_argument("--two-point", action="store_true", help="find out with ice water and boiling water")
    baths.add_argument("--ice-seconds", type=_seconds, metavar="N", help="go on after so long instead of at Enter")
    baths.add_argument("--boiling-seconds", type=_seconds, metavar="N", help="likewise for the boiling water")
    height = baths.add_mutually_exclusive_group()
    height.add_argument(
        "--altitude",
        type=metres,
        default=0.0,
        metavar="M",
        help="height above the sea, '1000 m' or '5280 ft'",
    )
    height.add_argument("--boiling", metavar="TEMPERATURE", help='what the water boils at, "99.1 C"')
    baths.add_argument("--tolerance", metavar="DIFFERENCE", help='how far off a reading may be (default "2 K")')
    broker = parser.add_argument_group("topics of a broker")
    broker.add_argument("--mqtt", metavar="HOST[:PORT]", help="listen to a broker instead of the radio")
    broker.add_argument("--filter", default="#", metavar="FILTER", help="topics to hear (default '#': all)")
    broker.add_argument("--user", metavar="U", help="user name for the broker")
    broker.add_argument("--password-file", metavar="F", help="file with its password")
    broker.add_argument("--mqtt-version", choices=("5", "3.1.1"), help="version of MQTT (default: 5, else 3.1.1)")


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0.0
    if not 0.1 <= seconds <= LONGEST_SECONDS:
        raise argparse.ArgumentTypeError(f"{text!r} is no time to wait; 0.1 to {LONGEST_SECONDS:.0f} seconds")
    return seconds


def _address(text: str) -> str:
    from collector.settings.meaning import mistake_in

    if not text or mistake_in(text, "device address"):
        raise argparse.ArgumentTypeError(f"{text!r} is no address; six bytes with colons, as `coldside scan` shows it")
    return text


def run(options: argparse.Namespace) -> int:
    """Listen, then print."""
    if options.mqtt:
        from tui.commands.scan_mqtt import scan_broker

        with exit_on_signals():
            return asyncio.run(scan_broker(options))
    settings = known_settings(options)
    with exit_on_signals(), _record(options.record) as record:
        if options.connect:
            from tui.commands.scan_connect import scan_connected

            return asyncio.run(scan_connected(options, settings, record))
        if options.two_point:
            from tui.commands.two_point import scan_two_point

            return asyncio.run(scan_two_point(options, settings, record))
        return asyncio.run(_scan(options, settings, record))


@contextlib.contextmanager
def _record(name: str | None) -> Iterator[TextIO | None]:
    """Open the file for the record; one that is there is added to."""
    if name is None:
        yield None
        return
    with Path(name).open("a", encoding="utf-8") as file:
        yield file


def view_of(options: argparse.Namespace, settings: "Settings | None") -> "View":
    """Put together how temperatures are shown."""
    from tui.draw.view import View

    unit = options.unit or (settings.config.display.unit if settings is not None else "F")
    ascii_only = options.ascii or (settings is not None and settings.config.display.ascii)
    return View(fahrenheit=unit == "F", ascii_only=ascii_only)


def wanted(options: argparse.Namespace) -> "Match":
    """Tell which devices are meant."""
    from adapters.ble.options import Match

    return Match(address=(options.connect or options.address or "").lower(), name=options.device or "")


@contextlib.asynccontextmanager
async def opened(options: argparse.Namespace, record: TextIO | None) -> "AsyncIterator[tuple[Radio, Ear] | None]":
    """Hold the radio and an ear; yields (radio, ear), or None where Bluetooth cannot be used, which has been said."""
    from adapters.ble.diagnosis import diagnose
    from adapters.ble.options import RadioOptions
    from adapters.ble.radio import Radio
    from adapters.source import LinkState
    from tui.commands.listening import Ear
    from tui.commands.screen_log import silence_logging

    silence_logging()
    found = await diagnose(options.adapter)
    if found.reason is not None:
        fail(options, found.reason, found.detail, found.mend)
        yield None
        return
    ear = Ear(wanted(options), record)
    radio = Radio(RadioOptions(options.adapter))
    async with radio.attached(ear):
        # Time counts from when the radio listens: under BlueZ that may take a moment.
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(START_SECONDS):
                while radio.link.state is not LinkState.UP:
                    ear.news.clear()
                    await ear.news.wait()
        yield radio, ear


def fail(options: argparse.Namespace, reason: "LinkReason | str", detail: str, mend: str) -> int:
    """Say why nothing came of it and what to do; return the exit code."""
    from tui.draw.clean import clean

    if options.json:
        document = {"schema": 1, "error": str(reason), "detail": detail, "mend": mend, "exit": int(Exit.FAILED)}
        print(json.dumps(document))
    else:
        more = f" ({clean(detail, 200)})" if detail else ""
        print(f"coldside: {reason}{more}", file=sys.stderr)
        if mend:
            print(f"  {mend}", file=sys.stderr)
    return Exit.FAILED


def nothing_heard(options: argparse.Namespace, radio: "Radio", ear: "Ear", seconds: float) -> int:
    """Say why nothing was heard."""
    from adapters.ble.mend import MENDS
    from adapters.errors import LinkReason
    from adapters.source import LinkState

    link = radio.link
    if link.state is not LinkState.UP and link.reason not in (None, LinkReason.NOT_STARTED):
        return fail(options, link.reason, link.detail, MENDS.get(link.reason, ""))
    who = options.connect or options.address or options.device
    mend = MENDS[LinkReason.GONE]
    if who:
        others = f"; {ear.others} packets of other devices were" if ear.others else ", nor was any other device"
        return fail(options, f"{who} was not heard in {seconds:.0f} s{others}", "", mend)
    return fail(options, f"nothing was heard in {seconds:.0f} s by {radio.adapter or 'Bluetooth'}", "", mend)


async def _scan(options: argparse.Namespace, settings: "Settings | None", record: TextIO | None) -> int:
    from tui.commands.listening import interruptible, wait

    async with interruptible() as stop, opened(options, record) as heard:
        if heard is None:
            return Exit.FAILED
        radio, ear = heard
        began = time.monotonic()
        await wait(options.seconds, stop, lambda: f"{len(ear.seen)} devices")
        seconds, adapter = time.monotonic() - began, radio.adapter
        devices = ear.survey.devices()
        if not devices:
            return nothing_heard(options, radio, ear, seconds)
    if ear.trouble is not None:
        raise ear.trouble
    return _print(options, settings, look(options, settings, devices), adapter, seconds)


def look(options: argparse.Namespace, settings: "Settings | None", devices: Sequence["Device"]) -> "list[Heard]":
    """Make of each device what can be made of it."""
    from adapters.ble.recognise import recognise
    from tui.draw.scan import Heard

    chosen = bool(options.address or options.device)
    known = [_known(settings, device) for device in devices]
    found = []
    searched = 0
    for device, (source, key) in zip(devices, known, strict=True):
        search = chosen or searched < SEARCHED
        searched += len(device.groups)
        found.append(Heard(device, recognise(device, search=search, bind_key=key), source))
    return found


def _known(settings: "Settings | None", device: "Device") -> tuple[str, bytes | None]:
    """Find the config's source that means a device, and its bind key."""
    from adapters.ble.options import Match
    from adapters.ble.recognise import bare_advert
    from adapters.decode.gatt import full_uuid
    from collector.settings.bluetooth import bind_key
    from collector.settings.shape import BleSource

    if settings is None:
        return "", None
    advert = bare_advert(device)
    for table in settings.config.source:
        if isinstance(table, BleSource):
            service = full_uuid(table.service) if table.service else ""
            if Match(table.address.lower(), table.device, service, table.company)(advert):
                return table.name, bind_key(table, settings.path.parent)
    return "", None


def names_of(settings: "Settings | None") -> list[str]:
    """List the names that a config holds already."""
    if settings is None:
        return []
    config = settings.config
    return [*(s.name for s in config.source), *(p.name for p in config.probe), *config.layout]


def _print(
    options: argparse.Namespace, settings: "Settings | None", heard: "list[Heard]", adapter: str, seconds: float
) -> int:
    from tui.commands.printing import print_lines
    from tui.draw.scan import scan_lines
    from tui.draw.scan_document import scan_document

    if options.toml:
        return print_blocks(options, settings, heard)
    if options.json:
        print(json.dumps(scan_document(heard, adapter, seconds)))
        return Exit.OK
    chosen = bool(options.address or options.device)
    by = f" by {adapter}" if adapter else ""
    count = f"{len(heard)} device{'' if len(heard) == 1 else 's'}"
    print_lines([((f"{count} heard in {seconds:.0f} s{by}, strongest first", "plain"),), ()])
    print_lines(scan_lines(heard, view_of(options, settings), most_candidates=8 if chosen else 3))
    print_lines(_advice(heard, chosen=chosen))
    return Exit.OK


def _advice(heard: "list[Heard]", *, chosen: bool) -> "list[Line]":
    """Say what to do next, for what was heard."""
    lines = []
    if any(h.standard for h in heard):
        lines.append("--toml prints ready blocks for the config.")
    unread = [h for h in heard if not h.standard and any(r.findings.candidates for r in h.recognised)]
    if unread:
        which = "" if chosen else " with --address"
        lines.append(f"--two-point{which} finds the temperature by ice water and boiling water.")
    if any(not h.standard for h in heard):
        lines.append("--connect ADDRESS shows what a device offers to who connects.")
    return [(), *(((line, "faint"),) for line in lines)] if lines else []


def print_blocks(options: argparse.Namespace, settings: "Settings | None", heard: "list[Heard]") -> int:
    """Print blocks for the config to standard output, remarks to standard error."""
    from tui.draw.blocks import Names, block_text
    from tui.draw.clean import clean
    from tui.draw.scan_blocks import scan_blocks

    blocks, remarks = scan_blocks(heard, Names(names_of(settings)), guess=bool(options.address or options.device))
    for remark in remarks:
        print(f"# {clean(remark, 200)}", file=sys.stderr)
    if not blocks:
        print("coldside: no device that was heard can be read yet", file=sys.stderr)
        return Exit.FAILED
    print("\n".join(block_text(block) for block in blocks), end="")
    return Exit.OK
