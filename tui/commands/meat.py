"""`coldside meat`: pieces of meat on the running cook, their phases, and what is read by hand."""

import argparse
import asyncio
from shutil import get_terminal_size
from typing import TYPE_CHECKING

from collector.model.meat.phases import SAID_OF_A_PIECE
from tui.commands.meat_add import add_description, run_add
from tui.commands.options import add_config, add_json, add_look, add_way, chosen_unit, known_settings, text, way_of
from tui.errors import TuiError
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.snapshot import Snapshot
    from collector.wire import AddSpot, TurnMeat
    from tui.way import Way

__all__ = ["add_options", "run"]

LONGEST_M = 100.0


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what can be done, each with its options."""
    what = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    listed = what.add_parser("list", help="how each piece stands, with its forecast and its clocks")
    add_config(listed)
    add_look(listed)
    _add_common(listed)
    for word, (_, says) in SAID_OF_A_PIECE.items():
        phase = what.add_parser(word, help=says)
        phase.add_argument("piece", type=text, nargs="?", metavar="PIECE", help="its name (default: the only one)")
        _add_common(phase)
    add_description(
        what.add_parser("add", help="add a piece to the running cook, or change one; what is not said again it keeps")
    )
    spot = what.add_parser("spot", help="a reading by hand, and where it was taken")
    spot.add_argument("where", type=text, metavar="WHERE", help="'flat, thin end'")
    spot.add_argument("temperature", metavar="TEMPERATURE", help='"198 F"')
    bread = what.add_parser("bread", help="how brown bread got in a place of the grate")
    bread.add_argument("where", type=text, metavar="WHERE", help="a zone, or what you call the place")
    bread.add_argument("score", type=float, metavar="SCORE", help="1, as it was, to 5, burnt")
    for sub in (spot, bread):
        for axis, where in (("x", "the fire end"), ("y", "the back")):
            sub.add_argument(
                f"--{axis}", type=_length, metavar="LENGTH",
                help=f"from {where}, '40 cm', '16 in', or in the config's unit (default: of the zone, probe or part)",
            )  # fmt: skip
        add_config(sub)
        _add_common(sub)


def _add_common(parser: argparse.ArgumentParser) -> None:
    add_way(parser)
    add_json(parser)


def _length(words: str) -> str:
    """Look whether this is a length, as an option's type; what unit one without has, the config tells later."""
    from collector.settings.quantity import QuantityError, parse_length

    try:
        sound = 0.0 <= parse_length(words, "mm") <= LONGEST_M
    except QuantityError:
        sound = False
    if not sound:
        raise argparse.ArgumentTypeError(f"{words!r} is no place in a pit; write '40 cm' or '16 in'")
    return words


def run(options: argparse.Namespace) -> int:
    """List the pieces, or tell the collector what was done."""
    from tui.commands.printing import print_reply
    from tui.once import ask, newest

    way = way_of(options)
    if options.what == "list":
        return _list(options, asyncio.run(newest(way)))
    if options.what == "add":
        return run_add(options, way)
    command, told = _spot(options, way) if options.what in ("spot", "bread") else _turned(options, way)
    return print_reply(asyncio.run(ask(way, command)), told, as_json=options.json)


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


def _spot(options: argparse.Namespace, way: "Way") -> "tuple[AddSpot, str]":
    """Make the reading by hand; a zone, a probe and a part have their place.

    Raises:
        TuiError: it is no temperature, or its place is none.
    """
    from collector.model.meat.spots import Spot
    from collector.settings.quantity import QuantityError, parse_temperature
    from collector.wire import AddSpot
    from tui.draw.by_hand import place_of
    from tui.once import newest

    try:
        value = options.score if options.what == "bread" else parse_temperature(options.temperature)
        place = _place(options)
    except QuantityError as error:
        raise TuiError(str(error)) from error
    if place == (None, None):
        place = place_of(options.where, asyncio.run(newest(way)))
    on_map = "" if None in place else ", and on the map"
    return AddSpot(1, Spot(options.what, options.where, value, *place)), f"on record{on_map}: {options.where}"


def _place(options: argparse.Namespace) -> tuple[float | None, float | None]:
    """Read where it was taken, metres; None where that was not said.

    Raises:
        QuantityError: it is no length, or none without a unit while no config tells one.
        TuiError: it lies outside every pit, or only one of two was said.
    """
    from collector.settings.quantity import parse_length

    said = (options.x, options.y)
    if said == (None, None):
        return None, None
    if None in said:
        raise TuiError("--x and --y go together")
    settings = known_settings(options)
    unit = settings.config.chamber.unit if settings is not None else ""
    x, y = (parse_length(words, unit) for words in said)
    if max(x, y) > LONGEST_M:
        raise TuiError(f"{options.x}, {options.y} is no place in a pit; --x is from the fire end, --y from the back")
    return x, y


def _turned(options: argparse.Namespace, way: "Way") -> "tuple[TurnMeat, str]":
    """Say into which phase a piece went over.

    Raises:
        TuiError: none is named, and there is not just one.
    """
    from collector.model.meat.piece import MeatPhase
    from collector.wire import TurnMeat
    from tui.once import newest

    name = options.piece
    if name is None:
        names = [meat.name for meat in asyncio.run(newest(way)).meat]
        if len(names) != 1:
            raise TuiError(f"which piece? there is {', '.join(names) or 'none yet: `coldside meat add`'}")
        name = names[0]
    phase, _ = SAID_OF_A_PIECE[options.what]
    return TurnMeat(1, name, MeatPhase(phase)), f"{name}: {phase}"
