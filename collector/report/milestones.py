"""What the meat did: phases, stall, when it arrived against when it was forecast to, clocks of food law. Pure."""

import math
from collections.abc import Sequence

from msgspec import Struct

from collector.model.meat.cooling import LIMITS, CoolingRule
from collector.model.meat.safety import APPENDIX_A_LOGS, CAUTION
from collector.report.quantities import Celsius, Kilograms, Seconds, Unix, UnixOrNone, known
from collector.snapshot import ArrivalView, MeatView, PartView, Snapshot

__all__ = ["SHARES", "Forecast", "Meat", "MeatPart", "Milestone", "Turn", "meat_of"]

SHARES = (0.5, 0.75, 0.9)
"""Of the time from when it went on to when it was there."""
MINUTE = 60.0
"""Arrivals are known to the minute."""
TOLD_SECONDS = 300.0
"""A forecast this far from the moment asked for is another one."""


class Forecast(Struct, frozen=True):
    """What was forecast when a share of the time had gone, and what came of it."""

    share: float
    time_unix: Unix
    low_unix: UnixOrNone
    """A tenth of such cooks is there by then."""
    median_unix: UnixOrNone
    high_unix: UnixOrNone
    """Nine tenths are; with the first the 80 % interval."""
    late_seconds: Seconds
    """By how much it came later than the median; below zero: earlier."""
    held: bool | None
    """It came within the interval, to the minute; null where there was none."""
    why: str
    """Why nothing could be forecast then; else empty."""


class Milestone(Struct, frozen=True):
    """A temperature that a part was to arrive at."""

    kind: str
    """`wrap` or `done`."""
    target_celsius: Celsius
    came_unix: UnixOrNone
    forecasts: tuple[Forecast, ...]
    """Of one that did not come, the last one."""


class MeatPart(Struct, frozen=True):
    """A part of a piece, by its probe."""

    name: str
    probe: str
    last_celsius: Celsius
    most_celsius: Celsius
    stall_began_unix: UnixOrNone
    stall_ended_unix: UnixOrNone
    stall_celsius: Celsius
    milestones: tuple[Milestone, ...]
    danger_seconds: Seconds
    """Time within 41 to 135 °F at the probe since it went on."""
    log_reduction: float | None
    """Decimal logarithms of Salmonella by the table of beef, at the probe, no more than the table's own 6.5; null:
    there is no table here."""
    table_reached_unix: UnixOrNone
    """When the 6.5 logarithms of that table were reached at the probe."""


class Turn(Struct, frozen=True):
    """A phase that a piece went over to."""

    phase: str
    time_unix: Unix


class Meat(Struct, frozen=True):
    """One piece."""

    name: str
    cut: str
    kg: Kilograms
    intact: bool | None
    on_unix: UnixOrNone
    turns: tuple[Turn, ...]
    parts: tuple[MeatPart, ...]
    serve_unix: UnixOrNone
    held_seconds: Seconds
    held_least_celsius: Celsius
    """The least that its coldest part had while it was held; null: it was not."""
    hold_floor_celsius: Celsius
    caution: str
    cooling_limits: str
    """By which it was followed while it cooled."""


def meat_of(moments: Sequence[Snapshot]) -> tuple[Meat, ...]:
    """Tell of every piece.

    Args:
        moments: the cook every few minutes, oldest first.
    """
    names = dict.fromkeys(piece.name for moment in moments for piece in moment.meat)
    return tuple(_piece(name, _told(moments, name)) for name in names)


def _told(moments: Sequence[Snapshot], name: str) -> list[tuple[float, MeatView]]:
    return [(moment.now_unix, piece) for moment in moments for piece in moment.meat if piece.name == name]


