"""The fire in a few lines: phase, level, slope with its interval, time to the limit, lid and refuels."""

import math

from collector.snapshot import Phase, Snapshot
from tui.draw.fire_state import fire_state
from tui.draw.line import Line, Role, wrapped
from tui.draw.view import View
from tui.draw.words import age, arrow, clock, degree, difference, slope, temperature

__all__ = ["due_words", "fire_lines"]


def fire_lines(snapshot: Snapshot, view: View, width: int) -> list[Line]:
    """Write the fire and the evenness of the chamber."""
    fire, even = snapshot.fire, snapshot.evenness
    interval = ""
    if not math.isnan(fire.slope_low):
        interval = f" ({difference(fire.slope_low, view)} to {difference(fire.slope_high, view)})"
    lines: list[Line] = [(("fire    ", "faint"), fire_state(snapshot))]
    if fire.phase is not Phase.UNAVAILABLE:  # nothing of a fire that is not watched is shown as if it were
        lines += _watched_lines(snapshot, view, interval)
    unit = degree(view)
    spread = difference(even.spread_kelvin, view, signed=False)
    swing = difference(even.fluctuation_kelvin, view, signed=False)
    lines += [
        (("spread  ", "faint"), (f"{spread} {unit}", "strong"), (f"  swing in 30 min {swing} {unit}", "plain")),
        (("ends    ", "faint"), (f"fire end {difference(even.along_kelvin, view)} {unit} to stack end", "plain")),
        (("lid air ", "faint"), (f"{difference(even.top_to_grate_kelvin, view)} {unit} over the grate", "plain")),
    ]
    return [row for line in lines for row in wrapped(line, width, 8)]


def _watched_lines(snapshot: Snapshot, view: View, interval: str) -> list[Line]:
    fire = snapshot.fire
    lines: list[Line] = [
        (
            ("grate   ", "faint"),
            (temperature(fire.level_celsius, view), "strong"),
            (f" {arrow(fire.slope_kelvin_per_hour, view)}target {temperature(snapshot.target_celsius, view)}", "plain"),
        ),
        (("slope   ", "faint"), (f"{slope(fire.slope_kelvin_per_hour, view)}{interval} over 90 min", "plain")),
        (("limit   ", "faint"), _limit(snapshot, view)),
        (("lid     ", "faint"), _lid(snapshot, view)),
        (("refuel  ", "faint"), (_refuel(snapshot), "plain")),
    ]
    if due := due_words(snapshot, view):
        lines.append((("next    ", "faint"), (due, "plain")))
    return lines


def _limit(snapshot: Snapshot, view: View) -> tuple[str, Role]:
    fire = snapshot.fire
    low, high = temperature(snapshot.low_celsius, view), temperature(snapshot.high_celsius, view)
    for edge, beyond, side in ((low, snapshot.low_celsius - fire.level_celsius, "below"),
                               (high, fire.level_celsius - snapshot.high_celsius, "above")):  # fmt: skip
        if beyond > 0.0:
            return f"{difference(beyond, view, signed=False)} {degree(view)} {side} {edge}", "warn"
    if math.isnan(fire.minutes_to_limit):
        return f"{low} to {high}, no way out in sight", "plain"
    falling = fire.limit_side == "low"
    where = f"below {low}" if falling else f"above {high}"
    return f"{where} in about {age(fire.minutes_to_limit * 60.0)}", "warn"


def _lid(snapshot: Snapshot, view: View) -> tuple[str, Role]:
    opened, now = snapshot.fire.lid_open_unix, snapshot.now_unix
    if opened is None:
        times = {0: "not seen open", 1: "opened once"}.get(snapshot.fire.lid_openings)
        return f"shut, {times or f'opened {snapshot.fire.lid_openings} times'}", "plain"
    return f"OPEN since {clock(opened, view)}, {age(now - opened)}", "warn"


def _refuel(snapshot: Snapshot) -> str:
    fire = snapshot.fire
    if fire.last_refuel_unix is None:
        return "none seen yet"
    text = f"{age(snapshot.now_unix - fire.last_refuel_unix)} ago"
    if not math.isnan(fire.refuel_period_seconds):
        text += f", every {age(fire.refuel_period_seconds)}"
    return text


def due_words(snapshot: Snapshot, view: View) -> str:
    """Say when the next split is due; empty while the rhythm is unknown.

    It is no more than the habit of this pit: not every split shows in the curve.
    """
    due = snapshot.fire.refuel_due_unix
    if due is None:
        return ""
    late = snapshot.now_unix - due
    when = f"overdue by {age(late)}" if late >= 60.0 else f"due about {clock(due, view)}"
    return f"split {when} by the pit's rhythm"
