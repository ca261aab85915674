"""`coldside demo`: a recorded night on the dashboard, with nothing set up and nothing kept."""

import argparse
import asyncio
import json
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from tui.commands.options import add_json, add_look, dashboard_look, speed
from tui.commands.signals import exit_on_signals
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.straight import StraightRun

__all__ = ["add_options", "run"]

SPEED = 240.0
"""Twelve hours in three minutes."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `demo`."""
    parser.add_argument("--night", metavar="NAME", default="flat-side-cold", help="which night; `--nights` lists them")
    parser.add_argument("--nights", action="store_true", help="list the nights and what happens in them")
    parser.add_argument("--speed", type=speed, default=SPEED, metavar="N", help=f"how fast (default {SPEED:g})")
    parser.add_argument("--headless", action="store_true", help="no screen: print the alarm log and a summary")
    parser.add_argument("--store", metavar="FILE", help="keep the record here (default: a throwaway)")
    add_json(parser)
    add_look(parser)


def run(options: argparse.Namespace) -> int:
    """Show the night."""
    from tui.nights import night_file, night_names, night_story

    if options.nights:
        stories = {name: night_story(name) for name in night_names()}
        if options.json:
            print(json.dumps({"schema": 1, "nights": stories}))
        else:
            print("\n".join(f"{name:18}{story}" for name, story in stories.items()))
        return Exit.OK
    try:
        recording = night_file(options.night)
    except FileNotFoundError as error:
        print(f"coldside: {error}", file=sys.stderr)
        return Exit.USAGE
    with exit_on_signals(), tempfile.TemporaryDirectory(prefix="coldside-demo-") as folder:
        store = Path(options.store or Path(folder) / "demo.db")
        if options.headless or options.json:
            return _headless(options, recording, store)
        return asyncio.run(_on_screen(options, recording, store, Path(folder) / "demo.sock"))


def _headless(options: argparse.Namespace, recording: Path, store: Path) -> int:
    from adapters.recording import readings
    from collector.straight import run_straight
    from tui.nights import SOURCE, night_settings

    result = run_straight(night_settings().plan, readings(recording, SOURCE), store, cook=options.night)
    if options.json:
        _print_json(options, result)
    else:
        from tui.draw.summary import summary_lines

        for line in summary_lines(result, fahrenheit=options.unit != "C"):
            print(line)
    return Exit.OK


def _print_json(options: argparse.Namespace, result: "StraightRun") -> None:
    import msgspec

    document = {
        "schema": 1, "night": options.night, "started_unix": result.started_unix, "ended_unix": result.ended_unix,
        "readings": result.readings, "qualities": result.qualities, "alarm_log": result.transitions,
        "marks": result.marks, "end": result.last,
    }  # fmt: skip
    print(msgspec.json.encode(document).decode())


async def _on_screen(options: argparse.Namespace, recording: Path, store: Path, socket: Path) -> int:
    from adapters.recording import Recording, start_of
    from collector.daemon import Collector
    from tui.commands.screen_log import silence_logging
    from tui.commands.together import show_while_running
    from tui.nights import SOURCE, night_settings

    silence_logging()
    settings = night_settings()
    start = start_of(recording)
    source = Recording(SOURCE, recording, speed=options.speed, start_unix=start)
    collector = Collector(
        settings.plan, [source], store, socket, cook=options.night, playback=True, speed=options.speed,
        start_unix=start, throwaway=not options.store,
    )  # fmt: skip
    return await show_while_running(collector, dashboard_look(options, settings))
