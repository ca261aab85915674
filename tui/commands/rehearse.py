"""`coldside rehearse`: a simulated pit against your own config, with faults on command, like a fire drill."""

import argparse
import asyncio
import contextlib
import dataclasses
import json
import logging
import math
import shlex
import sys
import tempfile
import threading
from pathlib import Path
from typing import TYPE_CHECKING

from tui.commands.options import add_config, add_json, add_look, dashboard_look, load_settings, speed
from tui.commands.signals import exit_on_signals, on_end, on_hangup
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from adapters.rehearsal.source import RehearsalPit
    from collector.daemon import Collector
    from collector.model.plan import Plan
    from collector.serve.service import ServeOptions
    from collector.settings.load import Settings

__all__ = ["add_options", "run"]

log = logging.getLogger(__name__)

SOURCE = "rehearsal"
LONGEST_MINUTES = 7 * 24 * 60.0
TELL_SECONDS = 0.1


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `rehearse`."""
    add_config(parser)
    parser.add_argument("--seed", type=_seed, default=1, help="another seed is another night (default 1)")
    parser.add_argument(
        "--speed", type=speed, default=60.0, metavar="N", help="how fast (default 60: a minute a second)"
    )
    parser.add_argument(
        "--drill",
        action="append",
        default=[],
        metavar="[MIN:]NAME [PROBE] [ARG=VALUE]",
        help="a fault, at once or at a minute of the rehearsal: '120:fire-out', '90:probe-stuck flat'; may be repeated",
    )
    parser.add_argument("--drills", action="store_true", help="list the faults that can be commanded")
    parser.add_argument(
        "--plain", action="store_true", help="no screen: log lines; drills are read from standard input, a line each"
    )
    parser.add_argument("--socket", metavar="PATH", help="where dashboards may attach (default: a throwaway)")
    parser.add_argument(
        "--serve",
        action="store_true",
        help="let dashboards and phones in as [serve] says, with the usual tokens",
    )
    add_json(parser)
    add_look(parser)


def _seed(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 18):
        raise argparse.ArgumentTypeError(f"{text!r} is no seed; a whole number from 0")
    return int(text)


@dataclasses.dataclass(frozen=True, slots=True)
class _Order:
    """One drill and when it begins."""

    minute: float
    name: str
    arguments: dict[str, str | float]


def run(options: argparse.Namespace) -> int:
    """Rehearse until stopped; nothing is kept."""
    from adapters.rehearsal.drill import drills

    if options.drills:
        if options.json:
            print(json.dumps({"schema": 1, "drills": drills()}))
        else:
            print("\n".join(f"{name:18}{says}" for name, says in drills().items()))
        return Exit.OK
    try:
        orders = [_order(text) for text in options.drill]
    except ValueError as error:
        print(f"coldside: --drill {error}", file=sys.stderr)
        return Exit.USAGE
    settings = load_settings(options)
    with exit_on_signals(), tempfile.TemporaryDirectory(prefix="coldside-rehearsal-") as folder:
        return asyncio.run(_rehearse(options, settings, Path(folder), orders))


def _order(text: str) -> _Order:
    """Read a drill as it is written: `90:probe-stuck 'stack end' seconds=600`.

    Raises:
        ValueError: it is not written so.
    """
    words = shlex.split(text)
    minute, colon, name = words[0].rpartition(":") if words else ("", "", "")
    if not name:
        raise ValueError(f"{text!r} names no drill; `--drills` lists them")
    arguments: dict[str, str | float] = {}
    for word in words[1:]:
        key, equals, value = word.partition("=")
        arguments[key if equals else "key"] = value if equals else word
    try:
        at = float(minute) if colon else 0.0
    except ValueError:
        at = math.nan
    if not 0 <= at <= LONGEST_MINUTES:
        raise ValueError(f"{text!r}: {minute!r} is no minute")
    return _Order(at, name, arguments)


def _as_rehearsal(plan: "Plan") -> "Plan":
    """Put the simulated pit behind every probe of a plan, each under its own name."""
    import msgspec

    probes = tuple(msgspec.structs.replace(p, source=SOURCE, key=p.name) for p in plan.probes)
    return msgspec.structs.replace(plan, probes=probes)


async def _rehearse(options: argparse.Namespace, settings: "Settings", folder: Path, orders: list[_Order]) -> int:
    from adapters.errors import SourceConfigError
    from collector.clock import Clock
    from collector.daemon import Collector
    from collector.sources import rehearsal_of
    from tui.commands.screen_log import log_to_stderr, silence_logging

    if options.plain:
        log_to_stderr(options.verbose)
    else:
        silence_logging()
    start = Clock().now()
    plan = _as_rehearsal(settings.plan)
    pit = rehearsal_of(plan, plan.probes, SOURCE, seed=options.seed, speed=options.speed, start_unix=start)
    try:
        for order in orders:
            _begin(pit, order, start)
    except SourceConfigError as error:
        print(f"coldside: --drill: {error}", file=sys.stderr)
        return Exit.USAGE
    collector = Collector(
        plan, [pit], folder / "rehearsal.db", Path(options.socket or folder / "rehearsal.sock"),
        cook="rehearsal", playback=True, speed=options.speed, start_unix=start, throwaway=True,
        serve=_serve(settings) if options.serve else None,
    )  # fmt: skip
    if not options.plain:
        from tui.commands.together import show_while_running

        return await show_while_running(collector, dashboard_look(options, settings))
    on_end(collector.stop)
    on_hangup(collector.stop, collector.stop)
    _listen(pit, collector)
    telling = asyncio.create_task(_tell_begun(orders, collector, start, options.speed))
    try:
        await collector.run()
    finally:
        telling.cancel()
    return Exit.OK


async def _tell_begun(orders: list[_Order], collector: "Collector", start_unix: float, speed: float) -> None:
    """Say of each drill on the command line when its minute has come."""
    for order in sorted(orders, key=lambda order: order.minute):
        while (left := start_unix + 60.0 * order.minute - collector.now()) > 0:  # noqa: ASYNC110 - a clock has no event
            await asyncio.sleep(max(TELL_SECONDS, left / speed))
        log.info("drill: %s, minute %g of the rehearsal", order.name, order.minute)


def _serve(settings: "Settings") -> "ServeOptions | None":
    """Serve as the config says, to those who have a token to its store."""
    from collector.paths import store_file
    from collector.serve.service import serve_options

    config = settings.config
    if config.serve is None:
        print("coldside: there is no [serve] in the config", file=sys.stderr)
        return None
    return serve_options(config.serve, settings.path.parent, store_file(config.store.path), config.display.unit)


def _begin(pit: "RehearsalPit", order: _Order, start_unix: float) -> None:
    """Order a drill.

    Raises:
        SourceConfigError: there is no such drill, probe or argument.
    """
    pit.drill(order.name, at_unix=start_unix + 60.0 * order.minute, **order.arguments)  # type: ignore[arg-type]


def _listen(pit: "RehearsalPit", collector: "Collector") -> None:
    """Take drills from standard input in a thread of its own (a file or a closed input cannot be waited for)."""
    loop = asyncio.get_running_loop()

    def read() -> None:
        for line in sys.stdin:
            with contextlib.suppress(RuntimeError):  # the loop is gone: so is the rehearsal
                loop.call_soon_threadsafe(_obey, pit, collector, line.strip())

    threading.Thread(target=read, name="drills from standard input", daemon=True).start()


def _obey(pit: "RehearsalPit", collector: "Collector", line: str) -> None:
    """Do what one line says; `quit` ends the rehearsal."""
    from adapters.errors import SourceConfigError

    if line == "quit":
        collector.stop()
    elif line:
        try:
            _begin(pit, _order(line), collector.now())
        except (ValueError, SourceConfigError) as error:
            print(f"coldside: {error}", file=sys.stderr, flush=True)
        else:
            print(f"drill ordered: {line}", flush=True)
