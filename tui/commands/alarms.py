"""`coldside alarms`: how every rule stands, what a person does to an alarm, the journal and its measures."""

import argparse
import asyncio
import re
from typing import TYPE_CHECKING

from tui.commands.options import add_config, add_json, add_store, add_way, chosen_unit, named_store, text, way_of
from tui.commands.printing import print_reply
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.snapshot import RuleView
    from collector.wire import OfAlarm
    from tui.draw.view import View
    from tui.way import Way

__all__ = ["add_options", "run"]

SHELVED_USUALLY_SECONDS = 1800.0

_DOES = {
    "ack": "acknowledge an alarm or a trouble by its key, or all",
    "shelve": "put an alarm aside for a time; it comes back by itself",
    "unshelve": "take an alarm back from the shelf",
    "reset": "let an alarm go that is latched: its condition is over, its rule has latch = true",
    "remove": "take an alarm out of service; it stays out, and is shown so, until it is put back",
    "restore": "put an alarm back into service",
}


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `alarms` and what it can do."""
    _add_common(parser)
    parser.set_defaults(store=None)
    what = parser.add_subparsers(dest="what", metavar="WHAT")
    for name, says in _DOES.items():
        does = _sub(what, name, says)
        _add_common(does)
        several = {"nargs": "*", "default": []} if name == "ack" else {"nargs": "+"}
        does.add_argument("key", type=text, metavar="KEY", help="cold-spot/flat side", **several)
        if name == "shelve":
            does.add_argument(
                "--for", dest="seconds", type=_seconds, default=SHELVED_USUALLY_SECONDS, metavar="TIME",
                help="for how long: 30m, 2h, 1h30m (default: 30m); at most twelve hours, or what the config says",
            )  # fmt: skip
    test = _sub(what, "test", "send a test by every channel of a person, or of everybody; prove that it wakes somebody")
    _add_common(test)
    test.add_argument("--to", type=text, default=None, metavar="NAME", help="only this person")
    test.add_argument(
        "--require-ack", action="store_true", default=False,
        help="wait until somebody acknowledges `test`: exit code 0, and on record, once it is proven, else 1",
    )  # fmt: skip
    test.add_argument(
        "--wait", type=_wait, default=120.0, metavar="SECONDS", help="how long to wait (default: 120, at most 3600)"
    )
    journal = _sub(what, "journal", "print every step of every alarm of a cook")
    journal.add_argument("--all", action="store_true", default=False, help="also those suppressed by design")
    measured = _sub(what, "measures", "print how good the alarms of a cook were, by the measures of ISA-18.2")
    for reads in (journal, measured):
        reads.add_argument("cook", nargs="?", default="last", metavar="COOK", help="its name (default: the newest)")
        add_store(reads)
        _add_common(reads, of_collector=False)


def _sub(what: "argparse._SubParsersAction[argparse.ArgumentParser]", name: str, says: str) -> argparse.ArgumentParser:
    """Add one thing to do; an option given before its name holds, for those after it have no default of their own."""
    return what.add_parser(
        name, help=says, description=says[0].upper() + says[1:] + ".", argument_default=argparse.SUPPRESS
    )


def _add_common(parser: argparse.ArgumentParser, *, of_collector: bool = True) -> None:
    add_config(parser)
    if of_collector:
        add_way(parser)
    add_json(parser)
    parser.add_argument("--unit", choices=("C", "F"), help="temperature unit")


def _seconds(words: str) -> float:
    """Read a length of time, as an option's type."""
    found = re.fullmatch(r"(?:(\d+(?:\.\d+)?)\s*h)?\s*(?:(\d+(?:\.\d+)?)\s*m(?:in)?)?", words.strip())
    seconds = 3600.0 * float(found[1] or 0) + 60.0 * float(found[2] or 0) if found else 0.0
    if seconds <= 0.0:
        raise argparse.ArgumentTypeError(f"{words!r} is no length of time; 30m, 2h or 1h30m is one")
    return seconds


def _wait(words: str) -> float:
    """Read how many seconds to wait, as an option's type."""
    try:
        seconds = float(words)
    except ValueError:
        seconds = 0.0
    if not 1.0 <= seconds <= 3600.0:
        raise argparse.ArgumentTypeError(f"{words!r} is no number of seconds from 1 to 3600")
    return seconds


