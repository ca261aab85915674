"""`coldside mark`: something the cook did or saw, on the record of the running cook."""

import argparse
import asyncio
import sys

from tui.commands.options import add_json, add_socket, text
from tui.exit_codes import Exit

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `mark`."""
    parser.add_argument("text", type=text, metavar="TEXT", help="what it was, in your words")
    parser.add_argument(
        "--kind", default="note", choices=("note", "split", "lid", "spritz", "wrap", "turned", "moved"),
        help="what kind of thing (default: note)",
    )  # fmt: skip
    add_socket(parser)
    add_json(parser)


def run(options: argparse.Namespace) -> int:
    """Send the mark to the collector."""
    import json

    from collector.paths import runtime_socket
    from collector.wire import AddMark
    from tui.once import ask

    reply = asyncio.run(ask(runtime_socket(options.socket), AddMark(1, options.kind, options.text)))
    if options.json:
        print(json.dumps({"schema": 1, "done": reply.done, "why": reply.why}))
    elif reply.done:
        print(f"marked: {options.kind} {options.text}")
    else:
        print(f"coldside: {reply.why}", file=sys.stderr)
    return Exit.OK if reply.done else Exit.FAILED
