"""One piece of meat through the night: its phase, its parts, and the plan back from when it is to be served. Pure."""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence

import msgspec
import numpy as np

from collector.model.field import Array
from collector.model.meat.backwards import before_it_is_on, late_before_it_is_on, while_it_cooks
from collector.model.meat.cooling import LIMITS, Cooling, CoolingRule
from collector.model.meat.forecast import Arrival, air_needed, curve, of_piece
from collector.model.meat.history import MeatRow, in_meat_since
from collector.model.meat.part_watch import ROW_SECONDS, PartWatch
from collector.model.meat.piece import APART_KELVIN, ON_FIRE, Cut, MeatPhase, Piece
from collector.model.meat.safety import done_words
from collector.model.meat.signs import WRAPS_CELSIUS
from collector.model.meat.stall import wrap_gain_seconds
from collector.model.meat.track import Track
from collector.model.plan import GRATE, Plan
from collector.snapshot import UNKNOWN_ARRIVAL, AheadView, ArrivalView, MeatView, PartView

__all__ = ["ROW_SECONDS", "PieceLook", "PieceWatch", "unavailable_view"]

STALL_ROWS = 5
PLAN_ROWS = 10
"""The stall is looked for, and the plan for lateness, once in so many minutes."""
AHEAD_SECONDS = 1800.0
MOST_AHEAD = 24
HOT_GRATE_CELSIUS = 60.0
"""Below this the pit is no oven yet, and what rises is no meat that went on."""
APART_SECONDS = 3600.0
WARM_CELSIUS = 55.0
"""Before the stall is near, the parts of a piece tell nothing of each other."""
UNLEARNED_WRAP = (
    f"the forecast knows wraps at {WRAPS_CELSIUS[0] * 1.8 + 32.0:.0f} to {WRAPS_CELSIUS[1] * 1.8 + 32.0:.0f} °F "
    f"({WRAPS_CELSIUS[0]:.0f} to {WRAPS_CELSIUS[1]:.0f} °C) only; with one outside of these it may be off by more than "
    "it says, and after a hotter one it takes the piece as left bare"
)
OFF_FIRE = (MeatPhase.RESTING, MeatPhase.HOLDING, MeatPhase.COOLING)


class PieceLook(msgspec.Struct, frozen=True):
    """What the alarms of a piece are fed; NaN where it cannot be told, or is not asked in this phase."""

    name: str
    past_wrap_kelvin: float
    """The part furthest from its wrap temperature, above it."""
    past_done_kelvin: float
    fallen_kelvin: float
    stall_seconds: float
    late_seconds: float
    above_floor_kelvin: float
    danger_seconds: float
    """Of the part that was longest between 41 and 135 °F off the fire."""
    come_up_seconds: float
    """Of the part that was longest between 50 and 130 °F on the fire; while it cooks, below 130 °F."""
    cool_left_seconds: float
    cooling: str
    """The published limits that it is cooled by."""
    done_words: str
    """What decides whether it is done."""
    wrap_celsius: tuple[float, ...]
    """Its parts' own, the coolest first; each once, none of a part that has none."""
    done_celsius: tuple[float, ...]
    hold_celsius: float


