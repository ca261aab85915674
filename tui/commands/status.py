"""`coldside status`: the cook of a pit, or of all, in plain lines, and by the exit code whether an alarm waits."""

import argparse
import asyncio
from contextlib import aclosing
from typing import TYPE_CHECKING

from tui.commands.options import add_config, add_json, add_way, chosen_unit, ways_of
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.snapshot import Snapshot
    from tui.draw.view import View
    from tui.way import Way

__all__ = ["add_options", "run"]

AGAIN_SECONDS = 5.0
"""With --watch and several pits: before one that is away is asked again."""


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

    ways = ways_of(options)
    view = View(fahrenheit=chosen_unit(options) == "F")
    if len(ways) == 1:
        return asyncio.run(_status(options, next(iter(ways.values())), view))
    return asyncio.run(_follow_all(options, ways, view) if options.watch else _status_of_all(options, ways, view))


async def _status(options: argparse.Namespace, way: "Way", view: "View") -> int:
    from tui.draw.summary import status_lines
    from tui.once import snapshots

    last: list[str] = []
    code = Exit.OK
    async with aclosing(snapshots(way)) as coming:
        async for snapshot in coming:
            code = _code(snapshot)
            if options.json:
                _print_json({"schema": 1, "exit": int(code), "snapshot": snapshot})
            elif not last and not options.watch:
                print("\n".join(status_lines(snapshot, view)))
            else:
                last = _print_changes(snapshot, last, view)
            if not options.watch:
                break
    return code


async def _status_of_all(options: argparse.Namespace, ways: dict[str, "Way"], view: "View") -> int:
    """Print one block a pit; one that does not answer is told in its own, and the worst exit code is given."""
    from tui.draw.summary import status_lines

    answers = dict(zip(ways, await asyncio.gather(*(_one(way) for way in ways.values())), strict=True))
    codes = {n: Exit.NO_COLLECTOR if isinstance(a, str) else _code(a) for n, a in answers.items()}
    worst = max(codes.values())
    if options.json:
        pits = {
            name: {"exit": int(codes[name]), ("error" if isinstance(answer, str) else "snapshot"): answer}
            for name, answer in answers.items()
        }
        _print_json({"schema": 1, "exit": int(worst), "pits": pits})
        return worst
    for name, answer in answers.items():
        print(f"pit         {name}")
        print(f"collector   {answer}\n" if isinstance(answer, str) else "\n".join([*status_lines(answer, view), ""]))
    return worst


async def _one(way: "Way") -> "Snapshot | str":
    """Ask one collector; give its snapshot, or why there is none."""
    from tui.errors import ClientError
    from tui.once import TIMEOUT_SECONDS, NoCollectorError, snapshots

    try:
        async with asyncio.timeout(TIMEOUT_SECONDS), aclosing(snapshots(way)) as coming:
            return await anext(coming)
    except TimeoutError:
        return f"{way} does not answer"
    except (ClientError, NoCollectorError) as error:
        return str(error)


async def _follow_all(options: argparse.Namespace, ways: dict[str, "Way"], view: "View") -> int:
    """Print what changes at any pit until stopped; one that is away is told once and asked again."""
    async with asyncio.TaskGroup() as tasks:
        for name, way in ways.items():
            tasks.create_task(_follow(options, name, way, view), name=f"pit {name}")
    return Exit.OK


async def _follow(options: argparse.Namespace, name: str, way: "Way", view: "View") -> None:
    from tui.errors import ClientError
    from tui.once import NoCollectorError, snapshots

    last: list[str] = []
    told = ""
    while True:
        try:
            async with aclosing(snapshots(way)) as coming:
                async for snapshot in coming:
                    told = ""
                    if options.json:
                        _print_json({"schema": 1, "pit": name, "exit": int(_code(snapshot)), "snapshot": snapshot})
                    else:
                        last = _print_changes(snapshot, last, view, f"{name}: ")
        except (ClientError, NoCollectorError) as error:
            if str(error) != told:
                told = str(error)
                if options.json:
                    _print_json({"schema": 1, "pit": name, "exit": int(Exit.NO_COLLECTOR), "error": told})
                else:
                    print(f"{name}: {told}", flush=True)
        await asyncio.sleep(AGAIN_SECONDS)


def _code(snapshot: "Snapshot") -> Exit:
    """Tell whether an alarm waits for somebody, or what would raise one fails."""
    from collector.snapshot import CALLING

    waits = any(alarm.state in CALLING for alarm in snapshot.alarms)
    return Exit.ALARM if waits or any(fault.critical for fault in snapshot.faults) else Exit.OK


def _print_json(document: dict[str, object]) -> None:
    import msgspec

    print(msgspec.json.encode(document).decode(), flush=True)


def _print_changes(snapshot: "Snapshot", last: list[str], view: "View", of: str = "") -> list[str]:
    """Print what is new against the last snapshot; append-only, so that a screen reader can follow."""
    from tui.draw.alarms import told_once
    from tui.draw.clean import clean
    from tui.draw.fire_state import fire_state
    from tui.draw.words import clock_seconds, temperature

    now = [f"fire: {fire_state(snapshot)[0]}"]
    now += [f"alarm {one.key}: {one.state}: {says}" for one, says in told_once(snapshot, view)]
    now += [f"source {s.name}: {s.state} {clean(s.why, 300)}".rstrip() for s in snapshot.sources]
    now += [f"meat {clean(piece.name)}: {clean(piece.phase)}" for piece in snapshot.meat]
    keys = {line.split(": ")[0] + line.split(": ")[1] for line in last}
    for line in now:
        if line.split(": ")[0] + line.split(": ")[1] not in keys:
            grate = temperature(snapshot.fire.level_celsius, view)
            print(f"{of}{clock_seconds(snapshot.now_unix, view)}  {line}  (grate {grate})", flush=True)
    return now
