"""`coldside watch`: the dashboard of the running collector, or of those of all pits."""

import argparse
import asyncio

from tui.commands.moment import moment_of
from tui.commands.options import (
    add_config,
    add_look,
    add_store,
    add_way,
    dashboard_look,
    known_settings,
    named_store,
    speed,
    text,
    ways_of,
)
from tui.errors import TuiError

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `watch`."""
    add_config(parser)
    add_way(parser)
    add_look(parser)
    parser.add_argument(
        "--cook", metavar="NAME", help="show a past cook, with a line to move along; 'last' for the newest"
    )
    parser.add_argument("--time", type=text, metavar="TIME", help="with --cook: begin there, '02:15'")
    parser.add_argument("--speed", type=speed, metavar="N", help="with --cook: how many times as fast it runs (60)")
    add_store(parser)


def run(options: argparse.Namespace) -> int:
    """Attach and show; a collector that is not there yet is waited for."""
    if options.cook is not None:
        return _past(options)
    if options.time or options.store or options.speed:
        raise TuiError("--time, --speed and --store go with --cook: they are of a past cook")
    from tui.app import run_dashboard
    from tui.client import CollectorClient
    from tui.commands.screen_log import silence_logging
    from tui.commands.signals import until_signalled
    from tui.pit import Pit

    ways = ways_of(options)
    silence_logging()
    settings = known_settings(options)
    pits = [Pit(CollectorClient(way), name) for name, way in ways.items()]
    return asyncio.run(until_signalled(run_dashboard(pits, **dashboard_look(options, settings))))


def _past(options: argparse.Namespace) -> int:
    """Show a past cook.

    Raises:
        TuiError: the options do not go together, or there is no such moment.
    """
    for name in ("socket", "at", "pit", "pits", "token_file", "ca", "fingerprint"):
        if getattr(options, name):
            raise TuiError(f"--{name.replace('_', '-')} leads to a collector; --cook is read off the record")
    from collector.records import open_record
    from tui.app import run_app
    from tui.commands.screen_log import silence_logging
    from tui.commands.signals import until_signalled
    from tui.past.app import PastDashboard
    from tui.past.cook import PastCook, stretches_of
    from tui.past.feed import PastFeed

    where = named_store(options)
    with open_record(where) as record:
        cook = record.cook(options.cook)
        past = PastCook(cook, record.alive_unix(cook))
        stretches_of(record, cook)
    try:
        begin = moment_of(options.time, past.start_unix, past.end_unix) if options.time else None
    except ValueError as error:
        raise TuiError(f"--time: {error}") from error
    silence_logging()
    settings = known_settings(options)

    async def show() -> None:
        look = dashboard_look(options, settings)
        mouse = look.pop("mouse")
        feed, pace = PastFeed(where, past), options.speed or 60.0
        await run_app(lambda **how: PastDashboard(feed, begin_unix=begin, speed=pace, **how), mouse=mouse, **look)

    return asyncio.run(until_signalled(show()))
