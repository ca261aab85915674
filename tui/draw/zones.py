"""The zones as a table: value, deviation, trend, cold dose."""

import math

from collector.snapshot import Snapshot, ZoneView
from tui.draw.line import Line, Role, fit
from tui.draw.trend import MARKS
from tui.draw.view import View
from tui.draw.words import arrow, degree, difference, number

__all__ = ["zone_lines"]

ROOMY = 46
"""From this width on, the cold dose is told too."""


def zone_lines(snapshot: Snapshot, view: View, width: int) -> list[Line]:
    """Write one line a zone, level by level, each with the mark that its curve has in the trend chart."""
    lines: list[Line] = []
    several = len(snapshot.chamber.levels) > 1
    roomy = width >= ROOMY
    name_cells = max(8, min(24, width - (34 if roomy else 20)))
    for level in snapshot.chamber.levels:
        zones = [z for z in snapshot.zones if z.level == level]
        if not zones:
            continue
        title = level if several else "zone"
        head = f"{fit(title, name_cells, ascii_only=view.ascii_only)}{degree(view):>5}{'dev':>6}  trend"
        if roomy:
            head += "     cold dose"
        lines.append(((fit(head, width).rstrip(), "faint"),))
        lines += [_zone_line(i, zone, snapshot, view, name_cells, roomy) for i, zone in enumerate(zones)]
    return lines or [(("no zones in the config", "faint"),)]


def _zone_line(index: int, zone: ZoneView, snapshot: Snapshot, view: View, name_cells: int, roomy: bool) -> Line:
    outside: Role = "plain"
    sign = " "
    at_grate = zone.level == snapshot.chamber.levels[0]  # the band is meant for the grate
    if at_grate and zone.celsius < snapshot.low_celsius:
        outside, sign = "warn", "v" if view.ascii_only else "▼"
    elif at_grate and zone.celsius > snapshot.high_celsius:
        outside, sign = "warn", "^" if view.ascii_only else "▲"
    if zone.probes == 0 and not math.isnan(zone.celsius):
        sign = "~"
    parts: list[tuple[str, Role]] = [
        (fit(f"{MARKS[index % len(MARKS)]} {zone.name}", name_cells, ascii_only=view.ascii_only), "plain"),
        (f"{sign}{number(zone.celsius, view):>4}", outside if outside == "warn" else "strong"),
        (f"{difference(zone.deviation_kelvin, view):>6}", "plain"),
        (f"  {arrow(zone.trend_kelvin_per_hour, view)}", "plain"),
        (f"{difference(zone.trend_kelvin_per_hour, view):>4}", "faint"),
    ]
    if roomy:
        dose = difference(zone.cold_dose_kelvin_minutes, view, signed=False)
        parts.append((f"{dose + ' ' + degree(view) + ' min':>15}", "faint"))
    return tuple(parts)
