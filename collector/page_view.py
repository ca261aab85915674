"""What the phone page is sent: a small view of a snapshot, and what it may ask. Degrees Celsius, the page converts.

NaN travels as null. The page speaks a dialect of its own, so that it never has to know the dashboards' wire.
"""

import math
from collections.abc import Callable, Iterable
from typing import TypeVar

import msgspec
import numpy as np

from adapters.reading import Quality
from collector import wire
from collector.faults import FaultBook
from collector.page_meat import PageMeat, PageSpot, PageTurn, page_meat, page_spots
from collector.raster import Raster
from collector.snapshot import (
    CALLING,
    AlarmView,
    FieldView,
    Mark,
    ProbeView,
    Snapshot,
    TrendPoint,
    TroubleView,
    Verdict,
    ZoneView,
)
from collector.words import MEANT, PRIORITY_WORDS, REASON_WORDS, SEEN_WORDS, STATE_WORDS, fire_words

__all__ = [
    "PageAcknowledge",
    "PageAsk",
    "PageHello",
    "PageReply",
    "PageTrend",
    "PageView",
    "PageViewer",
    "command_of",
    "thinned",
]

COLUMNS, ROWS = 28, 12
"""Of the map: a cell is some 4 cm of a usual pit, less than probes can tell."""
UNKNOWN_KELVIN = 4.0
"""Where the map's own standard deviation is greater, the page hatches it."""
TREND_SECONDS = 6 * 3600.0
TREND_STEP_SECONDS = 120.0
NEWEST_MARKS = 8
CRITICAL_PARTS = ("zones", "meat", "alarms")
"""Parts of the page that somebody may rely on to be woken."""

T = TypeVar("T")


class PageHello(msgspec.Struct, frozen=True, tag_field="kind", tag="hello"):
    """First word: what this browser may do, and in which unit the cook reads."""

    may: str
    unit: str
    """`F` or `C`."""
    coldside: str


class PageReply(msgspec.Struct, frozen=True, tag_field="kind", tag="reply"):
    """What became of what the page asked for."""

    number: int
    done: bool
    why: str


class PageTrend(msgspec.Struct, frozen=True, tag_field="kind", tag="trend"):
    """Rows of the trend, oldest first: time, the grate, then the zones in the order of the view."""

    rows: tuple[tuple[float, ...], ...]
    whole: bool
    """These replace what the page has; else they follow it."""


class PageZone(msgspec.Struct, frozen=True):
    """A zone."""

    name: str
    level: str
    celsius: float
    deviation_kelvin: float
    """Less the mean of its level; the deficit, where below zero."""
    trend_kelvin_per_hour: float
    probes: int
    heard_unix: float | None
    """Of the probe of its own that was heard longest ago; None where it has none and the map tells it."""
    outside: str
    """`low` or `high` of the band; empty inside, and at other levels than the grate."""
    watched: bool = True
    """False where no probe is near enough for its cold alarm."""


class PageProbe(msgspec.Struct, frozen=True):
    """A probe."""

    name: str
    duty: str
    level: str
    x: float | None
    """Share of the picture's width from its left."""
    y: float | None
    """Share of its height from the back."""
    celsius: float
    target_celsius: float
    trend_kelvin_per_hour: float
    heard_unix: float | None
    silent: bool
    doubt: str
    """Why it is not to be believed; empty when it is."""


class PageTrouble(msgspec.Struct, frozen=True):
    """What is wrong, and what it asks for."""

    key: str
    """What to acknowledge."""
    title: str
    what: str
    priority: str
    urgent: bool
    state: str
    calls: bool
    """Nobody has acknowledged it."""
    active: bool
    since_unix: float
    value: float
    limit: float
    unit: str
    meant: str
    """What the value is, `{}` for the value."""


class PageMap(msgspec.Struct, frozen=True):
    """The grate from above: row 0 at the back, column 0 at the left as the cook sees it from the door."""

    level: str
    mean: tuple[tuple[float, ...], ...]
    unknown: tuple[str, ...]
    """A row each: `1` where the map does not know."""
    low_celsius: float
    high_celsius: float
    """Ends of the colour scale."""


class PageMark(msgspec.Struct, frozen=True):
    """Something the cook did, or the curves show."""

    time_unix: float
    what: str


