"""All meat of a cook. Pure: fed by the engine at each of its looks, it takes one row a minute."""

import math
from collections.abc import Container
from functools import partial

import msgspec
import numpy as np
from msgspec.structs import replace

from collector.faults import NOT_AVAILABLE, FaultBook
from collector.model.action import Action, ActionKind
from collector.model.field import Array
from collector.model.meat.described import piece_doubt
from collector.model.meat.history import MeatHistory, MeatRow
from collector.model.meat.piece import MeatPhase, Piece
from collector.model.meat.piece_watch import ROW_SECONDS, PieceLook, PieceWatch, unavailable_view
from collector.model.meat.spots import Spot, SpotBook
from collector.model.plan import Plan
from collector.snapshot import ArrivalView, Mark, MeatView, SpotView

__all__ = ["MeatWatch"]


class MeatWatch:
    """Follows every piece of a cook.

    Args:
        plan: the set-up.
        faults: contains the fault of one piece, so that the others are followed all the same.
    """

    def __init__(self, plan: Plan, faults: FaultBook | None = None) -> None:
        self._plan = plan
        self._faults = faults or FaultBook()
        self._good: dict[str, tuple[float, MeatView]] = {}
        """The newest good view of each piece, and when it was built."""
        self._pieces = {piece.name: PieceWatch(piece, plan) for piece in plan.meat}
        self._renamed = {name: piece.name for piece in plan.meat for name in piece.was}
        self._history = MeatHistory()
        self._for_meat: Array = np.array([probe.duty == "meat" for probe in plan.probes], dtype=bool)
        self._freed_unix: dict[str, float] = {}
        """When the piece that a probe was in was put away, or lost it."""
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

    def knows(self, name: str) -> bool:
        """Tell whether there is a piece of this name, or one that had it earlier in this cook."""
        return name in self._pieces or name in self._renamed

    def due(self, now: float) -> bool:
        """Tell whether a row is due."""
        return bool(self._for_meat.any()) and now >= self._row_due_unix

    def look(self, now: float, values: Array, zone_celsius: Array, grate_celsius: float) -> list[Mark]:
        """Take note of how things stand; give a mark for each piece that is seen to have gone on.

        Args:
            now: Unix seconds.
            values: °C of the probes that are believed, NaN of the others, shape (probes,).
            zone_celsius: shape (zones,).
            grate_celsius: mean of the grate.
        """
        values = np.where(self._for_meat, values, np.nan)
        self._history.add(MeatRow(now, values, zone_celsius.copy(), grate_celsius))
        self._row_due_unix = (now // ROW_SECONDS + 1.0) * ROW_SECONDS
        marks = []
        for name, piece in self._pieces.items():
            take = partial(piece.row, now, values, zone_celsius, grate_celsius)
            if self._faults.attempt(f"meat {name}", now, take, lambda: False, critical=True):
                marks.append(Mark(now, "meat", f"{name}: on"))
            else:
                self._faults.attempt(f"forecast of {name}", now, piece.look_ahead, lambda: None)
        return marks

    def looks(self, now: float) -> list[PieceLook]:
        """Say what the alarms are fed; a piece whose look fails is left out."""
        found = (
            self._faults.attempt(f"clocks of {name}", now, partial(piece.look, now), lambda: None, critical=True)
            for name, piece in self._pieces.items()
            if not self._faults.failing(f"meat {name}")  # its clocks stand still: no value of before is judged
        )
        return [look for look in found if look is not None]

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
            piece = self._called_now(msgspec.json.decode(action.text, type=Piece))
            return Mark(now, "meat", f"{piece.name}: {self._describe(piece, now)}")
        phase = MeatPhase(action.text)
        name = action.subject if action.subject in self._pieces else self._renamed.get(action.subject, action.subject)
        watch = self._pieces[name]
        watch.turn(phase, now)
        if phase is MeatPhase.OFF:
            self._free(watch.piece, now)
        return Mark(now, "meat", f"{name}: {phase}")

    def _called_now(self, piece: Piece) -> Piece:
        """Give a piece that was described under an earlier name the name it has now."""
        now = self._pieces.get(self._renamed.get(piece.name, ""))
        if now is None or {p.probe for p in piece.parts} != {p.probe for p in now.piece.parts}:
            return piece
        return replace(piece, name=now.piece.name)

    def _describe(self, piece: Piece, now: float) -> str:
        """Add a piece, or go on with it as it is described now; say what was done, and what is assumed."""
        known, doubt = self._pieces.get(piece.name), piece_doubt(piece)
        if known is not None and known.phase is not MeatPhase.OFF:
            self._free(known.piece, now, but={part.probe for part in piece.parts})
            self._pieces[piece.name] = known.again(piece, self._plan)
            return "; ".join(filter(None, ("changed", doubt)))
        watch = self._pieces[piece.name] = PieceWatch(piece, self._plan)
        watch.adopt(self._history.rows, self._freed_unix)
        return "; ".join(filter(None, ("added", _assumed(watch, now), doubt)))

    def _free(self, piece: Piece, now: float, but: Container[str] = ()) -> None:
        self._freed_unix |= {part.probe: now for part in piece.parts if part.probe not in but}

    def wrap_all(self, now: float) -> None:
        """Take a mark that says wrapped for every piece that cooks."""
        for piece in self._pieces.values():
            if piece.phase is MeatPhase.COOKING:
                piece.turn(MeatPhase.WRAPPED, now)

    def views(self, now: float) -> tuple[MeatView, ...]:
        """Show every piece."""
        return tuple(
            self._faults.attempt(
                f"view of {name}", now, partial(self._view, name, now), partial(self._unavailable, name, now),
                critical=True,
            )
            for name in self._pieces
        )  # fmt: skip

    def _view(self, name: str, now: float) -> MeatView:
        if any(map(self._faults.failing, ("look", "meat", f"meat {name}"))):
            return self._unavailable(name, now)
        view = self._pieces[name].view(now)
        self._good[name] = now, view
        return view

    def _unavailable(self, name: str, now: float) -> MeatView:
        """Show a piece that cannot be judged: its last forecast with its age, and none of its clocks."""
        lost = f"{NOT_AVAILABLE}; its temperature and its safety clocks are not watched"
        if name not in self._good:
            return unavailable_view(self._pieces[name].piece, (lost,))
        built, view = self._good[name]
        old = f"{(now - built) / 60.0:.0f} min old"
        nan = math.nan
        parts = tuple(
            replace(
                part, celsius=nan, air_celsius=nan, danger_seconds=nan, danger_off_fire_seconds=nan,
                come_up_seconds=nan, log_reduction=nan, ahead=(), wrap=_aged(part.wrap, old),
                done=_aged(part.done, old),
            )
            for part in view.parts
        )  # fmt: skip
        return replace(
            view, parts=parts, done=_aged(view.done, old), held_seconds=nan, hold_trend_kelvin_per_hour=nan,
            cool_due_unix=None, late_seconds=nan, air_needed_celsius=nan, advice=(lost,),
        )  # fmt: skip

    def spots(self) -> tuple[SpotView, ...]:
        """Show the newest readings by hand."""
        return self._spots.views()


def _aged(arrival: ArrivalView, old: str) -> ArrivalView:
    """Say of a forecast that is known how old it is."""
    return replace(arrival, why=old) if math.isfinite(arrival.median_unix) else arrival


def _assumed(watch: PieceWatch, now: float) -> str:
    """Say what a piece that was added took over from before; empty where it took nothing."""
    since = watch.shown_from_unix if math.isnan(watch.on_unix) else watch.on_unix
    if not now - since >= ROW_SECONDS:
        return ""
    hours, minutes = divmod(round((now - since) / 60.0), 60)
    lasted = f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"
    if math.isnan(watch.on_unix):
        return (
            f"its probe has shown what can be meat for {lasted}, and its clock of danger counts that once it is on; "
            "if the probe lay elsewhere, say forget, then on"
        )
    counts = "and its clocks count that; if the probe lay elsewhere, say forget, then on"
    return f"by its probe it is on for {lasted}, {counts}"
