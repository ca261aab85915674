"""`coldside alarms test`: a test message by every channel, what became of each, and whether it woke somebody."""

import argparse
import asyncio
import json
import sys
from contextlib import aclosing
from typing import TYPE_CHECKING

from tui.commands.options import way_of
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.snapshot import CallView
    from tui.way import Way

__all__ = ["run_test"]

SEND_SECONDS = 20.0
"""Without --require-ack, what has not gone out after this counts as not sent."""


def run_test(options: argparse.Namespace) -> int:
    """Ask the collector for a test and follow it."""
    return asyncio.run(_follow(options, way_of(options)))


async def _follow(options: argparse.Namespace, way: "Way") -> int:
    from collector import wire
    from tui.once import ask

    wait = options.wait if options.require_ack else min(options.wait, SEND_SECONDS)
    reply = await ask(way, wire.TestCall(1, options.to or "", options.wait))
    if not reply.done:
        print(json.dumps({"schema": 1, "done": False, "why": reply.why}) if options.json else "", end="")
        print(f"coldside: {reply.why}", file=sys.stderr)
        return Exit.FAILED
    if options.require_ack and not options.json:
        print(f"a test is sent; acknowledge `test` within {wait:.0f} s: k in the dashboard, the phone page, or")
        print("  coldside alarms ack test", flush=True)
    test: CallView | None = None
    try:
        async with asyncio.timeout(wait + 1.0):
            test = await _until(options, way)
    except TimeoutError:
        test = await _newest(way)
    return _conclude(options, test)


async def _until(options: argparse.Namespace, way: "Way") -> "CallView | None":
    """Print each result as it comes, until there is nothing more to wait for."""
    from tui.draw.calls import result_words
    from tui.draw.clean import clean
    from tui.once import snapshots

    said: set[str] = set()
    async with aclosing(snapshots(way)) as coming:
        async for snapshot in coming:
            test = snapshot.calls.test if snapshot.calls is not None else None
            if test is None:
                continue
            for line in result_words(test):
                if line not in said and not options.json:
                    print(clean(line, 400), flush=True)
                said.add(line)
            settled = all(not told.waiting for told in test.told)
            if test.acknowledged_unix is not None or (settled and not options.require_ack):
                return test
    return None


async def _newest(way: "Way") -> "CallView | None":
    from tui.once import snapshots

    async with aclosing(snapshots(way)) as coming:
        calls = (await anext(coming)).calls
    return None if calls is None else calls.test


def _conclude(options: argparse.Namespace, test: "CallView | None") -> int:
    """Print the end of it, and choose the exit code."""
    proven = test is not None and test.acknowledged_unix is not None
    sent = test is not None and all(told.sent_unix for told in test.told)
    good = proven if options.require_ack else sent
    if options.json:
        results = [
            {"person": t.person, "channel": t.channel, "sent": bool(t.sent_unix), "error": t.error}
            for t in (test.told if test is not None else ())
        ]
        print(json.dumps({"schema": 1, "done": True, "sent": sent, "proven": proven, "results": results}))
    elif options.require_ack:
        if test is not None and test.acknowledged_unix is not None:
            print(f"PROVEN: acknowledged after {test.acknowledged_unix - test.began_unix:.0f} s")
        else:
            print(f"NOT PROVEN: nobody acknowledged it in {options.wait:.0f} s")
    elif not sent:
        print("NOT SENT by every channel")
    return Exit.OK if good else Exit.FAILED