class PieceWatch:
    """Follows one piece.

    Args:
        piece: as the cook describes it.
        plan: the set-up; its probes and zones.
    """

    def __init__(self, piece: Piece, plan: Plan) -> None:
        self.piece = piece
        self.phase = MeatPhase.WAITING
        self.since_unix = math.nan
        self.on_unix = math.nan
        self._wrapped_unix = math.nan
        self._off_fire_unix = math.nan
        self._parts = [PartWatch(part, piece.species, piece.cut) for part in piece.parts]
        names = [p.name for p in plan.probes]
        self._probes = [names.index(part.probe) if part.probe in names else None for part in piece.parts]
        self._zones = [_zone_of(plan, piece, probe) for probe in self._probes]
        self._zone_names = [z.name for z in plan.zones]
        self._coolings = _coolings()
        self._lit = False
        """The pit is as hot as an oven."""
        self._late_seconds = math.nan
        self._rows = 0
        self._shown: tuple[int, MeatView] | None = None

    def again(self, piece: Piece, plan: Plan) -> "PieceWatch":
        """Go on with a piece that the cook describes anew; parts of the same probe keep what is known of them."""
        fresh = PieceWatch(piece, plan)
        fresh.phase, fresh.since_unix, fresh.on_unix = self.phase, self.since_unix, self.on_unix
        fresh._wrapped_unix, fresh._off_fire_unix = self._wrapped_unix, self._off_fire_unix
        fresh._coolings, fresh._lit, fresh._rows = self._coolings, self._lit, self._rows
        known = {watch.part.probe: watch for watch in self._parts}
        for k, watch in enumerate(fresh._parts):
            before = known.get(watch.part.probe)
            if before is not None and (before.species, before.cut) == (piece.species, piece.cut):
                before.part = watch.part
                fresh._parts[k] = before
            else:
                watch.inherit(self._parts)
        return fresh

    @property
    def _cooling(self) -> Cooling:
        return self._coolings[self.piece.cooling]

    def turn(self, phase: MeatPhase, now: float) -> None:
        """Go over to a phase; told twice it is no news."""
        if phase is self.phase:
            if phase is MeatPhase.WAITING:
                self._forget()
            return
        if phase not in (MeatPhase.WAITING, MeatPhase.OFF) and math.isnan(self.on_unix):
            self._begin(now)
        if phase is MeatPhase.WRAPPED:
            self._wrapped_unix = now
        elif phase is MeatPhase.COOKING:
            self._wrapped_unix = math.nan
        elif phase is MeatPhase.WAITING:
            self._forget()
        if phase in ON_FIRE:
            self._coolings, self._off_fire_unix = _coolings(), math.nan
        elif self.phase in ON_FIRE:
            self._off_fire_unix = now
        self.phase, self.since_unix = phase, now
        self._shown = None

    def _forget(self) -> None:
        """Know nothing of a piece that was not on after all."""
        self.on_unix = self._wrapped_unix = self._off_fire_unix = math.nan
        self._shown = None
        for watch in self._parts:
            watch.forget()

    def _begin(self, on_unix: float) -> None:
        self.on_unix = on_unix
        for watch in self._parts:
            watch.begin(on_unix)

    def row(self, now: float, values: Array, zone_celsius: Array, grate_celsius: float) -> bool:
        """Take one row a minute; tell whether it shows that the meat went on.

        Args:
            now: Unix seconds.
            values: of the probes that are believed, °C, NaN of the others, shape (probes,).
            zone_celsius: shape (zones,).
            grate_celsius: mean of the grate.
        """
        self._take(now, values, zone_celsius, grate_celsius)
        return self._went_on()

    def look_ahead(self) -> None:
        """Look for stalls and for lateness, some minutes apart; to be called after each row."""
        if math.isnan(self.on_unix) or self.phase not in ON_FIRE:
            return
        if self._rows % STALL_ROWS == 0:
            self._find_stalls()
        if self._rows % PLAN_ROWS == 0 and self.piece.serve_day_seconds is not None:
            self._late_seconds = self._late(self._done(self._arrivals()))

    def adopt(self, rows: Iterable[MeatRow], freed_unix: Mapping[str, float]) -> None:
        """Take over what its probes have shown in this cook before it was described, as far as that can be its meat.

        Args:
            rows: one a minute, oldest first.
            freed_unix: when the piece before it that a probe was in was put away, by the probe's name.
        """
        rows = tuple(rows)
        for watch, probe in zip(self._parts, self._probes, strict=True):
            freed = freed_unix.get(watch.part.probe, -math.inf)
            if probe is None:
                continue
            told = [(r.unix, float(r.values[probe]), r.grate_celsius) for r in rows if r.unix > freed]
            watch.shown_from_unix = in_meat_since(told)
        since = min((w.shown_from_unix for w in self._parts if not math.isnan(w.shown_from_unix)), default=math.inf)
        for row in rows:
            if row.unix < since:
                continue
            values = row.values.copy()
            for watch, probe in zip(self._parts, self._probes, strict=True):
                if probe is not None and not row.unix >= watch.shown_from_unix:
                    values[probe] = math.nan
            self._take(row.unix, values, row.zone_celsius, row.grate_celsius)
            self._went_on()
        if self.phase in ON_FIRE:
            self._find_stalls()

    @property
    def shown_from_unix(self) -> float:
        """Since when the probes have shown what can be meat, taken over from before it was described; or NaN."""
        return min((w.shown_from_unix for w in self._parts if not math.isnan(w.shown_from_unix)), default=math.nan)

    def _take(self, now: float, values: Array, zone_celsius: Array, grate_celsius: float) -> None:
        """Put a row into every part."""
        on = not math.isnan(self.on_unix) and self.phase is not MeatPhase.OFF
        self._rows += 1
        self._lit = grate_celsius >= HOT_GRATE_CELSIUS
        for watch, probe, zone in zip(self._parts, self._probes, self._zones, strict=True):
            celsius = math.nan if probe is None else float(values[probe])
            air = math.nan if zone is None else float(zone_celsius[zone])
            air = grate_celsius if math.isnan(air) else air
            watch.row(now, celsius, air, on=on, off_fire=self.phase not in ON_FIRE)
        if self.phase in OFF_FIRE:
            for cooling in self._coolings.values():
                cooling.look(now, {w.part.probe: w.celsius for w in self._parts})

    def _went_on(self) -> bool:
        """Take a rise in a hot pit for the meat's going on; tell whether there was one."""
        if self.phase is not MeatPhase.WAITING or not self._lit:
            return False
        rose = [at for at in (watch.rose_at() for watch in self._parts) if at is not None]
        if not rose:
            return False
        self._begin(min(rose))
        self.phase, self.since_unix = MeatPhase.COOKING, self.on_unix
        return True

    def _find_stalls(self) -> None:
        for watch in self._parts:
            watch.find_stall(self._track(watch))

    def _track(self, watch: PartWatch) -> Track:
        return watch.track(self.on_unix, self._wrapped_unix, self.piece.cut, _known(self.piece.mass_kg))

    def _arrivals(self) -> list[tuple[Arrival, Arrival]]:
        return [watch.arrivals(self._track(watch)) for watch in self._parts]

    def _done(self, arrivals: Sequence[tuple[Arrival, Arrival]]) -> Arrival | None:
        asked = [done for _, done in arrivals if not math.isnan(done.target_celsius)]
        return of_piece(asked) if asked else None

    def _done_by(self) -> float:
        """Give when it must be done to be served in time, Unix seconds."""
        return self.piece.serve_unix(self.on_unix) - self.piece.rest_seconds

    def _late(self, done: Arrival | None) -> float:
        return math.nan if done is None else self.on_unix + done.median_seconds - self._done_by()

    def look(self, now: float) -> PieceLook:
        """Say what the alarms are fed."""
        parts, phase = self._parts, self.phase
        cooking = phase in ON_FIRE
        heard = [w.stall for w in parts if math.isfinite(w.celsius)]
        stalls = [stall for stall in heard if stall is not None and math.isnan(stall.end_seconds)]
        lasting = [now - self.on_unix - s.onset_seconds for s in stalls]
        left = self._cooling.left_seconds(now) if phase is MeatPhase.COOLING else math.inf
        over = (MeatPhase.WAITING, MeatPhase.COOLING, MeatPhase.OFF)
        return PieceLook(
            self.piece.name,
            _past((w.celsius, w.part.wrap_celsius) for w in parts) if phase is MeatPhase.COOKING else _not_asked(),
            _past((w.celsius, w.part.done_celsius) for w in parts) if cooking else _not_asked(),
            _most(w.fallen_kelvin() for w in parts) if cooking else 0.0,
            max(lasting, default=0.0) if cooking else 0.0,
            self._late_seconds if cooking else -math.inf,
            _coldest(parts) - self.piece.hold_celsius if phase is MeatPhase.HOLDING else math.inf,
            0.0 if phase in over else _most(w.danger_off_fire_seconds for w in parts),
            self._coming_up_seconds() if cooking else 0.0,
            left,
            LIMITS[self.piece.cooling].title,
            done_words(self.piece),
            _told(w.part.wrap_celsius for w in parts),
            _told(w.part.done_celsius for w in parts),
            self.piece.hold_celsius,
        )

    def _coming_up_seconds(self) -> float:
        """Give the longest come-up of the parts that are not through it; 0 where all are."""
        return max((w.come_up_seconds for w in self._parts if not w.came_up), default=0.0)

    def view(self, now: float) -> MeatView:
        """Show it; worked out once a minute."""
        if self._shown is None or self._shown[0] != self._rows:
            self._shown = (self._rows, self._view(now))
        return self._shown[1]

    def _view(self, now: float) -> MeatView:
        piece, on = self.piece, self.phase in ON_FIRE
        arrivals = self._arrivals() if on else []
        done = self._done(arrivals) if on else None
        serve = math.nan if math.isnan(self.on_unix) else piece.serve_unix(self.on_unix)
        late = math.nan if math.isnan(serve) or not on else self._late(done)
        if self.phase is MeatPhase.WAITING:
            late = late_before_it_is_on(piece, now)
        needed = math.nan
        if on and late > 0.0:
            by = self._done_by() - self.on_unix
            asked = [
                air_needed(self._track(w), w.part.done_celsius, by, wrap_at_celsius=w.part.wrap_celsius)
                for w in self._parts
                if not w.celsius >= w.part.done_celsius and not math.isnan(w.part.done_celsius)
            ]
            needed = math.nan if any(map(math.isnan, asked)) else _most(asked)
        held = now - self.since_unix if self.phase is MeatPhase.HOLDING else 0.0
        due = self._cooling.due_unix() if self.phase is MeatPhase.COOLING else math.nan
        trend = -_most(-w.slope_kelvin_per_hour() for w in self._parts) if held else math.nan
        return MeatView(
            piece.name, piece.cut, piece.mass_kg, self.phase, self.since_unix,
            None if math.isnan(self.on_unix) else self.on_unix, piece.place,
            tuple(self._part_view(k, arrivals[k] if on else None) for k in range(len(self._parts))),
            UNKNOWN_ARRIVAL if done is None else self._arrival(done), None if math.isnan(serve) else serve,
            self._steps(now, arrivals), late, needed, piece.hold_celsius, held, trend,
            None if math.isnan(due) else due, piece.intact, self._advice(arrivals), piece.cooling, self._did(), piece,
        )  # fmt: skip

    def _part_view(self, k: int, arrivals: tuple[Arrival, Arrival] | None) -> PartView:
        watch, stall = self._parts[k], self._parts[k].stall
        zone = self._zones[k]
        wrap, done = (UNKNOWN_ARRIVAL,) * 2 if arrivals is None else (self._arrival(a) for a in arrivals)
        ended = math.nan if stall is None else stall.end_seconds
        gain = math.nan
        if arrivals is not None and self.phase is MeatPhase.COOKING:
            gain = wrap_gain_seconds(self._track(watch), watch.part.done_celsius)
        return PartView(
            watch.part.name, watch.part.probe, watch.celsius, watch.air_celsius,
            "" if zone is None else self._zone_names[zone], watch.part.wrap_celsius, watch.part.done_celsius,
            wrap, done,
            () if arrivals is None else self._ahead(watch),
            None if stall is None else self.on_unix + stall.onset_seconds,
            None if math.isnan(ended) else self.on_unix + ended,
            math.nan if stall is None else stall.celsius, math.nan if stall is None else stall.wet_bulb_celsius, gain,
            watch.danger_seconds, watch.log_reduction, watch.danger_off_fire_seconds, watch.come_up_seconds,
        )  # fmt: skip

    def _ahead(self, watch: PartWatch) -> tuple[AheadView, ...]:
        track = self._track(watch)
        last = float(track.seconds[-1]) if len(track.seconds) else 0.0
        at: Array = np.array([last + AHEAD_SECONDS * k for k in range(1, MOST_AHEAD + 1)], dtype=np.float64)
        rows = curve(track, at, wrap_at_celsius=watch.part.wrap_celsius)
        return tuple(
            AheadView(self.on_unix + float(t), *(float(v) for v in row))
            for t, row in zip(at, rows, strict=True) if np.isfinite(row).all()
        )  # fmt: skip

    def _arrival(self, arrival: Arrival) -> ArrivalView:
        on = self.on_unix
        return ArrivalView(
            on + arrival.low_seconds, on + arrival.median_seconds, on + arrival.high_seconds, arrival.why
        )  # fmt: skip

    def _steps(self, now: float, arrivals: Sequence[tuple[Arrival, Arrival]]) -> tuple[tuple[str, float], ...]:
        """Plan back from the time it is to be served."""
        if self.phase is MeatPhase.WAITING:
            return before_it_is_on(self.piece, now, lit=self._lit)
        if self.phase in ON_FIRE:
            wrapping = _most(done.median_seconds - wrap.median_seconds for wrap, done in arrivals)
            return while_it_cooks(self.piece, self.on_unix, wrapping if self.phase is MeatPhase.COOKING else math.nan)
        return ()

    def _did(self) -> tuple[tuple[str, float], ...]:
        """Say what of the plan is done, and when."""
        did = (("on", self.on_unix), ("wrapped", self._wrapped_unix), ("off the fire", self._off_fire_unix))
        return tuple((step, unix) for step, unix in did if not math.isnan(unix))

    def _advice(self, arrivals: Sequence[tuple[Arrival, Arrival]]) -> tuple[str, ...]:
        """Say what the trade does about what is seen: `what: what to do`, or a sentence without a colon."""
        if self.phase not in ON_FIRE:
            return ()
        known = [(w, done) for w, (_, done) in zip(self._parts, arrivals, strict=True) if math.isfinite(w.celsius)]
        said = list(self._behind(known))
        if self.piece.cut is not Cut.BRISKET:
            said.append("the forecast was learned from briskets; of this cut it may be off by more than it says")
        if self.phase is MeatPhase.COOKING and any(_unlearned(w.part.wrap_celsius) for w in self._parts):
            said.append(UNLEARNED_WRAP)
        if any(w.celsius >= w.part.done_celsius for w, _ in known):
            said.append(f"done: {done_words(self.piece)}")
        return tuple(said)

    def _behind(self, known: Sequence[tuple[PartWatch, Arrival]]) -> Iterator[str]:
        """Say which part will come in long after which other, and what its air has to do with it."""
        told = [(w, done) for w, done in known if not math.isnan(done.median_seconds) and w.celsius >= WARM_CELSIUS]
        if len(told) < 2:
            return
        (slow, last), (fast, first) = max(told, key=_when), min(told, key=_when)
        if last.median_seconds - first.median_seconds < APART_SECONDS:
            return
        colder = fast.air_celsius - slow.air_celsius
        zone = self._zones[self._parts.index(slow)]
        where = "" if zone is None else f" over the {self._zone_names[zone]}"
        behind = f"the {slow.part.name} will be done long after the {fast.part.name}"
        if colder >= APART_KELVIN:
            mend = f"turn the piece round, shift it towards the fire, or shield the {fast.part.name}"
            yield f"{behind}, and lies in colder air{where}: {mend}"
        elif colder <= -APART_KELVIN:
            yield f"{behind} though it lies in hotter air{where}: shield the {fast.part.name}, or part them"
        else:
            yield f"{behind} in air that is alike: shield the {fast.part.name}, or wrap the piece"


