"""`coldside rehearse`: a simulated pit against your own config, with faults on command, like a fire drill."""

import argparse
import asyncio
import contextlib
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from tui.commands.options import add_config, add_look, dashboard_look, load_settings
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from adapters.rehearsal.source import RehearsalPit

    from collector.daemon import Collector
    from collector.settings.load import Settings

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `rehearse`."""
    add_config(parser)
    parser.add_argument("--seed", type=int, default=1, help="another seed is another night (default 1)")
    parser.add_argument(
        "--speed", type=float, default=60.0, metavar="N", help="how fast (default 60: a minute a second)"
    )
    parser.add_argument(
        "--drill", action="append", default=[], metavar="[MIN:]NAME [KEY]",
        help="a fault at a minute of the rehearsal, e.g. '120:fire-out' or '90:probe-stuck flat'; may be repeated",
    )  # fmt: skip
    parser.add_argument("--drills", action="store_true", help="list the faults that can be commanded")
    parser.add_argument(
        "--plain", action="store_true", help="no screen: log lines; drills are read from standard input"
    )
    parser.add_argument("--socket", metavar="PATH", help="where dashboards may attach (default: a throwaway)")
    add_look(parser)


def run(options: argparse.Namespace) -> int:
    """Rehearse until stopped; nothing is kept."""
    from adapters.rehearsal.source import drills

    if options.drills:
        for name, says in drills().items():
            print(f"{name:18}{says}")
        return Exit.OK
    settings = load_settings(options)
    with tempfile.TemporaryDirectory(prefix="coldside-rehearsal-") as folder:
        return asyncio.run(_rehearse(options, settings, Path(folder)))


async def _rehearse(options: argparse.Namespace, settings: "Settings", folder: Path) -> int:
    from adapters.errors import SourceConfigError
    from collector.clock import Clock
    from collector.daemon import Collector
    from collector.sources import rehearsal_of
    from tui.commands.screen_log import log_to_stderr, silence_logging

    (log_to_stderr if options.plain else silence_logging)(*([options.verbose] if options.plain else []))
    start = Clock().now()
    pits = rehearsal_of(settings.plan, seed=options.seed, speed=options.speed, start_unix=start)
    try:
        for order in options.drill:
            _order(pits, order, start)
    except (SourceConfigError, ValueError) as error:
        print(f"coldside: --drill {error}", file=sys.stderr)
        return Exit.USAGE
    collector = Collector(
        settings.plan, pits, folder / "rehearsal.db", Path(options.socket or folder / "rehearsal.sock"),
        cook="rehearsal", playback=True, speed=options.speed, start_unix=start, throwaway=True,
    )  # fmt: skip
    if options.plain:
        collector.stop_on_signals()
        listening = asyncio.create_task(_listen(pits, collector), name="drills")
        try:
            await collector.run()
        finally:
            listening.cancel()
        return Exit.OK
    from tui.commands.together import show_while_running

    return await show_while_running(collector, dashboard_look(options, settings))


def _order(pits: "list[RehearsalPit]", order: str, start_unix: float) -> None:
    """Give one drill, now or at its minute, to every pit that knows the key.

    Raises:
        SourceConfigError: there is no such drill or key.
        ValueError: the minute is no number.
    """
    when, _, rest = order.rpartition(":") if ":" in order.split(" ", maxsplit=1)[0] else ("", "", order)
    name, _, key = rest.partition(" ")
    at_unix = start_unix + 60.0 * float(when) if when else None
    for pit in pits:
        pit.drill(name, key=key.strip() or None, at_unix=at_unix)


async def _listen(pits: "list[RehearsalPit]", collector: "Collector") -> None:
    """Take drills from standard input, a line each."""
    from adapters.errors import SourceConfigError

    loop = asyncio.get_running_loop()
    reader = asyncio.StreamReader()
    with contextlib.suppress(OSError, ValueError):
        await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
        while line := (await reader.readline()).decode(errors="replace").strip():
            if line in ("quit", "stop"):
                collector.stop()
                return
            try:
                _order(pits, line, collector.now())
                print(f"drill: {line}", flush=True)
            except (SourceConfigError, ValueError) as error:
                print(f"coldside: {error}", file=sys.stderr, flush=True)