def run(options: argparse.Namespace) -> int:
    """List the rules, act on one, or read the record."""
    match options.what:
        case None:
            return _list(options)
        case "test":
            from tui.commands.alarms_test import run_test

            return run_test(options)
        case "journal":
            return _journal(options)
        case "measures":
            return _measures(options)
    return _act(options)


def _view(options: argparse.Namespace) -> "View":
    from tui.draw.view import View

    return View(fahrenheit=chosen_unit(options) == "F")


def _list(options: argparse.Namespace) -> int:
    import msgspec

    from tui.draw.alarm_table import rule_lines

    rules, now_unix = asyncio.run(_ask(way_of(options)))
    code = _code(rules)
    if options.json:
        print(msgspec.json.encode({"schema": 1, "exit": int(code), "now_unix": now_unix, "rules": rules}).decode())
    else:
        print("\n".join(rule_lines(rules, now_unix, _view(options))))
    return code


async def _ask(way: "Way") -> tuple[tuple["RuleView", ...], float]:
    """Ask the collector how its rules stand, and what time it is to it."""
    from contextlib import aclosing

    from tui.once import rules, snapshots

    async with aclosing(snapshots(way)) as coming:
        now_unix = (await anext(coming)).now_unix
    return await rules(way), now_unix


def _code(rules: tuple["RuleView", ...]) -> Exit:
    """Tell whether an alarm waits for somebody, as `status` does."""
    from collector.snapshot import CALLING

    return Exit.ALARM if any(rule.state in CALLING for rule in rules) else Exit.OK


def _act(options: argparse.Namespace) -> int:
    from tui.once import ask

    command, told = _command(options)
    reply = asyncio.run(ask(way_of(options), command))
    return print_reply(reply, told, as_json=options.json)


def _command(options: argparse.Namespace) -> tuple["OfAlarm", str]:
    """Say what to send, and what to print once it is done."""
    from collector import wire
    from tui.draw.words import age

    key = " ".join(options.key)
    match options.what:
        case "ack":
            return wire.Acknowledge(1, key), f"acknowledged: {key or 'all alarms'}"
        case "shelve":
            return wire.Shelve(1, key, options.seconds), f"shelved for {age(options.seconds)}: {key}"
        case "unshelve":
            return wire.Unshelve(1, key), f"taken back: {key}"
        case "reset":
            return wire.Reset(1, key), f"reset: {key}"
        case "remove":
            return wire.TakeOut(1, key), f"out of service until it is put back: {key}"
    return wire.PutBack(1, key), f"back in service: {key}"


def _journal(options: argparse.Namespace) -> int:
    import msgspec

    from collector.model.alarm import AlarmEvent
    from collector.records import open_record
    from tui.draw.summary import alarm_line

    with open_record(named_store(options)) as archive:
        cook = archive.cook(options.cook)
        steps = archive.alarm_log(cook)
    if not options.all:
        steps = [s for s in steps if s.event not in (AlarmEvent.SUPPRESS, AlarmEvent.UNSUPPRESS)]
    if options.json:
        print(msgspec.json.encode({"schema": 1, "cook": cook.name, "steps": steps}).decode())
        return Exit.OK
    view = _view(options)
    lines = (alarm_line(step, cook.started_unix, view, everything=options.all) for step in steps)
    print("\n".join(line for line in lines if line is not None) or f"{cook.name}: no alarm at all")
    return Exit.OK


def _measures(options: argparse.Namespace) -> int:
    import msgspec

    from collector.model.alarm_measures import measures
    from collector.records import open_record
    from tui.draw.alarm_table import measure_lines

    with open_record(named_store(options)) as archive:
        cook = archive.cook(options.cook)
        end_unix = archive.alive_unix(cook)
        found = measures(archive.alarm_log(cook), cook.started_unix, end_unix)
    if options.json:
        print(msgspec.json.encode({"schema": 1, "cook": cook.name, "measures": found}).decode())
    else:
        print(
            "\n".join(
                [f"{cook.name}, by ISA-18.2 and EEMUA 191; what is usual in a plant in brackets", *measure_lines(found)]
            )
        )
    return Exit.OK
