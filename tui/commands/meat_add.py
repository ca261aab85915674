"""`coldside meat add`: a piece is added to the running cook, or described anew; what is not said again it keeps."""

import argparse
import asyncio
import math
from typing import TYPE_CHECKING, Any

from tui.commands.options import add_config, add_json, add_way, chosen_unit, text
from tui.errors import TuiError
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.model.meat.piece import Part, Piece
    from collector.snapshot import Snapshot
    from tui.draw.view import View
    from tui.way import Way

__all__ = ["add_description", "run_add"]


NO_TIME = "none"
"""Takes back when a piece is to be served."""


def add_description(piece: argparse.ArgumentParser) -> None:
    """Add what can be said of a piece."""
    piece.add_argument("piece", type=text, metavar="PIECE", help="its name")
    piece.add_argument(
        "--part", type=_part, action="append", default=[], metavar="NAME=PROBE", help="a part, and the probe in it"
    )
    piece.add_argument(
        "--no-part", type=text, action="append", default=[], metavar="NAME", help="no such part any more"
    )
    piece.add_argument("--cut", choices=("brisket", "pork shoulder", "ribs", "other"), help="default: brisket")
    piece.add_argument("--species", choices=("beef", "pork", "lamb", "poultry"), help="default: by its cut")
    piece.add_argument("--mass", metavar="MASS", help='"13 lb", "6 kg"')
    for name, says in (("wrap", "it is to be wrapped"), ("done", "it is done"), ("hold", "it is held, at least")):
        piece.add_argument(f"--{name}", metavar="TEMPERATURE", help=f'where {says}, "165 F"')
    piece.add_argument(
        "--serve",
        metavar="TIME",
        help='when it is to be served, "13:00": the first at least 4 h after it goes on; "none" takes it back',
    )
    piece.add_argument("--rest", type=float, metavar="MIN", help="minutes of rest before (default: 60)")
    intact = piece.add_mutually_exclusive_group()
    intact.add_argument(
        "--intact",
        action="store_true",
        default=None,
        help="kept for older scripts: a probe pierces it, so it changes nothing",
    )
    intact.add_argument("--pierced", dest="intact", action="store_false", help="injected, bladed, tied open or ground")
    piece.add_argument(
        "--cooling", choices=("food-code", "appendix-b"),
        help="limits it is cooled by: FDA Food Code 3-501.14 (default), or USDA FSIS Appendix B",
    )  # fmt: skip
    piece.add_argument("--unit", choices=("C", "F"), help="temperature unit of the answer")
    add_config(piece)
    add_way(piece)
    add_json(piece)


def _part(words: str) -> tuple[str, str]:
    name, equals, probe = words.partition("=")
    if not (name.strip() and equals and probe.strip()):
        raise argparse.ArgumentTypeError(f"{words!r} is no part; write 'flat=meat probe 1'")
    return name.strip(), probe.strip()


def run_add(options: argparse.Namespace, way: "Way") -> int:
    """Add a piece, or change one; say what was kept, what changed, and what the collector assumes."""
    from collector.wire import SetMeat
    from tui.commands.printing import print_reply
    from tui.draw.view import View
    from tui.once import ask, newest

    before = asyncio.run(newest(way))
    known = next((m for m in before.meat if m.name == options.piece and m.phase != "off"), None)
    was = known.described if known is not None else None
    if was is None and not options.part:
        off = any(m.name == options.piece for m in before.meat)
        why = "is off" if off else "is no piece of this cook"
        raise TuiError(f"{options.piece!r} {why}: to add one, say at least one --part NAME=PROBE")
    piece = _described(options, was)
    reply = asyncio.run(ask(way, SetMeat(1, piece)))
    if options.json or not reply.done:
        return print_reply(reply, "", as_json=options.json)
    view = View(fahrenheit=chosen_unit(options) == "F")
    print("\n".join(_added_lines(piece, was, asyncio.run(newest(way)), view)))
    return Exit.OK


