"""What people ask of a running cook, sound and not."""

import math
import random

from collector import wire
from collector.engine import Engine
from collector.model.action import Action, ActionKind
from collector.model.calibration import Kind
from collector.model.meat.cooling import CoolingRule
from collector.model.meat.piece import Cut, MeatPhase, Part, Piece, Species
from collector.model.meat.spots import Spot
from collector.requests import MARK_KINDS
from collector.snapshot import Snapshot
from tests.fuzz.texts import hostile, plain_name

__all__ = ["command", "own_action"]

NUMBERS = (0.0, 1.0, -1.0, 60.0, 1e9, 1e308, math.nan, math.inf, -math.inf)


def command(dice: random.Random, engine: Engine, shown: Snapshot | None) -> wire.Command:
    """Draw a command; most name something that is there."""
    kinds = (
        wire.Acknowledge, wire.Shelve, wire.Unshelve, wire.Reset, wire.TakeOut, wire.PutBack, wire.AskRules,
        wire.AddMark, wire.AddMark, wire.AddMark, wire.Confirm, wire.Delete, wire.Calibrate, wire.Calibrate,
        wire.UndoCalibration, wire.SetMeat, wire.SetMeat, wire.SetMeat, wire.TurnMeat, wire.TurnMeat, wire.TurnMeat,
        wire.AddSpot,
    )  # fmt: skip
    kind, number = dice.choice(kinds), dice.choice((1, 0, 2**31))
    if issubclass(kind, wire.Acknowledge | wire.Unshelve | wire.Reset | wire.TakeOut | wire.PutBack):
        return kind(number, _alarm(dice, engine, shown))
    if kind is wire.Shelve:
        return wire.Shelve(number, _alarm(dice, engine, shown), dice.choice((*NUMBERS, 600.0, 600.0, 3600.0)))
    if kind is wire.AskRules:
        return wire.AskRules(number)
    if kind is wire.AddMark:
        text = hostile(dice) if dice.random() < 0.6 else plain_name(dice)
        return wire.AddMark(number, dice.choice((*MARK_KINDS, *MARK_KINDS, hostile(dice))), text)
    if kind is wire.Confirm or kind is wire.Delete:
        return kind(number, _event(dice, shown))
    if kind is wire.Calibrate:
        return _calibrate(dice, engine, number)
    if kind is wire.UndoCalibration:
        return wire.UndoCalibration(number, _probe(dice, engine), dice.random() < 0.3)
    if kind is wire.SetMeat:
        return wire.SetMeat(number, _piece(dice, engine))
    if kind is wire.TurnMeat:
        return wire.TurnMeat(number, _piece_name(dice, engine), dice.choice(tuple(MeatPhase)))
    return wire.AddSpot(number, _spot(dice, engine, shown))


def own_action(dice: random.Random) -> Action:
    """Draw a mark that the collector makes of its own."""
    return Action(ActionKind.MARK, dice.choice(("clock", "store")), text=hostile(dice))


def _alarm(dice: random.Random, engine: Engine, shown: Snapshot | None) -> str:
    there = [] if shown is None else [*(a.key for a in shown.alarms), *(t.key for t in shown.troubles)]
    match dice.randrange(6):
        case 0:
            return ""
        case 1:
            return hostile(dice)
        case 2 | 3:
            return dice.choice([rule.key for rule in engine.rules()] or [""])
    return dice.choice(there or [""])


def _event(dice: random.Random, shown: Snapshot | None) -> str:
    events = [] if shown is None else [mark.event for mark in shown.marks if mark.event]
    return dice.choice(events) if events and dice.random() < 0.8 else hostile(dice)


def _probe(dice: random.Random, engine: Engine) -> str:
    return dice.choice(engine.plan.probes).name if dice.random() < 0.9 else hostile(dice)


