"""Which curves the trend chart shows: the zones of a level, the spread, or the meat."""

import math
from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from collector.snapshot import Snapshot
from tui.draw.arrival import believable, is_time
from tui.draw.marks import standing
from tui.draw.trend import Band, Curve, Guide, Sign
from tui.draw.trend_log import TrendLog
from tui.draw.view import View
from tui.draw.words import difference_number, temperature_number

__all__ = ["CHARTS", "Chart", "ChartKind", "choose_chart"]

MOST_AHEAD_HOURS = 12
ChartKind = Literal["zones", "spread", "meat"]
CHARTS: tuple[ChartKind, ...] = ("zones", "spread", "meat")
SIGNS = {
    "note": "n", "split": "s", "lid": "i", "spritz": "r", "wrap": "w", "turned": "t", "moved": "m", "seen-lid": "I",
    "seen-refuel": "S", "seen-stall": "F",
}  # fmt: skip
"""The letter of each mark: the key that makes it, a capital for what the curves themselves show, of the fire its F."""


class Chart(msgspec.Struct, frozen=True):
    """All that the chart needs, in the unit on show."""

    time_unix: NDArray[np.float64]
    curves: tuple[Curve, ...]
    guides: tuple[Guide, ...]
    window: tuple[float, float]
    title: str
    signs: tuple[Sign, ...] = ()
    bands: tuple[Band, ...] = ()
    now_unix: float | None = None
    """Where what is foretold begins; None where nothing is."""


def choose_chart(
    log: TrendLog, snapshot: Snapshot, kind: ChartKind, level: str, hours: float, view: View, *, ahead: bool = True
) -> Chart:
    """Pick the curves of a kind over the last hours before the snapshot.

    Args:
        log: the trend so far.
        snapshot: the cook now.
        kind: which curves.
        level: whose zones.
        hours: so far back.
        view: choices of display.
        ahead: of the meat, show what is expected of it too.
    """
    window = (snapshot.now_unix - hours * 3600.0, snapshot.now_unix)
    time_unix = log.time_unix.copy()
    guides: tuple[Guide, ...] = ()
    bands: tuple[Band, ...] = ()
    curves: tuple[Curve, ...]
    if kind == "spread":
        curves = (Curve("spread", _differences(log.spread_kelvin, view)),)
        guides = (Guide(0.0),)
    elif kind == "meat":
        meat = [(i, p) for i, p in enumerate(snapshot.probes) if p.duty == "meat"]
        curves = tuple(Curve(p.name, _temperatures(log.probe_celsius(i), view)) for i, p in meat)
        bands = _bands(snapshot, [p.name for _, p in meat], view) if ahead else ()
        parts = [part for piece in snapshot.meat for part in piece.parts]
        asked = [*(p.target_celsius for _, p in meat), *(part.done_celsius for part in parts)]
        targets = {believable(target) for target in asked if not math.isnan(believable(target))}
        guides = tuple(Guide(temperature_number(t, view)) for t in sorted(targets))
    else:
        zones = [(i, z) for i, z in enumerate(snapshot.zones) if z.level == level]
        curves = tuple(Curve(z.name, _temperatures(log.zone_celsius(i), view)) for i, z in zones)
        band = (snapshot.low_celsius, snapshot.high_celsius)
        guides = tuple(Guide(temperature_number(end, view)) for end in band)
    hours_ahead = _hours_ahead(snapshot, hours) if bands else 0
    title = f"{kind}, {hours:g} h"
    if hours_ahead:
        window = (window[0], window[1] + hours_ahead * 3600.0)
        title += f", {hours_ahead} h ahead"
    if kind == "zones" and len(snapshot.chamber.levels) > 1:
        title = f"zones at the {level}, {hours:g} h"
    signs = tuple(Sign(m.time_unix, SIGNS.get(m.kind, "*")) for m in standing(snapshot))
    return Chart(
        time_unix, curves, guides, window, title, signs, bands, snapshot.now_unix if hours_ahead else None
    )  # fmt: skip


def _bands(snapshot: Snapshot, names: list[str], view: View) -> tuple[Band, ...]:
    """Give what is expected of each part that cooks and whose probe is drawn, from its value now on."""
    now = snapshot.now_unix
    bands = []
    for piece in snapshot.meat:
        for part in piece.parts:
            celsius = believable(part.celsius)
            rows = [
                (a.time_unix, a.low_celsius, a.median_celsius, a.high_celsius)
                for a in part.ahead
                if a.time_unix > now and math.isfinite(believable(a.low_celsius + a.median_celsius + a.high_celsius))
            ]
            if part.probe not in names or not rows or not is_time(rows[-1][0]):
                continue
            if not math.isnan(celsius):
                rows.insert(0, (now, celsius, celsius, celsius))
            at = np.array(rows)
            low, median, high = (_temperatures(at[:, k], view) for k in (1, 2, 3))
            bands.append(Band(names.index(part.probe), at[:, 0], low, median, high))
    return tuple(bands)


def _hours_ahead(snapshot: Snapshot, hours: float) -> int:
    """Choose whole hours to look ahead: until nine of ten are done, and no more than twice what is behind."""
    parts = [part for piece in snapshot.meat for part in piece.parts]
    late = [part.done.high_unix for part in parts if is_time(part.done.high_unix)]
    last = [ahead.time_unix for part in parts for ahead in part.ahead if is_time(ahead.time_unix)]
    wanted = max(late or last, default=snapshot.now_unix) - snapshot.now_unix
    return max(1, min(MOST_AHEAD_HOURS, math.ceil(2 * hours), math.ceil(wanted / 3600.0)))


def _temperatures(celsius: NDArray[np.float64], view: View) -> NDArray[np.float64]:
    return np.asarray(celsius * 1.8 + 32.0 if view.fahrenheit else celsius.copy())


def _differences(kelvin: NDArray[np.float64], view: View) -> NDArray[np.float64]:
    return np.asarray(kelvin * difference_number(1.0, view))