class PageView(msgspec.Struct, frozen=True, tag_field="kind", tag="view"):
    """The cook now."""

    now_unix: float
    cook: str
    started_unix: float
    speed: float
    fire: str
    fire_wants_an_eye: bool
    grate_celsius: float
    slope_kelvin_per_hour: float
    target_celsius: float
    low_celsius: float
    high_celsius: float
    spread_kelvin: float
    split_due_unix: float | None
    length_m: float
    width_m: float
    shape: str
    fire_side: str
    map: PageMap | None
    zones: tuple[PageZone, ...]
    probes: tuple[PageProbe, ...]
    troubles: tuple[PageTrouble, ...]
    marks: tuple[PageMark, ...]
    sources_down: tuple[str, ...]
    unsaved: str
    """Why readings are not on disk; empty while they are."""
    meat: tuple[PageMeat, ...] = ()
    spots: tuple[PageSpot, ...] = ()
    """What was read by hand, the newest first."""


class PageAcknowledge(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="do", tag="acknowledge"):
    """The cook has seen this trouble."""

    number: int
    key: str


PageAsk = PageAcknowledge | PageTurn
"""What a page may ask for."""


def command_of(asked: PageAsk) -> wire.Acknowledge | wire.TurnMeat:
    """Say it as a dashboard would."""
    if isinstance(asked, PageTurn):
        return wire.TurnMeat(asked.number, asked.piece, asked.phase)
    return wire.Acknowledge(asked.number, asked.key)


class PageViewer:
    """Makes views; keeps what the map needs from one to the next.

    Args:
        faults: contains a part of the page that cannot be built; the page names it among what is wrong.
    """

    def __init__(self, faults: FaultBook | None = None) -> None:
        self._raster = Raster()
        self._faults = faults or FaultBook()

    def view(self, snapshot: Snapshot) -> PageView:
        """Make the view of a snapshot; a part that cannot be built is left out, and named among the troubles."""
        now, fire, chamber = snapshot.now_unix, snapshot.fire, snapshot.chamber

        def part(name: str, build: Callable[[], tuple[T, ...]]) -> tuple[T, ...]:
            return self._faults.attempt(
                f"phone: {name}", now, build, lambda: (), critical=name in CRITICAL_PARTS, lasting=False
            )

        words, eye = self._faults.attempt(
            "phone: fire",
            now,
            lambda: fire_words(snapshot),
            lambda: ("not available", True),
            critical=True,
            lasting=False,
        )
        page_map = self._faults.attempt("phone: map", now, lambda: self._map(snapshot), lambda: None, lasting=False)
        zones = part("zones", lambda: tuple(_zone(zone, snapshot) for zone in snapshot.zones))
        probes = part("probes", lambda: tuple(_probe(probe, snapshot) for probe in snapshot.probes))
        marks = part("marks", lambda: tuple(PageMark(m.time_unix, _mark_words(m)) for m in _newest(snapshot.marks)))
        meat = part("meat", lambda: page_meat(snapshot))
        spots = part("readings by hand", lambda: page_spots(snapshot))
        troubles = part("alarms", lambda: _troubles(snapshot, snapshot.troubles))
        shown = {trouble.key for trouble in troubles}
        own = tuple(fault for fault in self._faults.troubles(now) if fault.key not in shown)
        return PageView(
            now_unix=snapshot.now_unix,
            cook=snapshot.cook,
            started_unix=snapshot.started_unix,
            speed=snapshot.speed,
            fire=words,
            fire_wants_an_eye=eye,
            grate_celsius=_rounded(fire.level_celsius),
            slope_kelvin_per_hour=_rounded(fire.slope_kelvin_per_hour),
            target_celsius=snapshot.target_celsius,
            low_celsius=snapshot.low_celsius,
            high_celsius=snapshot.high_celsius,
            spread_kelvin=_rounded(snapshot.evenness.spread_kelvin),
            split_due_unix=fire.refuel_due_unix,
            length_m=chamber.length_m,
            width_m=chamber.width_m,
            shape=chamber.shape,
            fire_side=chamber.fire_side,
            map=page_map,
            zones=zones,
            probes=probes,
            troubles=(*_troubles(snapshot, own), *troubles),
            marks=marks,
            sources_down=tuple(s.name for s in snapshot.sources if s.why),
            unsaved=snapshot.store.fault,
            meat=meat,
            spots=spots,
        )

    def _map(self, snapshot: Snapshot) -> PageMap | None:
        field: FieldView | None = next(iter(snapshot.fields), None)
        if field is None:
            return None
        mean, sd = self._raster.draw(field, snapshot.chamber, COLUMNS, ROWS)
        unknown = sd > UNKNOWN_KELVIN
        known = mean[~unknown & np.isfinite(mean)]
        low = min(snapshot.low_celsius, float(known.min()) if known.size else math.inf)
        high = max(snapshot.high_celsius, float(known.max()) if known.size else -math.inf)
        return PageMap(
            field.level,
            tuple(tuple(row) for row in np.round(mean, 1).tolist()),
            tuple("".join("1" if cell else "0" for cell in row) for row in unknown.tolist()),
            math.floor(low / 10.0) * 10.0,
            math.ceil(high / 10.0) * 10.0,
        )


