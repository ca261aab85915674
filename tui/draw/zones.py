"""The zones as a table: value, how sure it is, deviation, trend, cold dose."""

import math

from collector.snapshot import Snapshot, ZoneView
from tui.draw.line import Line, Role, fit
from tui.draw.trend import MARKS
from tui.draw.view import View
from tui.draw.words import arrow, degree, difference, number, within

__all__ = ["zone_lines"]

SURE = 36
"""From this width on, it is told how sure each value is."""
ROOMY = 46
"""From this width on, the cold dose is told too."""
OTHER_CELLS = {False: 20, True: 23}
"""Cells of all columns but the name, without and with how sure it is."""
DOSE_CELLS = 12


def zone_lines(snapshot: Snapshot, view: View, width: int) -> list[Line]:
    """Write one line a zone, level by level, each with the mark that its curve has in the trend chart.

    `L` before a value: below the band; `H`: above it; `~`: no probe of its own, read from the map; `?`: not
    watched, for no probe is near enough.
    """
    lines: list[Line] = []
    several = len(snapshot.chamber.levels) > 1
    sure, roomy = width >= SURE, width >= ROOMY
    name_cells = max(8, min(24, width - OTHER_CELLS[sure] - (DOSE_CELLS if roomy else 0)))
    for level in snapshot.chamber.levels:
        zones = [z for z in snapshot.zones if z.level == level]
        if not zones:
            continue
        title = level if several else "zone"
        head = f"{fit(title, name_cells, ascii_only=view.ascii_only)}{degree(view):>5}"
        head += f"{'dev':>{10 if sure else 6}}  trend" + (f"{'cold dose':>{DOSE_CELLS + 1}}" if roomy else "")
        lines.append(((fit(head, width).rstrip(), "faint"),))
        lines += [
            _zone_line(i, zone, snapshot, view, name_cells, sure=sure, roomy=roomy) for i, zone in enumerate(zones)
        ]
    return lines or [(("no zones in the config", "faint"),)]


def _zone_line(
    index: int, zone: ZoneView, snapshot: Snapshot, view: View, name_cells: int, *, sure: bool, roomy: bool
) -> Line:
    outside: Role = "plain"
    sign = " "
    at_grate = zone.level == snapshot.chamber.levels[0]  # the band is meant for the grate
    if at_grate and zone.celsius < snapshot.low_celsius:
        outside, sign = "warn", "L"
    elif at_grate and zone.celsius > snapshot.high_celsius:
        outside, sign = "warn", "H"
    if zone.probes == 0 and not math.isnan(zone.celsius):
        sign = "~"
    if not zone.watched and not math.isnan(zone.celsius):
        sign = "?"
    parts: list[tuple[str, Role]] = [
        (fit(f"{MARKS[index % len(MARKS)]} {zone.name}", name_cells, ascii_only=view.ascii_only), "plain"),
        (f"{sign}{number(zone.celsius, view):>4}", outside if outside == "warn" else "strong"),
        (f" {within(zone.sd_kelvin, view):<4}" if sure else "", "faint"),
        (f"{difference(zone.deviation_kelvin, view):>{5 if sure else 6}}", "plain"),
        (f"  {arrow(zone.trend_kelvin_per_hour, view)}", "plain"),
        (f"{difference(zone.trend_kelvin_per_hour, view):>4}", "faint"),
    ]
    if roomy:
        parts.append((f"{_dose(zone, view):>{DOSE_CELLS}}", "faint"))
    return tuple(parts)


def _dose(zone: ZoneView, view: View) -> str:
    """Write a cold dose; thousands in short, for a pit that went out hours ago."""
    dose = difference(zone.cold_dose_kelvin_minutes, view, signed=False)
    if len(dose) > 4:
        dose = f"{difference(zone.cold_dose_kelvin_minutes / 1000.0, view, signed=False)}k"
    return f"{dose} {degree(view)} min"
