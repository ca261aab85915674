"""`coldside mark`: something the cook did or saw, on the record of the running cook; what the curves show, judged."""

import argparse
import asyncio
from contextlib import aclosing
from typing import TYPE_CHECKING

from tui.commands.options import add_json, add_way, text, way_of
from tui.commands.printing import print_reply
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.snapshot import Mark
    from collector.wire import AddMark, Confirm, Delete
    from tui.way import Way

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `mark`."""
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("text", type=text, nargs="?", metavar="TEXT", help="what it was, in your words")
    what.add_argument("--events", action="store_true", help="list what the curves show, each with its identity")
    what.add_argument("--confirm", type=text, metavar="ID", help="this event was one; takes a deletion back")
    what.add_argument("--delete", type=text, metavar="ID", help="this event was none; it counts no more")
    parser.add_argument(
        "--kind", default="note", choices=("note", "split", "lid", "spritz", "wrap", "turned", "moved"),
        help="what kind of thing (default: note)",
    )  # fmt: skip
    add_way(parser)
    add_json(parser)


def run(options: argparse.Namespace) -> int:
    """Send the mark to the collector, or list the events there are."""
    from tui.once import ask

    way = way_of(options)
    if options.events:
        return _list_events(options, asyncio.run(_events(way)))
    command, told = _command(options)
    reply = asyncio.run(ask(way, command))
    return print_reply(reply, told, as_json=options.json)


def _command(options: argparse.Namespace) -> tuple["AddMark | Confirm | Delete", str]:
    """Say what to send, and what to print once it is done."""
    from collector.wire import AddMark, Confirm, Delete

    if options.confirm is not None:
        return Confirm(1, options.confirm), f"confirmed: {options.confirm}"
    if options.delete is not None:
        return Delete(1, options.delete), f"deleted: {options.delete}"
    return AddMark(1, options.kind, options.text), f"marked: {options.kind} {options.text}"


async def _events(way: "Way") -> list["Mark"]:
    """Ask for the events among the newest marks, deleted ones too, oldest first."""
    from tui.once import snapshots

    async with aclosing(snapshots(way)) as coming:
        return [mark for mark in (await anext(coming)).marks if mark.event]


def _list_events(options: argparse.Namespace, events: list["Mark"]) -> int:
    import msgspec

    from tui.draw.marks import mark_words
    from tui.draw.view import View
    from tui.draw.words import clock

    if options.json:
        print(msgspec.json.encode({"schema": 1, "events": events}).decode())
        return Exit.OK
    view = View()
    for event in events:
        words = f"{clock(event.time_unix, view)}  {mark_words(event, view):30}"
        print(f"{words}  {event.event:26}  {event.verdict or ''}".rstrip())
    if not events:
        print("the curves show no event yet")
    return Exit.OK
