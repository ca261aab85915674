"""Which curves the trend chart shows: the zones of a level, the spread, or the meat."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from collector.snapshot import Snapshot
from tui.draw.marks import standing
from tui.draw.trend import Curve, Guide, Sign
from tui.draw.trend_log import TrendLog
from tui.draw.view import View
from tui.draw.words import difference_number, temperature_number

__all__ = ["CHARTS", "Chart", "ChartKind", "choose_chart"]

ChartKind = Literal["zones", "spread", "meat"]
CHARTS: tuple[ChartKind, ...] = ("zones", "spread", "meat")
SIGNS = {
    "note": "n", "split": "s", "lid": "i", "spritz": "r", "wrap": "w", "turned": "t", "moved": "m", "seen-lid": "I",
    "seen-refuel": "S", "seen-stall": "F",
}  # fmt: skip
"""The letter of each mark: the key that makes it, a capital for what the curves themselves show, of the fire its F."""


@dataclass(frozen=True, slots=True)
class Chart:
    """All that the chart needs, in the unit on show."""

    time_unix: NDArray[np.float64]
    curves: tuple[Curve, ...]
    guides: tuple[Guide, ...]
    window: tuple[float, float]
    title: str
    signs: tuple[Sign, ...] = ()


def choose_chart(log: TrendLog, snapshot: Snapshot, kind: ChartKind, level: str, hours: float, view: View) -> Chart:
    """Pick the curves of a kind over the last hours before the snapshot."""
    window = (snapshot.now_unix - hours * 3600.0, snapshot.now_unix)
    time_unix = log.time_unix.copy()
    guides: tuple[Guide, ...] = ()
    curves: tuple[Curve, ...]
    if kind == "spread":
        curves = (Curve("spread", _differences(log.spread_kelvin, view)),)
        guides = (Guide(0.0),)
    elif kind == "meat":
        meat = [(i, p) for i, p in enumerate(snapshot.probes) if p.duty == "meat"]
        curves = tuple(Curve(p.name, _temperatures(log.probe_celsius(i), view)) for i, p in meat)
        targets = {p.target_celsius for _, p in meat if not math.isnan(p.target_celsius)}
        guides = tuple(Guide(temperature_number(t, view)) for t in sorted(targets))
    else:
        zones = [(i, z) for i, z in enumerate(snapshot.zones) if z.level == level]
        curves = tuple(Curve(z.name, _temperatures(log.zone_celsius(i), view)) for i, z in zones)
        band = (snapshot.low_celsius, snapshot.high_celsius)
        guides = tuple(Guide(temperature_number(end, view)) for end in band)
    title = f"{kind}, {hours:g} h"
    if kind == "zones" and len(snapshot.chamber.levels) > 1:
        title = f"zones at the {level}, {hours:g} h"
    signs = tuple(Sign(m.time_unix, SIGNS.get(m.kind, "*")) for m in standing(snapshot))
    return Chart(time_unix, curves, guides, window, title, signs)


def _temperatures(celsius: NDArray[np.float64], view: View) -> NDArray[np.float64]:
    return np.asarray(celsius * 1.8 + 32.0 if view.fahrenheit else celsius.copy())


def _differences(kelvin: NDArray[np.float64], view: View) -> NDArray[np.float64]:
    return np.asarray(kelvin * difference_number(1.0, view))
