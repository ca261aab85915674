"""The top line: which cook, the fire, the grate, the spread, the time."""

import math

from collector.snapshot import Snapshot
from tui.draw.line import Line, Part, width
from tui.draw.view import View
from tui.draw.words import age, arrow, clock_seconds, degree, difference, temperature

__all__ = ["heading_line"]


def heading_line(snapshot: Snapshot | None, view: View, cells: int) -> Line:
    """Write the top line; what finds no room is left out, the least telling first."""
    if snapshot is None:
        return ((" coldside", "strong"), ("  no values yet", "faint"))
    fire, unit = snapshot.fire, degree(view)
    spread = difference(snapshot.evenness.spread_kelvin, view, signed=False)
    must: list[Part] = [
        (f" {clock_seconds(snapshot.now_unix, view)} ", "plain"),
        (f" grate {temperature(fire.level_celsius, view)} {arrow(fire.slope_kelvin_per_hour, view)}", "strong"),
        (f" spread {spread} {unit} ", "strong"),
        (f" {fire.phase} ", "plain"),
    ]
    may: list[Part] = [(f" {snapshot.cook}, {age(snapshot.now_unix - snapshot.started_unix)} ", "faint")]
    if snapshot.store.throwaway:
        may.insert(0, (" not kept ", "warn"))
    if not math.isclose(snapshot.speed, 1.0):
        may.insert(0, (f" played x{snapshot.speed:g} ", "warn"))
    for part in may:
        if width((*must, part)) <= cells:
            must.append(part)
    return tuple(must)