def _calibrate(dice: random.Random, engine: Engine, number: int) -> wire.Calibrate:
    kind = dice.choice(tuple(Kind))
    bath = {Kind.ICE: 0.0, Kind.BOIL: 98.5, Kind.TOGETHER: dice.uniform(-50.0, 400.0)}[kind]
    raw = bath + dice.choice((0.5, -3.0, 9.0, 11.0, dice.gauss(0.0, 1.0)))
    if dice.random() < 0.1:
        bath, raw = dice.choice(NUMBERS), dice.choice(NUMBERS)
    return wire.Calibrate(number, _probe(dice, engine), kind, bath, raw, dice.choice((0.1, 0.15, 5.0, 1e-300, 0.0)))


def _piece_name(dice: random.Random, engine: Engine) -> str:
    names = [piece.name for piece in (*engine.pieces, *engine.plan.meat)]
    return dice.choice(names) if names and dice.random() < 0.9 else hostile(dice)


def _piece(dice: random.Random, engine: Engine) -> Piece:
    """Describe a piece, mostly as one may be: added, or one that is there, changed."""
    there = {piece.name: piece for piece in engine.pieces}
    probes = [probe.name for probe in engine.plan.probes if probe.duty == "meat"]
    if there and dice.random() < 0.5:
        was = dice.choice(list(there.values()))
        name, parts = was.name, was.parts
    else:
        used = {part.probe for piece in there.values() for part in piece.parts}
        free = [probe for probe in probes if probe not in used] or probes or ["none"]
        name, parts = plain_name(dice), (Part(dice.choice(("flat", "point")), dice.choice(free)),)
    if dice.random() < 0.7:
        wrap, done = dice.choice((None, 70.0, 50.0)), dice.choice((None, 95.0, 60.0, 104.0))
        wrap = wrap if wrap is None or done is None or wrap < done else None
        parts = tuple(Part(part.name, part.probe, wrap, done) for part in parts)
    piece = Piece(
        name,
        dice.choice(tuple(Cut)),
        parts,
        dice.choice((None, 6.0, 0.001, 100.0)),
        dice.choice(tuple(Species)),
        dice.choice((None, True, False)),
        dice.choice((None, None, (0.1, 0.5, 0.1, 0.3), (0.0, 100.0, 0.0, 100.0))),
        dice.choice((57.3, 0.0, 100.0)),
        dice.choice((0.0, 3600.0, 86_400.0)),
        dice.choice((None, 0.0, 86_399.9, dice.uniform(0.0, 86_399.0))),
        dice.choice((None, None, (engine.now_unix + 3600.0, 3600.0), (engine.now_unix, -3600.0), (0.0, 86_400.0))),
        dice.choice(tuple(CoolingRule)),
        dice.choice(((), (), ("before",), (hostile(dice),))),
    )
    if dice.random() < 0.85:
        return piece
    return dice.choice((
        Piece(hostile(dice), parts=parts), Piece(name), Piece(name, parts=parts * 9),
        Piece(name, parts=parts, rest_seconds=math.nan),
        Piece(name, parts=parts, mass_kg=math.inf), Piece(name, parts=parts, hold_celsius=math.nan),
        Piece(name, parts=parts, clocks_change=(math.nan, 0.0)), Piece(name, parts=parts, serve_day_seconds=-1.0),
        Piece(name, parts=parts, place=(math.nan, 1.0, 0.0, 1.0)),
        Piece(name, parts=(Part(hostile(dice), parts[0].probe if parts else "none"),)),
    ))  # fmt: skip


def _spot(dice: random.Random, engine: Engine, shown: Snapshot | None) -> Spot:
    places = [part.name for piece in engine.pieces for part in piece.parts]
    places += [] if shown is None else [zone.name for zone in shown.zones]
    where = dice.choice(places) if places and dice.random() < 0.6 else hostile(dice)
    if dice.random() < 0.3:
        return Spot("bread", where, dice.choice((1.0, 3.5, 5.0, 6.0, math.nan)))
    x, y = dice.choice(((None, None), (0.2, 0.1), (-100.0, 100.0), (None, 0.2), (math.nan, 0.0), (1e9, 0.0)))
    return Spot("spot", where, dice.choice((93.0, -30.0, 400.0, 401.0, math.nan)), x, y)
