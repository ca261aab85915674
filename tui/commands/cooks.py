"""`coldside cooks`: what is on record."""

import argparse
import datetime as dt

from tui.commands.options import add_config, add_json, add_store, named_store
from tui.exit_codes import Exit

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `cooks`."""
    add_config(parser)
    add_store(parser)
    add_json(parser)
    parser.add_argument(
        "--replay",
        metavar="COOK",
        help="run a cook through the engine again and compare its alarm log ('last': newest)",
    )


def run(options: argparse.Namespace) -> int:
    """List the cooks, or replay one."""
    import msgspec

    from collector.records import open_record
    from collector.replay import differences

    with open_record(named_store(options)) as archive:
        if options.replay:
            cook = archive.cook(options.replay)
            found = differences(archive, cook)
            steps = len(archive.alarm_log(cook))
            if options.json:
                document = {
                    "schema": 1,
                    "cook": cook.name,
                    "readings": cook.readings,
                    "steps": steps,
                    "differences": found,
                }
                print(msgspec.json.encode(document).decode())
            else:
                same = f"{len(found)} differ" if found else "the replay gives the same alarm log"
                print(f"{cook.name}: {cook.readings} readings, {steps} alarm steps, {same}")
                for line in found:
                    print(f"  {line}")
            return Exit.FAILED if found else Exit.OK
        cooks = archive.cooks()
    if options.json:
        print(msgspec.json.encode({"schema": 1, "cooks": cooks}).decode())
        return Exit.OK
    if not cooks:
        print("no cooks yet")
    for cook in cooks:
        began = dt.datetime.fromtimestamp(cook.started_unix, dt.UTC).astimezone()
        hours = (cook.last_unix - cook.started_unix) / 3600
        state = "" if cook.ended_unix is not None else "  (open)"
        print(
            f"{cook.name:24} {began:%Y-%m-%d %H:%M}  {hours:5.1f} h  {cook.readings:9,} readings  "
            f"{cook.alarms:3} alarms{state}"
        )
    return Exit.OK
