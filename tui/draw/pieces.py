"""A piece of meat in full: its parts with their arrival, its stall, its plan, its clocks, and what the trade does."""

import math
from collections.abc import Iterable, Iterator

from collector.model.meat.backwards import Lateness, lateness
from collector.model.meat.cooling import LIMITS, OTHER_LIMITS, CoolingRule
from collector.model.meat.piece import APART_KELVIN, ON_FIRE, POUND_KG
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
from collector.snapshot import MeatView, PartView, Snapshot, SpotView
from tui.draw.arrival import (
    arrival_words,
    believable,
    day_and_time,
    held,
    is_time,
    part_arrival,
    part_value,
    rough,
    when,
)
from tui.draw.clean import clean
from tui.draw.line import Line, Part, Role, fit, wrapped
from tui.draw.view import View
from tui.draw.words import degree, difference, number, slope, temperature

__all__ = [
    "NO_PIECE",
    "advice_words",
    "all_piece_lines",
    "broken",
    "cooling_words",
    "piece_lines",
    "serve_words",
    "spot_words",
    "stall_words",
]

NO_PIECE = "no piece of meat: [[meat]] in the config, or `coldside meat add`"
NAME_CELLS = 24


def all_piece_lines(snapshot: Snapshot, view: View, width: int) -> list[Line]:
    """Write every piece, then what was read by hand, then the caution that goes with it all."""
    lines: list[Line] = []
    for meat in snapshot.meat:
        lines += [*piece_lines(meat, snapshot.now_unix, view, width), (("", "plain"),)]
    if not snapshot.meat:
        lines += _rows(((NO_PIECE, "faint"),), width, view)
    if snapshot.spots:
        lines.append((("read by hand", "strong"),))
        for spot in snapshot.spots[: -NEWEST_SPOTS - 1 : -1]:
            lines += _rows(((f"  {spot_words(spot, snapshot.now_unix, view)}", "plain"),), width, view)
    return lines


def piece_lines(meat: MeatView, now_unix: float, view: View, width: int) -> list[Line]:
    """Write all that is known of a piece; no line is wider than `width`, which has to be at least 20 cells."""
    return [row for line in _piece(meat, now_unix, view) for row in _rows(line, width, view)]


def _rows(line: Line, width: int, view: View) -> list[Line]:
    return broken(line, width, 4 if line and line[0][0].startswith("  ") else 2, view)


def broken(line: Line, width: int, indent: int, view: View) -> list[Line]:
    """Break a line between words; a word that alone is too long is cut, which no number is."""
    room = max(1, width - indent)
    cut: list[Part] = []
    for text, role in line:
        words = text.split(" ")
        short = (fit(w, room, ascii_only=view.ascii_only) if len(w) > room else w for w in words)
        cut.append((" ".join(short), role))
    return wrapped(tuple(cut), width, indent)


def _name(text: str, view: View) -> str:
    return clean(text, NAME_CELLS, ascii_only=view.ascii_only)


def _piece(meat: MeatView, now: float, view: View) -> Iterator[Line]:
    yield _heading(meat, now, view)
    if len(meat.parts) > 1 and meat.phase in ON_FIRE and (told := arrival_words(meat.done, now, view)):
        yield ((f"  all of it done {told}", "plain"),)
    for part in meat.parts:
        yield from _part(part, meat.phase, now, view)
    yield from _apart(meat, view)
    for said in meat.advice:
        yield ((f"  {advice_words(clean(said, 300, ascii_only=view.ascii_only))}", "warn"),)
    yield from _serve(meat, now, view)
    yield from _hold(meat, view)
    yield from _cooling(meat, now, view)
    yield from _safety(meat, view)


def _heading(meat: MeatView, now: float, view: View) -> Line:
    name = _name(meat.name, view)
    said = [] if meat.cut == meat.name else [clean(meat.cut, NAME_CELLS, ascii_only=view.ascii_only)]
    if meat.mass_kg is not None and 0.0 < meat.mass_kg < 1000.0:
        said.append(f"{meat.mass_kg / POUND_KG:.1f} lb" if view.fahrenheit else f"{meat.mass_kg:.1f} kg")
    phase = clean(meat.phase, NAME_CELLS, ascii_only=view.ascii_only)
    if is_time(meat.since_unix):
        phase += f" since {when(meat.since_unix, now, view)} ({held(max(0.0, now - meat.since_unix))})"
    said.append(phase)
    return (name, "strong"), (", " + ", ".join(said), "plain")


