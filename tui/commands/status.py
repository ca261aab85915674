"""`coldside status`: the cook in plain lines, and by the exit code whether an alarm waits."""

import argparse
import asyncio
from contextlib import aclosing
from typing import TYPE_CHECKING

from tui.commands.options import add_config, add_json, add_way, chosen_unit, way_of
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.snapshot import Snapshot
    from tui.draw.view import View
    from tui.way import Way

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `status`."""
    add_config(parser)
    add_way(parser)
    add_json(parser)
    parser.add_argument("--watch", action="store_true", help="go on: a line whenever an alarm or the fire changes")
    parser.add_argument("--unit", choices=("C", "F"), help="temperature unit")


def run(options: argparse.Namespace) -> int:
    """Print the status."""
    from tui.draw.view import View

    way = way_of(options)
    return asyncio.run(_status(options, way, View(fahrenheit=chosen_unit(options) == "F")))


async def _status(options: argparse.Namespace, way: "Way", view: "View") -> int:
    from tui.draw.summary import status_lines
    from tui.once import snapshots

    last: list[str] = []
    code = Exit.OK
    async with aclosing(snapshots(way)) as coming:
        async for snapshot in coming:
            code = _code(snapshot)
            if options.json:
                _print_json(snapshot, code)
            elif not last and not options.watch:
                print("\n".join(status_lines(snapshot, view)))
            else:
                last = _print_changes(snapshot, last, view)
            if not options.watch:
                break
    return code


def _code(snapshot: "Snapshot") -> Exit:
    """Tell whether an alarm waits for somebody."""
    from collector.snapshot import AlarmState

    waiting = (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED, AlarmState.LATCHED_UNACKNOWLEDGED)
    return Exit.ALARM if any(a.state in waiting for a in snapshot.alarms) else Exit.OK


def _print_json(snapshot: "Snapshot", code: Exit) -> None:
    import msgspec

    print(msgspec.json.encode({"schema": 1, "exit": int(code), "snapshot": snapshot}).decode(), flush=True)


def _print_changes(snapshot: "Snapshot", last: list[str], view: "View") -> list[str]:
    """Print what is new against the last snapshot; append-only, so that a screen reader can follow."""
    from tui.draw.clean import clean
    from tui.draw.fire_state import fire_state
    from tui.draw.words import alarm_sentence, clock_seconds, temperature

    now = [f"fire: {fire_state(snapshot)[0]}"]
    now += [f"alarm {a.key}: {a.state}: {alarm_sentence(a, view)}" for a in snapshot.alarms]
    now += [f"source {s.name}: {s.state} {clean(s.why, 300)}".rstrip() for s in snapshot.sources]
    keys = {line.split(": ")[0] + line.split(": ")[1] for line in last}
    for line in now:
        if line.split(": ")[0] + line.split(": ")[1] not in keys:
            grate = temperature(snapshot.fire.level_celsius, view)
            print(f"{clock_seconds(snapshot.now_unix, view)}  {line}  (grate {grate})", flush=True)
    return now
