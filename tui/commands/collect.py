"""`coldside collect`: the collector of one pit, until it is stopped."""

import argparse
import asyncio
import logging

from tui.commands.options import add_config, add_socket, add_store, load_settings, text
from tui.commands.signals import stop_on_hangup
from tui.exit_codes import Exit

__all__ = ["add_options", "run", "run_collector"]

log = logging.getLogger(__name__)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `collect`."""
    add_config(parser)
    add_store(parser)
    add_socket(parser)
    parser.add_argument("--cook", type=text, metavar="NAME", help="begin a new cook of this name")


def run(options: argparse.Namespace) -> int:
    """Collect until SIGTERM, SIGHUP or Ctrl-C."""
    from tui.commands.screen_log import log_to_stderr

    log_to_stderr(options.verbose)
    return asyncio.run(run_collector(options))


async def run_collector(options: argparse.Namespace) -> int:
    """Build the collector that config and options describe, and run it."""
    from collector.clock import Clock
    from collector.daemon import Collector
    from collector.paths import runtime_socket, store_file
    from collector.sources import build_sources, playback_speed

    settings = load_settings(options)
    for warning in settings.warnings:
        log.warning("%s", warning)
    speed = playback_speed(settings)
    clock = Clock()
    sources = build_sources(settings, clock.now, clock.now())
    config = settings.config.store
    collector = Collector(
        settings.plan, sources, store_file(options.store or config.path), runtime_socket(options.socket),
        cook=options.cook or "", playback=speed != 1.0, speed=speed, commit_seconds=config.commit_seconds,
        durable_seconds=config.durable_seconds, clock=clock,
    )  # fmt: skip
    collector.stop_on_signals()
    stop_on_hangup(collector.stop)
    lost = await collector.run()
    if lost:
        log.error("%d readings could not be saved before the deadline", lost)
    return Exit.STORE if lost else Exit.OK
