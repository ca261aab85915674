"""The maps of a report: at moments, and as mean, swing and cold dose over the steady stretch. Pure."""

from collections.abc import Callable, Sequence

import msgspec
import numpy as np
from msgspec import Struct

from collector.model.field import Array
from collector.model.plan import GRATE
from collector.raster import Raster
from collector.report.minutes import is_steady
from collector.report.quantities import Celsius, Metres, Share, UnixOrNone, known
from collector.snapshot import FieldView, Phase, ProbeView, Snapshot

__all__ = ["UNKNOWN_KELVIN", "ChamberMap", "MapFacts", "MapNumber", "coldest_moment", "map_at", "maps_over"]

COLUMNS, ROWS = 96, 40
UNKNOWN_KELVIN = 4.0
"""Where the map's own standard deviation is greater, it is hatched, as on the screen."""
MOST_RASTERS = 90
"""So many moments make the means: one in eight minutes of a night."""


class MapNumber(Struct, frozen=True):
    """A number on a map."""

    name: str
    x_m: Metres
    y_m: Metres
    value: float | None
    believed: bool
    """False: the map does not rest on this probe."""


class MapFacts(Struct, frozen=True):
    """What a map shows, in numbers."""

    kind: str
    """`moment`, `mean`, `swing` or `dose`."""
    title: str
    level: str
    time_unix: UnixOrNone
    """Of a moment."""
    unit: str
    """Of its numbers: `celsius`, `kelvin` (a swing) or `kelvin_minutes` (a dose)."""
    coldest: MapNumber
    """Where it is least."""
    hottest: MapNumber
    """Where it is most."""
    unknown_share: Share
    """Share of the level where the map does not know: its own standard deviation is above 4 K."""
    probes: tuple[MapNumber, ...]
    zones: tuple[MapNumber, ...]
    """At the middle of each zone, its mean."""
    low: Celsius
    high: Celsius


class ChamberMap(msgspec.Struct, frozen=True):
    """A map to be drawn: column 0 of its grid lies at the left as the cook sees the pit, row 0 at the back."""

    facts: MapFacts
    values: Array
    """Shape (rows, columns)."""
    unknown: Array
    """Where it is hatched: 1, else 0, shape (rows, columns)."""


def coldest_moment(moments: Sequence[Snapshot]) -> Snapshot | None:
    """Find the steady moment at which a zone of the grate stood furthest below its level; None: there is none."""
    found = [(min(_deviations(m)), k) for k, m in enumerate(moments) if is_steady(m) and _deviations(m)]
    return moments[min(found)[1]] if found else None


def _deviations(moment: Snapshot) -> list[float]:
    return [z.deviation_kelvin for z in moment.zones if z.level == GRATE and np.isfinite(z.deviation_kelvin)]


def map_at(moment: Snapshot, title: str, level: str = GRATE) -> ChamberMap | None:
    """Draw one level at one moment; None where no probe tells of it."""
    field = next((f for f in moment.fields if f.level == level), None)
    if field is None or not _drawable(moment):
        return None
    values, sd = Raster().draw(field, moment.chamber, COLUMNS, ROWS)
    probes = tuple(MapNumber(p.name, p.x_m, p.y_m, known(p.celsius), p.used) for p in _placed(moment, level))
    zones = [(z.name, z, z.celsius) for z in moment.zones if z.level == level]
    return _map("moment", title, level, "celsius", values, sd, probes, zones, moment, moment.now_unix)


def maps_over(moments: Sequence[Snapshot], level: str = GRATE) -> tuple[ChamberMap, ...]:
    """Draw mean and swing of a level over the steady stretch, and its cold dose; none where no map is known.

    The swing of a place is the standard deviation over time of its temperature. Its cold dose is what was missing to
    the lower edge of the band, summed over all time in which the fire was lit and the lid shut, dying or not.
    """
    known_ones = [m for m in moments if _field(m, level) is not None and _drawable(m)]
    steady = _stretch([m for m in known_ones if is_steady(m)], level)
    lit = _stretch([m for m in known_ones if m.fire.phase is Phase.STEADY], level)
    made: list[ChamberMap] = []
    if steady is not None:
        made += [
            steady.map("mean", "Mean while steady", "celsius", steady.values.mean(axis=0), _mean),
            steady.map("swing", "Swing while steady", "kelvin", steady.values.std(axis=0), _std),
        ]
    if lit is not None:
        low, minutes = lit.low, lit.minutes
        dose = (np.maximum(low[:, None, None] - lit.values, 0.0) * minutes[:, None, None]).sum(axis=0)
        made.append(
            lit.map(
                "dose", "Cold dose", "kelvin_minutes", dose,
                lambda column: float(np.nansum(np.maximum(low - column, 0.0) * minutes)),
            )
        )  # fmt: skip
    return tuple(made)


