"""`coldside watch`: the dashboard of the running collector, or of those of all pits."""

import argparse
import asyncio

from tui.commands.options import add_config, add_look, add_way, dashboard_look, load_settings, ways_of

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `watch`."""
    add_config(parser)
    add_way(parser)
    add_look(parser)


def run(options: argparse.Namespace) -> int:
    """Attach and show; a collector that is not there yet is waited for."""
    from collector.errors import SettingsError
    from tui.app import run_dashboard
    from tui.client import CollectorClient
    from tui.commands.screen_log import silence_logging
    from tui.commands.signals import until_signalled
    from tui.pit import Pit

    ways = ways_of(options)
    silence_logging()
    try:
        settings = load_settings(options)
    except SettingsError:
        if options.config:
            raise
        settings = None
    pits = [Pit(CollectorClient(way), name) for name, way in ways.items()]
    return asyncio.run(until_signalled(run_dashboard(pits, **dashboard_look(options, settings))))
