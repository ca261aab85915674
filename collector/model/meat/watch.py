"""All meat of a cook. Pure: fed by the engine at each of its looks, it takes one row a minute."""

import math

import msgspec

from collector.model.action import Action, ActionKind
from collector.model.field import Array
from collector.model.meat.described import piece_doubt
from collector.model.meat.piece import MeatPhase, Piece
from collector.model.meat.piece_watch import ROW_SECONDS, PieceLook, PieceWatch
from collector.model.meat.spots import Spot, SpotBook
from collector.model.plan import Plan
from collector.snapshot import Mark, MeatView, SpotView

__all__ = ["MeatWatch"]


class MeatWatch:
    """Follows every piece of a cook.

    Args:
        plan: the set-up.
    """

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._pieces = {piece.name: PieceWatch(piece, plan) for piece in plan.meat}
        self._spots = SpotBook()
        self._row_due_unix = -math.inf

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The pieces that are not off yet, as they are described now."""
        return tuple(watch.piece for watch in self._pieces.values() if watch.phase is not MeatPhase.OFF)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the pieces."""
        return tuple(self._pieces)

    def due(self, now: float) -> bool:
        """Tell whether a row is due."""
        return bool(self._pieces) and now >= self._row_due_unix

    def look(self, now: float, values: Array, zone_celsius: Array, grate_celsius: float) -> list[Mark]:
        """Take note of how things stand; give a mark for each piece that is seen to have gone on.

        Args:
            now: Unix seconds.
            values: °C of the probes that are believed, NaN of the others, shape (probes,).
            zone_celsius: shape (zones,).
            grate_celsius: mean of the grate.
        """
        self._row_due_unix = (now // ROW_SECONDS + 1.0) * ROW_SECONDS
        return [
            Mark(now, "meat", f"{name}: on")
            for name, piece in self._pieces.items()
            if piece.row(now, values, zone_celsius, grate_celsius)
        ]

    def looks(self, now: float) -> list[PieceLook]:
        """Say what the alarms are fed."""
        return [piece.look(now) for piece in self._pieces.values()]

    def act(self, action: Action, now: float) -> Mark:
        """Do what the cook says of a piece, or take his reading; give the mark of it.

        Raises:
            KeyError: there is no such piece.
            ValueError: it is not described as it must be.
        """
        if action.kind is ActionKind.SPOT:
            spot = msgspec.json.decode(action.text, type=Spot)
            self._spots.add(spot, now)
            return Mark(now, spot.kind, action.subject)
        if action.kind is ActionKind.MEAT:
            piece = msgspec.json.decode(action.text, type=Piece)
            known, plan = self._pieces.get(piece.name), self._plan
            self._pieces[piece.name] = PieceWatch(piece, plan) if known is None else known.again(piece, plan)
            doubt = piece_doubt(piece)
            return Mark(now, "meat", f"{piece.name}: {'added' if known is None else 'changed'}{doubt and '; ' + doubt}")
        phase = MeatPhase(action.text)
        self._pieces[action.subject].turn(phase, now)
        return Mark(now, "meat", f"{action.subject}: {phase}")

    def wrap_all(self, now: float) -> None:
        """Take a mark that says wrapped for every piece that cooks."""
        for piece in self._pieces.values():
            if piece.phase is MeatPhase.COOKING:
                piece.turn(MeatPhase.WRAPPED, now)

    def views(self, now: float) -> tuple[MeatView, ...]:
        """Show every piece."""
        return tuple(piece.view(now) for piece in self._pieces.values())

    def spots(self) -> tuple[SpotView, ...]:
        """Show the newest readings by hand."""
        return self._spots.views()