class _Stretch(msgspec.Struct, frozen=True):
    """Some moments of a level, drawn."""

    level: str
    last: Snapshot
    values: Array
    """°C, shape (moments, rows, columns)."""
    sd: Array
    """Mean standard deviation of the map, kelvin, shape (rows, columns)."""
    minutes: Array
    """For how long each moment stands, shape (moments,)."""
    low: Array
    """Lower edge of the band, °C, shape (moments,)."""
    probes: Array
    """°C of the level's probes, NaN where not believed, shape (moments, probes)."""
    zones: Array
    """°C of its zones, shape (moments, zones)."""

    def map(self, kind: str, title: str, unit: str, grid: Array, reduce: Callable[[Array], float]) -> ChamberMap:
        """Make a map of what the moments are reduced to."""
        probes = tuple(
            MapNumber(
                p.name,
                p.x_m,
                p.y_m,
                known(_reduced(self.probes[:, k], reduce)),
                bool(np.isfinite(self.probes[:, k]).any()),
            )
            for k, p in enumerate(_placed(self.last, self.level))
        )
        zones = [
            (z.name, z, _reduced(self.zones[:, k], reduce))
            for k, z in enumerate(z for z in self.last.zones if z.level == self.level)
        ]
        return _map(kind, title, self.level, unit, grid, self.sd, probes, zones, self.last, None)


def _stretch(moments: Sequence[Snapshot], level: str) -> _Stretch | None:
    """Draw so many of the moments as tell as well as all; None where there is none."""
    if not moments:
        return None
    step = -(-len(moments) // MOST_RASTERS)
    minutes = np.array([_minutes_for(moments, k) for k in range(len(moments))])
    picked, last = moments[::step], moments[-1]
    raster = Raster()
    drawn = [raster.draw(field, m.chamber, COLUMNS, ROWS) for m in picked if (field := _field(m, level)) is not None]
    zones = [z.name for z in last.zones if z.level == level]
    return _Stretch(
        level, last, np.array([values for values, _ in drawn]), np.array([sd for _, sd in drawn]).mean(axis=0),
        np.add.reduceat(minutes, np.arange(0, len(moments), step)), np.array([m.low_celsius for m in picked]),
        np.array([[_value(m, p.name) for p in _placed(last, level)] for m in picked], dtype=np.float64),
        np.array([[_zone(m, name) for name in zones] for m in picked], dtype=np.float64),
    )  # fmt: skip


def _placed(moment: Snapshot, level: str) -> list[ProbeView]:
    return [
        p for p in moment.probes
        if p.duty == "chamber" and p.level == level and p.x_m is not None and p.y_m is not None
    ]  # fmt: skip


def _reduced(column: Array, reduce: Callable[[Array], float]) -> float:
    return reduce(column) if np.isfinite(column).any() else float("nan")


def _drawable(moment: Snapshot) -> bool:
    return moment.chamber.length_m > 0.0 and moment.chamber.width_m > 0.0


def _field(moment: Snapshot, level: str) -> FieldView | None:
    return next((f for f in moment.fields if f.level == level), None)


def _minutes_for(moments: Sequence[Snapshot], k: int) -> float:
    """Give for how long a moment stands: until the next, where that is near."""
    following = moments[k + 1].now_unix if k + 1 < len(moments) else moments[k].now_unix + 120.0
    return min(following - moments[k].now_unix, 300.0) / 60.0


def _value(moment: Snapshot, name: str) -> float:
    return next((p.celsius for p in moment.probes if p.name == name and p.used), np.nan)


def _zone(moment: Snapshot, name: str) -> float:
    return next((z.celsius for z in moment.zones if z.name == name), np.nan)


def _mean(column: Array) -> float:
    return float(np.nanmean(column))


def _std(column: Array) -> float:
    return float(np.nanstd(column))


def _map(
    kind: str, title: str, level: str, unit: str, values: Array, sd: Array, probes: tuple[MapNumber, ...],
    zones: Sequence[tuple[str, object, float]], moment: Snapshot, time_unix: float | None,
) -> ChamberMap:  # fmt: skip
    unknown = (sd > UNKNOWN_KELVIN).astype(np.float64)
    at = [np.unravel_index(int(pick(values)), values.shape) for pick in (np.argmin, np.argmax)]
    ends = [
        MapNumber(
            name, *_place(moment, int(row), int(column)), known(float(values[row, column])),
            bool(unknown[row, column] == 0.0),
        )
        for name, (row, column) in zip(("coldest", "hottest"), at, strict=True)
    ]  # fmt: skip
    middles = tuple(
        MapNumber(name, known((z.x0_m + z.x1_m) / 2), known((z.y0_m + z.y1_m) / 2), known(value), True)  # type: ignore[attr-defined]
        for name, z, value in zones
    )
    facts = MapFacts(
        kind, title, level, time_unix, unit, ends[0], ends[1], known(float(unknown.mean())), probes, middles,
        known(moment.low_celsius), known(moment.high_celsius),
    )  # fmt: skip
    return ChamberMap(facts, values, unknown)


def _place(moment: Snapshot, row: int, column: int) -> tuple[float | None, float | None]:
    x = (column + 0.5) / COLUMNS * moment.chamber.length_m
    x = x if moment.chamber.fire_side == "left" else moment.chamber.length_m - x
    return known(x), known((row + 0.5) / ROWS * moment.chamber.width_m)