def _part(part: PartView, phase: str, now: float, view: View) -> Iterator[Line]:
    there = believable(part.celsius) >= believable(part.done_celsius)
    role: Role = "good" if there else "strong"
    value = f"{part_value(part.celsius, part.done_celsius, view)} {degree(view)}"
    arrival = part_arrival(part, phase, now, view)
    air = believable(part.air_celsius)
    where = f" {_name(part.zone, view)}" if part.zone else ""
    lies = "" if math.isnan(air) else f", air{where} {temperature(air, view)}"
    yield (
        (f"  {_name(part.name, view)}  ", "plain"), (value, role),
        (f"  {arrival}" if arrival else "", "plain"), (lies, "faint"),
    )  # fmt: skip
    if phase == "cooking" and not math.isnan(believable(part.wrap_celsius)):
        if believable(part.celsius) >= part.wrap_celsius:
            yield ((f"    at its wrap temperature of {temperature(part.wrap_celsius, view)}", "warn"),)
        elif told := arrival_words(part.wrap, now, view):
            yield ((f"    wrap at {temperature(part.wrap_celsius, view)}, {told}", "plain"),)
    if stalled := stall_words(part, now, view):
        yield ((f"    {stalled}", "plain"),)


def stall_words(part: PartView, now_unix: float, view: View) -> str:
    """Say how a part stalls or has stalled, and what wrapping now would gain; empty where no stall was seen."""
    if not is_time(part.stall_began_unix):
        return ""
    began = when(part.stall_began_unix, now_unix, view)
    celsius = believable(part.stall_celsius)
    at = "" if math.isnan(celsius) else f" at {temperature(celsius, view)}"
    if is_time(part.stall_ended_unix):
        return f"stalled {began} to {when(part.stall_ended_unix, now_unix, view)}{at}"
    wet = believable(part.wet_bulb_celsius)
    if not math.isnan(wet):
        at += f" (evaporation alone would hold {number(wet, view)})"
    gain = ""
    if math.isfinite(part.wrap_gain_seconds) and part.wrap_gain_seconds >= 600.0:
        gain = f"; wrapped now it would be done about {rough(part.wrap_gain_seconds)} sooner"
    return f"stalls since {began}{at}{gain}"


def _apart(meat: MeatView, view: View) -> Iterator[Line]:
    """Tell the coldest part against the warmest."""
    known = [p for p in meat.parts if not math.isnan(believable(p.celsius))]
    if len(known) < 2 or meat.phase not in ON_FIRE:
        return
    slow, fast = min(known, key=lambda p: p.celsius), max(known, key=lambda p: p.celsius)
    if fast.celsius - slow.celsius >= APART_KELVIN:
        by = difference(fast.celsius - slow.celsius, view, signed=False)
        yield ((f"  {_name(slow.name, view)} {by} {degree(view)} behind {_name(fast.name, view)}", "plain"),)


def advice_words(said: str) -> str:
    """Say a piece of advice as advice.

    >>> advice_words("done is by feel: probe it")
    'done is by feel; the trade would probe it'
    """
    seen, colon, done = said.partition(": ")
    return f"{seen}; the trade would {done}" if colon else said


def _serve(meat: MeatView, now: float, view: View) -> Iterator[Line]:
    if not (said := serve_words(meat, now, view)):
        return
    late = lateness(meat.late_seconds)
    if late is Lateness.LATE:
        said += _hotter(meat, view) if meat.phase in ON_FIRE else ""
    yield ((f"  {said}", "warn" if late in (Lateness.LATE, Lateness.NEVER) else "plain"),)


def serve_words(meat: MeatView, now: float, view: View) -> str:
    """Say when it is to be served, what is done, what has to be done by when, and how late it will be; or nothing."""
    by = {clean(step, NAME_CELLS, ascii_only=view.ascii_only): unix for step, unix in meat.plan if is_time(unix)}
    serve = meat.serve_unix if is_time(meat.serve_unix) else by.pop("serve", None)
    by.pop("serve", None)
    if serve is None or meat.phase == "off":
        return ""
    did = [
        f"{clean(s, NAME_CELLS, ascii_only=view.ascii_only)} {when(u, now, view)}" for s, u in meat.did if is_time(u)
    ]
    steps = [*did, *(f"{step} by {when(unix, now, view)}" for step, unix in by.items())]
    said = f"serve {day_and_time(serve, now, view)}" + (f": {', '.join(steps)}" if steps else "")
    unlit = "if it went on now " if meat.on_unix is None else ""
    match lateness(meat.late_seconds):
        case Lateness.NEVER:
            return f"{said}; it will not come in time at this air"
        case Lateness.LATE:
            return f"{said}; {unlit}about {rough(meat.late_seconds)} late"
        case Lateness.IN_HAND:
            return f"{said}; {unlit}about {rough(meat.late_seconds)} in hand"
        case Lateness.JUST:
            return f"{said}; {unlit}just in time"
    return said


def _hotter(meat: MeatView, view: View) -> str:
    """Say how much hotter the air would have to be; empty where none would do, or it is not known."""
    needed = believable(meat.air_needed_celsius)
    airs = [air for part in meat.parts if not math.isnan(air := believable(part.air_celsius))]
    if math.isnan(needed) or not airs or needed <= min(airs):
        return ""
    more = difference(needed - min(airs), view, signed=False)
    return f"; {more} {degree(view)} more pit would make it ({number(needed, view)} around it)"