def _piece(name: str, told: Sequence[tuple[float, MeatView]]) -> Meat:
    last = told[-1][1]
    turns: list[Turn] = []
    for _, piece in told:
        if math.isfinite(piece.since_unix) and (not turns or turns[-1].phase != piece.phase):
            turns.append(Turn(str(piece.phase), piece.since_unix))
    held = [p for _, p in told if p.held_seconds > 0.0]
    coldest = [min((q.celsius for q in p.parts if math.isfinite(q.celsius)), default=math.nan) for p in held]
    # every part that it ever had, under the name of its probe
    probes = dict.fromkeys((part.probe, part.name) for _, piece in told for part in piece.parts)
    parts = tuple(
        _part([(t, p, q) for t, p in told for q in p.parts if (q.probe, q.name) == wanted]) for wanted in probes
    )
    return Meat(
        name, str(last.cut), known(last.mass_kg), last.intact, last.on_unix, tuple(turns), parts, last.serve_unix,
        max((p.held_seconds for p in held), default=None), known(min((c for c in coldest if c == c), default=None)),
        known(last.hold_celsius), CAUTION, LIMITS[CoolingRule(last.cooling)].title,
    )  # fmt: skip


def _part(told: Sequence[tuple[float, MeatView, PartView]]) -> MeatPart:
    last = told[-1][2]
    counted = [part for _, piece, part in told if piece.on_unix is not None]
    values = [part.celsius for part in counted if math.isfinite(part.celsius)]
    stalled = [part for part in counted if part.stall_began_unix is not None]
    stall = stalled[-1] if stalled else None
    enough = next((t for t, _, part in told if part.log_reduction >= APPENDIX_A_LOGS), None)
    on = told[-1][1].on_unix
    return MeatPart(
        last.name, last.probe, known(values[-1]) if values else None, known(max(values)) if values else None,
        None if stall is None else stall.stall_began_unix, None if stall is None else stall.stall_ended_unix,
        None if stall is None else known(stall.stall_celsius),
        tuple(m for kind in ("wrap", "done") if (m := _milestone(kind, told, on)) is not None),
        known(last.danger_seconds, 0), known(min(last.log_reduction, APPENDIX_A_LOGS), 1), enough,
    )  # fmt: skip


def _arrival(part: PartView, kind: str) -> tuple[float, ArrivalView]:
    return (part.wrap_celsius, part.wrap) if kind == "wrap" else (part.done_celsius, part.done)


def _milestone(
    kind: str, told: Sequence[tuple[float, MeatView, PartView]], on_unix: float | None
) -> Milestone | None:  # fmt: skip
    """Hold one temperature's arrival against its forecasts; None where the cook gave no temperature."""
    asked = [(t, *_arrival(part, kind)) for t, _, part in told]
    targets = [target for _, target, _ in asked if math.isfinite(target)]
    if not targets or on_unix is None:
        return None
    target = targets[-1]
    asked = [(t, goal, arrival) for t, goal, arrival in asked if goal == target]
    came = next((a.median_unix for t, _, a in asked if a.low_unix == a.high_unix and a.median_unix <= t), None)
    if came is None:
        known_ones = [(t, a) for t, _, a in asked if math.isfinite(a.median_unix)]
        last = known_ones[-1:] or [(t, a) for t, _, a in asked[-1:]]
        return Milestone(kind, known(target), None, tuple(_forecast(math.nan, t, a, None) for t, a in last))
    forecasts = []
    for share in SHARES:
        at = on_unix + share * (came - on_unix)
        t, _, arrival = min(asked, key=lambda told: abs(told[0] - at))
        if abs(t - at) <= TOLD_SECONDS and t < came:
            forecasts.append(_forecast(share, t, arrival, came))
    return Milestone(kind, known(target), came, tuple(forecasts))


def _forecast(share: float, at: float, arrival: ArrivalView, came: float | None) -> Forecast:
    low, median, high = (known(v, 0) for v in (arrival.low_unix, arrival.median_unix, arrival.high_unix))
    late = held = None
    if came is not None and median is not None:
        late = known(came - median, 0)
        if low is not None and high is not None:
            held = low - MINUTE <= came <= high + MINUTE
    return Forecast(1.0 if math.isnan(share) else share, at, low, median, high, late, held, arrival.why)
