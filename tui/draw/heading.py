"""The top line: which cook, the fire, the grate, the spread, the time."""

import math

from adapters.source import LinkState
from collector.snapshot import Snapshot
from tui.draw.fire_state import fire_state
from tui.draw.line import Line, Part, width
from tui.draw.view import View
from tui.draw.words import age, arrow, clock_seconds, degree, difference, temperature

__all__ = ["ended", "fire_words", "heading_line"]


def ended(snapshot: Snapshot) -> bool:
    """Tell whether nothing more will come: every source has played its recording to the end."""
    return bool(snapshot.sources) and all(s.state is LinkState.ENDED for s in snapshot.sources)


def fire_words(snapshot: Snapshot) -> str:
    """Name the phase of the fire, or say that it is a fire of the past."""
    return "the recording has ended" if ended(snapshot) else fire_state(snapshot)[0]


def heading_line(snapshot: Snapshot | None, view: View, cells: int) -> Line:
    """Write the top line; what finds no room is left out, the least telling first."""
    if snapshot is None:
        return ((" coldside", "strong"), ("  no values yet", "faint"))
    over = ended(snapshot)
    fire, unit = snapshot.fire, degree(view)
    spread = difference(snapshot.evenness.spread_kelvin, view, signed=False)
    going = "" if over else arrow(fire.slope_kelvin_per_hour, view)
    must: list[Part] = [
        (f" {clock_seconds(snapshot.now_unix, view)} ", "plain"),
        (f" grate {temperature(fire.level_celsius, view)} {going}", "strong"),
        (f" spread {spread} {unit} ", "strong"),
        (f" {fire_words(snapshot)} ", "warn" if over else "plain"),
    ]
    down = [s.name for s in snapshot.sources if s.state in (LinkState.DOWN, LinkState.CONNECTING)]
    cook = f" {snapshot.cook}, {age(snapshot.now_unix - snapshot.started_unix)} "
    may: list[tuple[Part, ...]] = []
    """What is added while there is room, each in its longest form that fits."""
    if not over and not math.isclose(snapshot.speed, 1.0):
        may.append(((f" played x{snapshot.speed:g} ", "warn"),))
    if snapshot.store.throwaway:
        may.append(((" not kept ", "warn"),))
    if down:
        number = f"all {len(down)}" if len(down) == len(snapshot.sources) > 1 else f"{len(down)}"
        plural = "" if len(down) == 1 else "s"
        may.append(
            ((f" {', '.join(down)} DOWN ", "alarm"), (f" {number} source{plural} DOWN ", "alarm"), (" DOWN ", "alarm"))
        )
    may.append(((cook, "faint"),))
    for forms in may:
        part = next((form for form in forms if width((*must, form)) <= cells), None)
        if part is not None:
            must.append(part)
    return tuple(must)
