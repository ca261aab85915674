"""`coldside check`: every mistake of a config, or of a file of pits, at once; whether the radio can be used."""

import argparse
import asyncio
import json
from typing import TYPE_CHECKING

from tui.commands.options import add_config, add_json, add_pits, load_settings
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from adapters.ble.diagnosis import Diagnosis
    from collector.model.meat.piece import Piece
    from collector.settings.load import Settings

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `check`."""
    add_config(parser)
    add_pits(parser)
    add_json(parser)
    parser.add_argument("--file-only", action="store_true", help="look at the file alone, not at the Bluetooth adapter")


def run(options: argparse.Namespace) -> int:
    """Check the config and the adapters it names; print what it holds, or what is wrong."""
    from collector.errors import SettingsError
    from collector.model.chamber import Chamber
    from collector.settings.quantity import parse_difference
    from collector.sources import playback_speed
    from collector.words import NOT_WATCHED

    try:
        if options.pits:
            return _check_pits(options)
        settings = load_settings(options)
        playback_speed(settings)
    except SettingsError as error:
        if not options.json:
            raise
        problems = [{"line": p.line, "key": p.key, "what": p.what} for p in error.problems]
        print(json.dumps({"schema": 1, "file": str(error.path), "ok": False, "problems": problems}))
        return Exit.CONFIG
    plan = settings.plan
    radios = [] if options.file_only else _radios(settings)
    code = Exit.FAILED if any(radio.reason for radio in radios) else Exit.OK
    if options.json:
        bluetooth = [
            {"adapter": r.adapter, "ok": not r.reason, "reason": r.reason, "detail": r.detail, "mend": r.mend}
            for r in radios
        ]
        document = {
            "schema": 1, "file": str(settings.path), "ok": True, "warnings": list(settings.warnings),
            "sources": len(settings.config.source), "probes": len(plan.probes), "zones": len(plan.zones),
            "meat": [_meat_fields(piece) for piece in plan.meat], "bluetooth": bluetooth,
        }  # fmt: skip
        print(json.dumps(document))
        return code
    print(f"{settings.path}: all right")
    counts = ((len(settings.config.source), "source"), (len(plan.probes), "probe"), (len(plan.zones), "zone"))
    print("  " + ", ".join(f"{count} {noun}{'' if count == 1 else 's'}" for count, noun in counts))
    for zone, watched in zip(plan.zones, Chamber(plan).watched(plan.rule("cold-spot").limit), strict=True):
        held = [p.name for p in plan.probes if zone.holds(p)]
        blind = "" if watched else f"; {NOT_WATCHED}"
        print(f"  zone {zone.name} ({zone.level}): {', '.join(held) or 'no probe: read from the map alone'}{blind}")
    for probe in settings.config.probe:
        if parse_difference(probe.offset):
            print(f"  probe {probe.name}: offset {probe.offset}, until a calibration on record takes its place")
    print("".join(f"{line}\n" for line in _meat_lines(settings)), end="")
    for person in settings.config.person:
        quiet = f"; quiet {person.quiet}" if person.quiet else ""
        print(f"  person {person.name}: told by {', '.join(person.channels)}{quiet}")
    for warning in settings.warnings:
        print(f"  warning: {warning}")
    for radio in radios:
        print("\n".join(_radio_lines(radio)))
    return code


def _meat_lines(settings: "Settings") -> list[str]:
    """Say how each piece was understood."""
    import time

    from tui.draw.described import described
    from tui.draw.pieces import cooling_words
    from tui.draw.view import View

    view, lines = View(fahrenheit=settings.config.display.unit == "F"), []
    for piece in settings.plan.meat:
        said = described(piece, view, time.time())
        said["cooling"] = cooling_words(piece.cooling, view)
        if "serve" in said:
            said["serve"] += " by this machine's clock, the first at least 4 h after it goes on"
        lines.append(f"  meat {piece.name}: {said.pop('cut')}, {said.pop('species')}")
        lines += [f"    {name}: {words}" for name, words in said.items()]
    return lines


def _meat_fields(piece: "Piece") -> dict[str, object]:
    """Say the same to a program, °C and metres."""
    parts = [
        {"name": p.name, "probe": p.probe, "wrap_celsius": p.wrap_at, "done_celsius": p.done_at} for p in piece.parts
    ]
    return {"name": piece.name, "cut": str(piece.cut), "parts": parts, "place_m": piece.place,
            "cooling": str(piece.cooling)}  # fmt: skip


def _check_pits(options: argparse.Namespace) -> int:
    """Look at a file of pits alone; no collector is asked.

    Raises:
        SettingsError: it holds mistakes.
    """
    from collector.paths import pits_file
    from tui.pits_file import load_pits

    file = pits_file(options.pits)
    entries = load_pits(file)
    if options.json:
        print(json.dumps({"schema": 1, "file": str(file), "ok": True, "pits": [entry.name for entry in entries]}))
    else:
        print(f"{file}: all right")
        for entry in entries:
            print(f"  pit {entry.name}: {entry.told()}")
    return Exit.OK


def _radios(settings: "Settings") -> "list[Diagnosis]":
    """Look at every adapter the config needs."""
    from collector.settings.shape import BleSource

    wanted = sorted({table.adapter for table in settings.config.source if isinstance(table, BleSource)})
    if not wanted:
        return []
    from adapters.ble.diagnosis import diagnose

    async def look() -> "list[Diagnosis]":
        return [await diagnose(adapter) for adapter in wanted]

    return asyncio.run(look())


def _radio_lines(radio: "Diagnosis") -> list[str]:
    if not radio.told:
        return ["  Bluetooth: this system tells only when a scan is tried; `coldside scan` does"]
    if radio.reason is None:
        return [f"  Bluetooth: {radio.adapter} is there and on"]
    from tui.draw.clean import clean

    detail = f" ({clean(radio.detail, 120)})" if radio.detail else ""
    return [f"  Bluetooth cannot be used: {radio.reason}{detail}", f"    {radio.mend}"]