def thinned(points: Iterable[TrendPoint], after_unix: float) -> tuple[tuple[float, ...], ...]:
    """Give the first row of every two minutes after a time: time, the grate, the zones."""
    rows = []
    step = math.floor(after_unix / TREND_STEP_SECONDS)
    for point in points:
        at = math.floor(point.time_unix / TREND_STEP_SECONDS)
        if at > step:
            step = at
            values = (point.grate_celsius, *point.zones)
            rows.append((float(round(point.time_unix)), *(_rounded(value) for value in values)))
    return tuple(rows)


def _rounded(value: float) -> float:
    return round(value, 1)


def _zone(zone: ZoneView, snapshot: Snapshot) -> PageZone:
    held = [p for p in snapshot.probes if p.used and p.level == zone.level and _inside(p, zone)]
    heard = [p.heard_unix for p in held if p.heard_unix is not None]
    outside = ""
    if zone.level == snapshot.chamber.levels[0]:  # the band is meant for the grate
        below, above = zone.celsius < snapshot.low_celsius, zone.celsius > snapshot.high_celsius
        outside = "low" if below else "high" if above else ""
    return PageZone(
        zone.name, zone.level, _rounded(zone.celsius), _rounded(zone.deviation_kelvin),
        _rounded(zone.trend_kelvin_per_hour), zone.probes, min(heard, default=None), outside, zone.watched,
    )  # fmt: skip


def _inside(probe: ProbeView, zone: ZoneView) -> bool:
    if probe.duty != "chamber" or probe.x_m is None or probe.y_m is None:
        return False
    return zone.x0_m <= probe.x_m <= zone.x1_m and zone.y0_m <= probe.y_m <= zone.y1_m


def _probe(probe: ProbeView, snapshot: Snapshot) -> PageProbe:
    chamber = snapshot.chamber
    x = None if probe.x_m is None else probe.x_m / chamber.length_m
    if x is not None and chamber.fire_side != "left":
        x = 1.0 - x
    doubt = ""
    if probe.heard_unix is None:
        doubt = "never heard"
    elif probe.quality is not Quality.GOOD:
        doubt = REASON_WORDS[probe.reason]
    return PageProbe(
        probe.name, probe.duty, probe.level or "", x, None if probe.y_m is None else probe.y_m / chamber.width_m,
        _rounded(probe.celsius), probe.target_celsius, _rounded(probe.trend_kelvin_per_hour), probe.heard_unix,
        probe.silent, doubt,
    )  # fmt: skip


def _troubles(snapshot: Snapshot, troubles: Iterable[TroubleView]) -> tuple[PageTrouble, ...]:
    by_key: dict[str, AlarmView] = {alarm.key: alarm for alarm in snapshot.alarms}
    told = []
    for trouble in troubles:
        leading = by_key.get(trouble.alarms[0]) if trouble.alarms else None
        meant = MEANT.get(leading.rule, "{}") if leading and trouble.unit != "celsius" else "{}"
        told.append(
            PageTrouble(
                trouble.key, trouble.title, trouble.what, PRIORITY_WORDS[trouble.priority], trouble.priority == 1,
                STATE_WORDS[trouble.state], trouble.state in CALLING, trouble.active, trouble.since_unix,
                trouble.value, trouble.limit, trouble.unit, meant,
            )
        )  # fmt: skip
    return tuple(told)


def _newest(marks: tuple[Mark, ...]) -> list[Mark]:
    """List the newest marks, the newest first, without those that were taken back."""
    return [mark for mark in reversed(marks) if mark.verdict is not Verdict.DELETED][:NEWEST_MARKS]


def _mark_words(mark: Mark) -> str:
    return SEEN_WORDS.get(mark.kind) or (f"{mark.kind}: {mark.text}" if mark.text else mark.kind)