def unavailable_view(piece: Piece, advice: tuple[str, ...]) -> MeatView:
    """Show a piece of which nothing can be said but how the pitmaster described it.

    Args:
        piece: as it is described.
        advice: what is said instead.
    """
    nan = math.nan
    parts = tuple(
        PartView(
            part.name, part.probe, nan, nan, "", part.wrap_celsius, part.done_celsius, UNKNOWN_ARRIVAL,
            UNKNOWN_ARRIVAL, (), None, None, nan, nan, nan, nan, nan,
        )
        for part in piece.parts
    )  # fmt: skip
    return MeatView(
        piece.name, piece.cut, piece.mass_kg, "not available", nan, None, piece.place, parts, UNKNOWN_ARRIVAL, None,
        (), nan, nan, piece.hold_celsius, nan, nan, None, piece.intact, advice, piece.cooling, (), piece,
    )  # fmt: skip


def _when(told: tuple[PartWatch, Arrival]) -> float:
    return told[1].median_seconds


def _zone_of(plan: Plan, piece: Piece, probe: int | None) -> int | None:
    """Find the zone of the grate that a part lies in: by its probe's place, else by the middle of the piece."""
    x = y = math.nan
    if piece.place is not None:
        x, y = (piece.place[0] + piece.place[1]) / 2, (piece.place[2] + piece.place[3]) / 2
    if probe is not None and plan.probes[probe].x_m is not None and plan.probes[probe].y_m is not None:
        x, y = plan.probes[probe].x_m or 0.0, plan.probes[probe].y_m or 0.0
    for k, zone in enumerate(plan.zones):
        if zone.level == GRATE and zone.x0_m <= x <= zone.x1_m and zone.y0_m <= y <= zone.y1_m:
            return k
    return None