def _hold(meat: MeatView, view: View) -> Iterator[Line]:
    if meat.phase != "holding":
        return
    floor = believable(meat.hold_celsius)
    said = f"  held {held(meat.held_seconds)}, no colder than {temperature(floor, view)}"
    drift = believable(meat.hold_trend_kelvin_per_hour)
    if not math.isnan(drift):
        said += f", {slope(drift, view)}"
    cold = [p for p in meat.parts if believable(p.celsius) < floor]
    below = f"; BELOW IT: {', '.join(_name(p.name, view) for p in cold)}" if cold else ""
    yield (said, "plain"), (below, "warn")


def _cooling(meat: MeatView, now: float, view: View) -> Iterator[Line]:
    """Tell by when this stage must be over, and by whose limits."""
    if meat.phase != "cooling":
        return
    if is_time(meat.cool_due_unix):
        over = (meat.cool_due_unix or 0.0) < now
        words = "had to be cooled through this stage by" if over else "cool it through this stage by"
        yield ((f"  {words} {when(meat.cool_due_unix, now, view)}", "warn" if over else "plain"),)
    yield ((f"  by {cooling_words(meat.cooling, view)}; {OTHER_LIMITS}", "faint"),)


def cooling_words(rule: str, view: View) -> str:
    """Say whose limits a piece is cooled by, and what they are.

    >>> cooling_words("food-code", View(fahrenheit=True))
    'FDA Food Code 3-501.14: 135 to 70 °F within 2 h, to 41 °F within 6 h in all'
    """
    if rule not in LIMITS:
        return clean(rule, NAME_CELLS, ascii_only=view.ascii_only)
    limits = LIMITS[CoolingRule(rule)]
    first = f"{number(limits.from_celsius, view)} to {temperature(limits.first_celsius, view)}"
    hours = (f"{seconds / 3600.0:g} h" for seconds in (limits.first_seconds, limits.second_seconds))
    within, then = hours
    return f"{limits.title}: {first} within {within}, to {temperature(limits.second_celsius, view)} within {then} " + (
        "in all" if limits.in_all else "more"
    )


def _longest(seconds: Iterable[float]) -> float:
    """Give the longest time that is known; NaN where none is."""
    return max((one for one in seconds if math.isfinite(one)), default=math.nan)


def _safety(meat: MeatView, view: View) -> Iterator[Line]:
    """Tell the clocks of food law; a reduction never without what it is not."""
    if meat.on_unix is None:
        return
    dash = "-" if view.ascii_only else "–"

    def line(seconds: float, low: float, high: float, limit: str, *, soon: float) -> Line:
        band = f"{number(low, view)}{dash}{number(high, view)} {degree(view)}"
        return ((f"  {held(seconds)} within {band} {limit}", "warn" if seconds >= soon else "plain"),)

    come_up = _longest(part.come_up_seconds for part in meat.parts)
    most = f"on the fire, at most {COME_UP_SECONDS / 3600.0:g} h by the published guideline"
    yield line(come_up, COME_UP_LOW_CELSIUS, COME_UP_HIGH_CELSIUS, most, soon=COME_UP_SOON_SECONDS)
    off_fire = _longest(part.danger_off_fire_seconds for part in meat.parts)
    most = f"off the fire, where many codes count {DANGER_SECONDS / 3600.0:g} h"
    yield line(off_fire, DANGER_LOW_CELSIUS, DANGER_HIGH_CELSIUS, most, soon=DANGER_SOON_SECONDS)
    logs = [p.log_reduction for p in meat.parts if math.isfinite(p.log_reduction)]
    if not logs:
        yield (("  no table of log reductions is known for this meat, so none is counted", "faint"),)
    else:
        least = min(logs)
        counted = f"all {APPENDIX_A_LOGS:g}" if least >= APPENDIX_A_LOGS else f"{max(0.0, least):.1f}"
        of = f"of the {APPENDIX_A_LOGS:g} log reductions of one published table"
        yield ((f"  at the probe's tip {counted} {of} are counted; {NO_FIVE_LOGS}", "faint"),)
    yield ((f"  {CAUTION}", "faint"),)


def spot_words(spot: SpotView, now_unix: float, view: View) -> str:
    """Say what was read by hand, where and when."""
    where = clean(spot.where, 60, ascii_only=view.ascii_only)
    value = spot.value
    if spot.kind == "bread":
        said = f"bread {value:.1f}".removesuffix(".0") + " of 5" if 0.0 <= value <= 10.0 else "bread --"
    else:
        said = temperature(believable(value), view)
    return f"{when(spot.time_unix, now_unix, view)} {where}: {said}"