def _added_lines(piece: "Piece", was: "Piece | None", after: "Snapshot", view: "View") -> list[str]:
    """Say what became of a piece that was added or changed."""
    from tui.draw.clean import clean
    from tui.draw.described import changes, described
    from tui.draw.pieces import cooling_words

    now = after.now_unix
    name = clean(piece.name, 60)
    if was is None:
        lines = [f"the cook has the piece {name}: {'; '.join(_pairs(described(piece, view, now)))}"]
    else:
        changed, kept = changes(was, piece, view, now)
        lines = [f"{name}: changed: {'; '.join(changed) or 'nothing'}", f"  kept: {'; '.join(kept) or 'nothing'}"]
    if piece.mass_kg is None:
        lines.append("  not said: mass")
    lines.append(f"  when it is cooled: {cooling_words(piece.cooling, view)}")
    shown = next((m for m in after.meat if m.name == piece.name), None)
    on_unix = math.nan if shown is None or shown.on_unix is None else shown.on_unix
    lines += [f"  {said}" for said in (_served(piece, on_unix, now, view),) if said]
    news = next(
        (m.text for m in reversed(after.marks) if m.kind == "meat" and m.text.startswith(f"{piece.name}: ")), ""
    )
    _, _, assumed = news.partition("; ")
    return [*lines, *([f"  {clean(assumed, 300)}"] if assumed else [])]


def _served(piece: "Piece", on_unix: float, now_unix: float, view: "View") -> str:
    """Say on which day it is to be served, and why not today; empty where no time was said."""
    from tui.draw.arrival import day_and_time
    from tui.draw.described import not_today

    serve = piece.serve_unix(now_unix if math.isnan(on_unix) else on_unix)
    if math.isnan(serve):
        return ""
    why = not_today(piece, on_unix, now_unix, view)
    return f"to be served {day_and_time(serve, now_unix, view)}" + (f": {why}" if why else "")


def _pairs(said: dict[str, str]) -> list[str]:
    return [f"{name} {words}" for name, words in said.items()]


def _described(options: argparse.Namespace, was: "Piece | None") -> "Piece":
    """Make the piece of what was said of it; what was not said is as it was.

    Raises:
        TuiError: something said of it is not what it must be.
    """
    from msgspec.structs import replace

    from collector.model.meat.cooling import CoolingRule
    from collector.model.meat.piece import Cut, Piece, Species, species_of
    from collector.settings.meat import time_to_serve
    from collector.settings.quantity import QuantityError, parse_mass, parse_temperature, parse_time_of_day

    said: dict[str, Any] = {}
    try:
        wrap, done = (None if words is None else parse_temperature(words) for words in (options.wrap, options.done))
        if options.hold is not None:
            said["hold_celsius"] = parse_temperature(options.hold)
        if options.mass is not None:
            said["mass_kg"] = parse_mass(options.mass)
        if options.serve == NO_TIME:
            said["serve_day_seconds"], said["clocks_change"] = None, None
        elif options.serve is not None:
            said["serve_day_seconds"], said["clocks_change"] = time_to_serve(parse_time_of_day(options.serve))
    except QuantityError as error:
        raise TuiError(str(error)) from error
    if options.cut is not None:
        said |= {"cut": Cut(options.cut), "species": species_of(Cut(options.cut))}
    for name, make in (("species", Species), ("cooling", CoolingRule), ("intact", bool)):
        if (value := getattr(options, name)) is not None:
            said[name] = make(value)
    if options.rest is not None:
        said["rest_seconds"] = options.rest * 60.0
    parts = _parts(options, () if was is None else was.parts, wrap, done)
    return replace(was or Piece(options.piece), parts=parts, **said)


def _parts(
    options: argparse.Namespace, were: "Sequence[Part]", wrap: float | None, done: float | None
) -> "tuple[Part, ...]":
    """Put together the parts: targets are those of the parts that are named with them, or of all where none is.

    Raises:
        TuiError: a part is to go that is not there.
    """
    from msgspec.structs import replace

    from collector.model.meat.piece import Part

    parts = {part.name: part for part in were}
    for name in options.no_part:
        if parts.pop(name, None) is None:
            raise TuiError(f"there is no part {name!r}; there is {', '.join(p.name for p in were) or 'none'}")
    fresh = [name for name, _ in options.part]
    if len(set(fresh)) < len(fresh):
        raise TuiError("a part is named twice")
    for name, probe in options.part:
        parts[name] = replace(parts.get(name, Part(name, probe)), probe=probe)
    return tuple(
        replace(p, wrap_at=p.wrap_at if wrap is None else wrap, done_at=p.done_at if done is None else done)
        if not fresh or p.name in fresh
        else p
        for p in parts.values()
    )
