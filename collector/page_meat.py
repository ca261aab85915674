"""What the phone page is sent of the meat, and what it may tell of it. Degrees Celsius, the page converts.

NaN and infinity travel as null.
"""

import math

import msgspec

from collector.model.meat.backwards import lateness
from collector.model.meat.cooling import LIMITS, OTHER_LIMITS, CoolingRule
from collector.model.meat.piece import MeatPhase
from collector.model.meat.safety import (
    APPENDIX_A_LOGS,
    CAUTION,
    COME_UP_HIGH_CELSIUS,
    COME_UP_LOW_CELSIUS,
    COME_UP_SECONDS,
    COME_UP_SOON_SECONDS,
    DANGER_HIGH_CELSIUS,
    DANGER_LOW_CELSIUS,
    DANGER_SECONDS,
    DANGER_SOON_SECONDS,
    NO_FIVE_LOGS,
)
from collector.model.meat.spots import NEWEST_SPOTS
from collector.snapshot import ArrivalView, MeatView, PartView, Snapshot, SpotView

__all__ = ["PageMeat", "PageSpot", "PageTurn", "page_meat", "page_spots"]


class PageArrival(msgspec.Struct, frozen=True):
    """When it is expected."""

    low_unix: float
    median_unix: float
    high_unix: float
    why: str
    """Why it cannot be known, or will not come."""


class PagePart(msgspec.Struct, frozen=True):
    """A part of a piece."""

    name: str
    probe: str
    celsius: float
    wrap_celsius: float
    done_celsius: float
    air_celsius: float
    wrap: PageArrival
    done: PageArrival
    stall_began_unix: float | None
    stall_ended_unix: float | None
    stall_celsius: float
    wrap_gain_seconds: float


class PageCooling(msgspec.Struct, frozen=True):
    """The limits that it is cooled by."""

    title: str
    from_celsius: float
    first_celsius: float
    first_seconds: float
    second_celsius: float
    second_seconds: float
    in_all: bool
    others: str
    """That there are others."""


class PageMeat(msgspec.Struct, frozen=True):
    """A piece of meat."""

    name: str
    phase: str
    since_unix: float
    parts: tuple[PagePart, ...]
    done: PageArrival
    serve_unix: float | None
    plan: tuple[tuple[str, float], ...]
    did: tuple[tuple[str, float], ...]
    """What of the plan is done, and when."""
    late_seconds: float
    lateness: str
    """See `collector.model.meat.backwards.Lateness`."""
    hold_celsius: float
    held_seconds: float
    cool_due_unix: float | None
    cooling: PageCooling
    on: bool
    """It went on, so that its clocks run."""
    danger_seconds: float
    """The longest of its parts, off the fire, within the two temperatures of the danger zone; NaN: not known."""
    danger_celsius: tuple[float, float]
    danger_soon_seconds: float
    danger_most_seconds: float
    come_up_seconds: float
    """The longest of its parts, on the fire, within the two temperatures of the come-up; NaN: not known."""
    come_up_celsius: tuple[float, float]
    come_up_soon_seconds: float
    come_up_most_seconds: float
    log_reduction: float
    """The least of its parts; NaN: there is no table for it."""
    log_goal: float
    log_note: str
    """Which column there is not, and why."""
    caution: str
    advice: tuple[str, ...]


class PageSpot(msgspec.Struct, frozen=True):
    """A reading by hand."""

    time_unix: float
    kind: str
    where: str
    value: float


class PageTurn(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="do", tag="turn"):
    """A piece went over into a phase."""

    number: int
    piece: str
    phase: MeatPhase


def page_meat(snapshot: Snapshot) -> tuple[PageMeat, ...]:
    """Make the pieces of a view."""
    return tuple(_piece(piece) for piece in snapshot.meat)


def page_spots(snapshot: Snapshot) -> tuple[PageSpot, ...]:
    """Make the newest readings by hand, the newest first."""
    return tuple(_spot(spot) for spot in snapshot.spots[: -NEWEST_SPOTS - 1 : -1])


def _piece(piece: MeatView) -> PageMeat:
    danger = [part.danger_off_fire_seconds for part in piece.parts if not math.isnan(part.danger_off_fire_seconds)]
    come_up = [part.come_up_seconds for part in piece.parts if not math.isnan(part.come_up_seconds)]
    logs = [part.log_reduction for part in piece.parts if part.log_reduction == part.log_reduction]
    return PageMeat(
        piece.name, piece.phase, piece.since_unix, tuple(_part(part) for part in piece.parts), _arrival(piece.done),
        piece.serve_unix, piece.plan, piece.did, piece.late_seconds, lateness(piece.late_seconds), piece.hold_celsius,
        piece.held_seconds, piece.cool_due_unix, _cooling(piece.cooling), piece.on_unix is not None,
        max(danger, default=float("nan")), (DANGER_LOW_CELSIUS, DANGER_HIGH_CELSIUS), DANGER_SOON_SECONDS,
        DANGER_SECONDS, max(come_up, default=float("nan")), (COME_UP_LOW_CELSIUS, COME_UP_HIGH_CELSIUS),
        COME_UP_SOON_SECONDS, COME_UP_SECONDS, min(logs, default=float("nan")), APPENDIX_A_LOGS, NO_FIVE_LOGS, CAUTION,
        piece.advice,
    )  # fmt: skip


def _cooling(rule: str) -> PageCooling:
    limits = LIMITS[CoolingRule(rule)]
    return PageCooling(
        limits.title, limits.from_celsius, limits.first_celsius, limits.first_seconds, limits.second_celsius,
        limits.second_seconds, limits.in_all, OTHER_LIMITS,
    )  # fmt: skip


def _part(part: PartView) -> PagePart:
    return PagePart(
        part.name, part.probe, round(part.celsius, 1), part.wrap_celsius, part.done_celsius,
        round(part.air_celsius, 1), _arrival(part.wrap), _arrival(part.done), part.stall_began_unix,
        part.stall_ended_unix, part.stall_celsius, part.wrap_gain_seconds,
    )  # fmt: skip


def _arrival(arrival: ArrivalView) -> PageArrival:
    return PageArrival(arrival.low_unix, arrival.median_unix, arrival.high_unix, arrival.why)


def _spot(spot: SpotView) -> PageSpot:
    return PageSpot(spot.time_unix, spot.kind, spot.where, spot.value)