def _past(pairs: Iterable[tuple[float, float]]) -> float:
    """Give how far the furthest is past its target; NaN where one that has a target is not known, or none has."""
    found = [celsius - target for celsius, target in pairs if not math.isnan(target)]
    return min(found) if found and not any(map(math.isnan, found)) else math.nan


def _coldest(parts: Iterable[PartWatch]) -> float:
    """Give the coldest that is known: one dead probe must not hide it."""
    return -_most(-watch.celsius for watch in parts)


def _most(values: Iterable[float]) -> float:
    """Give the greatest of those that are known."""
    return max((v for v in values if not math.isnan(v)), default=math.nan)


def _unlearned(wrap_celsius: float) -> bool:
    low, high = WRAPS_CELSIUS
    return wrap_celsius < low or wrap_celsius > high


def _told(values: Iterable[float]) -> tuple[float, ...]:
    return tuple(sorted({v for v in values if not math.isnan(v)}))


def _coolings() -> dict[CoolingRule, Cooling]:
    """Begin to follow all limits, so that the cook may change which he goes by while it cools."""
    return {rule: Cooling(limits) for rule, limits in LIMITS.items()}


def _known(value: float | None) -> float:
    return math.nan if value is None else value


def _not_asked() -> float:
    """Stand for a condition that is over in this phase."""
    return -math.inf
