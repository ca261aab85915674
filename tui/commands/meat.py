"""`coldside meat`: pieces of meat on the running cook, their phases, and what is read by hand."""

import argparse
import asyncio
import math
from contextlib import aclosing
from shutil import get_terminal_size
from typing import TYPE_CHECKING

from tui.commands.options import add_config, add_json, add_look, add_way, chosen_unit, text, way_of
from tui.errors import TuiError
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.snapshot import Snapshot
    from collector.wire import AddSpot, SetMeat, TurnMeat
    from tui.way import Way

__all__ = ["add_options", "run"]

PHASES = {
    "on": ("cooking", "it lies in the pit"),
    "wrap": ("wrapped", "it was wrapped"),
    "unwrap": ("cooking", "it was unwrapped"),
    "rest": ("resting", "it came off and rests"),
    "hold": ("holding", "it is held hot"),
    "cool": ("cooling", "it is cooled, to be kept"),
    "off": ("off", "it was served, or put away"),
    "forget": ("not on yet", "it was not on after all"),
}


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what can be done, each with its options."""
    what = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    listed = what.add_parser("list", help="how each piece stands, with its forecast and its clocks")
    add_config(listed)
    add_look(listed)
    _add_common(listed)
    for word, (_, says) in PHASES.items():
        phase = what.add_parser(word, help=says)
        phase.add_argument("piece", type=text, nargs="?", metavar="PIECE", help="its name (default: the only one)")
        _add_common(phase)
    piece = what.add_parser("add", help="add a piece to the running cook, or describe one anew")
    piece.add_argument("piece", type=text, metavar="PIECE", help="its name")
    piece.add_argument(
        "--part", type=_part, action="append", required=True, metavar="NAME=PROBE", help="a part, and the probe in it"
    )
    piece.add_argument("--cut", choices=("brisket", "pork shoulder", "ribs", "other"), default="brisket")
    piece.add_argument("--species", choices=("beef", "pork", "lamb", "poultry"), help="default: by its cut")
    piece.add_argument("--mass", metavar="MASS", help='"13 lb", "6 kg"')
    for name, says in (("wrap", "it is to be wrapped"), ("done", "it is done"), ("hold", "it is held, at least")):
        piece.add_argument(f"--{name}", metavar="TEMPERATURE", help=f'where {says}, "165 F"')
    piece.add_argument("--serve", metavar="TIME", help='when it is to be served, "13:00"')
    piece.add_argument("--rest", type=float, default=60.0, metavar="MIN", help="minutes of rest before (default 60)")
    intact = piece.add_mutually_exclusive_group()
    intact.add_argument("--intact", action="store_true", default=None, help="nothing has pierced it")
    intact.add_argument("--pierced", dest="intact", action="store_false", help="injected, bladed, tied open or ground")
    _add_common(piece)
    spot = what.add_parser("spot", help="a reading by hand, and where it was taken")
    spot.add_argument("where", type=text, metavar="WHERE", help="'flat, thin end'")
    spot.add_argument("temperature", metavar="TEMPERATURE", help='"198 F"')
    bread = what.add_parser("bread", help="how brown bread got in a place of the grate")
    bread.add_argument("where", type=text, metavar="WHERE", help="a zone, or what you call the place")
    bread.add_argument("score", type=float, metavar="SCORE", help="1, as it was, to 5, burnt")
    for sub in (spot, bread):
        sub.add_argument("--x", type=_metres, metavar="M", help="metres from the fire end")
        sub.add_argument("--y", type=_metres, metavar="M", help="metres from the back")
        _add_common(sub)


def _add_common(parser: argparse.ArgumentParser) -> None:
    add_way(parser)
    add_json(parser)


def _part(words: str) -> tuple[str, str]:
    name, equals, probe = words.partition("=")
    if not (name.strip() and equals and probe.strip()):
        raise argparse.ArgumentTypeError(f"{words!r} is no part; write 'flat=meat probe 1'")
    return name.strip(), probe.strip()


def _metres(words: str) -> float:
    try:
        found = float(words)
    except ValueError:
        found = math.nan
    if not 0.0 <= found <= 100.0:
        raise argparse.ArgumentTypeError(f"{words!r} is no place in a pit; write metres, such as 0.45")
    return found


def run(options: argparse.Namespace) -> int:
    """List the pieces, or tell the collector what was done."""
    from tui.commands.printing import print_reply
    from tui.once import ask

    way = way_of(options)
    if options.what == "list":
        return _list(options, asyncio.run(_newest(way)))
    command: SetMeat | TurnMeat | AddSpot
    if options.what == "add":
        command, told = _described(options)
    elif options.what in ("spot", "bread"):
        command, told = _spot(options)
    else:
        command, told = _turned(options, way)
    return print_reply(asyncio.run(ask(way, command)), told, as_json=options.json)


async def _newest(way: "Way") -> "Snapshot":
    from tui.once import snapshots

    async with aclosing(snapshots(way)) as coming:
        return await anext(coming)


def _list(options: argparse.Namespace, snapshot: "Snapshot") -> int:
    import msgspec

    from collector.model.meat.safety import CAUTION
    from tui.commands.printing import print_lines
    from tui.draw.pieces import all_piece_lines
    from tui.draw.view import View

    if options.json:
        document = {"schema": 1, "caution": CAUTION, "meat": snapshot.meat, "spots": snapshot.spots}
        print(msgspec.json.encode(document).decode())
        return Exit.OK
    view = View(fahrenheit=chosen_unit(options) == "F", ascii_only=options.ascii)
    print_lines(all_piece_lines(snapshot, view, min(120, get_terminal_size((100, 24)).columns)))
    return Exit.OK


def _described(options: argparse.Namespace) -> "tuple[SetMeat, str]":
    """Make the piece of what was said of it.

    Raises:
        TuiError: something said of it is not what it must be.
    """
    from collector.model.meat.piece import FOOD_CODE_HOLD_CELSIUS, Cut, Part, Piece, Species
    from collector.settings.meat import local_day_seconds
    from collector.settings.quantity import QuantityError, parse_mass, parse_temperature, parse_time_of_day
    from collector.wire import SetMeat

    try:
        wrap, done, hold = (
            None if said is None else parse_temperature(said) for said in (options.wrap, options.done, options.hold)
        )
        mass = None if options.mass is None else parse_mass(options.mass)
        serve = None if options.serve is None else local_day_seconds(parse_time_of_day(options.serve))
    except QuantityError as error:
        raise TuiError(str(error)) from error
    piece = Piece(
        options.piece, Cut(options.cut), tuple(Part(name, probe, wrap, done) for name, probe in options.part), mass,
        Species(options.species or ("pork" if options.cut == "pork shoulder" else "beef")), options.intact, None,
        FOOD_CODE_HOLD_CELSIUS if hold is None else hold, options.rest * 60.0, serve,
    )  # fmt: skip
    return SetMeat(1, piece), f"the cook has the piece {options.piece}; what was not said is not known of it"


def _spot(options: argparse.Namespace) -> "tuple[AddSpot, str]":
    """Make the reading by hand.

    Raises:
        TuiError: it is no temperature.
    """
    from collector.model.meat.spots import Spot
    from collector.settings.quantity import QuantityError, parse_temperature
    from collector.wire import AddSpot

    try:
        value = options.score if options.what == "bread" else parse_temperature(options.temperature)
    except QuantityError as error:
        raise TuiError(str(error)) from error
    spot = Spot(options.what, options.where, value, options.x, options.y)
    return AddSpot(1, spot), f"on record: {options.where}"


def _turned(options: argparse.Namespace, way: "Way") -> "tuple[TurnMeat, str]":
    """Say into which phase a piece went over.

    Raises:
        TuiError: none is named, and there is not just one.
    """
    from collector.model.meat.piece import MeatPhase
    from collector.wire import TurnMeat

    name = options.piece
    if name is None:
        names = [meat.name for meat in asyncio.run(_newest(way)).meat]
        if len(names) != 1:
            raise TuiError(f"which piece? there is {', '.join(names) or 'none yet: `coldside meat add`'}")
        name = names[0]
    phase, _ = PHASES[options.what]
    return TurnMeat(1, name, MeatPhase(phase)), f"{name}: {phase}"
