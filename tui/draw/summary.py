"""The cook in plain lines: for `coldside status`, a screen reader, a script, and the end of a demo without a screen."""

import math
from typing import TYPE_CHECKING

from adapters.reading import Quality, Reason
from collector.model.alarm import AlarmEvent, Transition
from collector.snapshot import AlarmState, AlarmView, ProbeView, Snapshot, ZoneView
from collector.words import NOT_WATCHED, WRONG_CLOCK_WORDS
from tui.draw.alarms import told_once
from tui.draw.arrival import is_time, part_arrival, part_value, when
from tui.draw.calls import call_words, calls_of, calls_status
from tui.draw.clean import clean
from tui.draw.fire import due_words
from tui.draw.fire_state import fire_state
from tui.draw.meat import REASON_WORDS
from tui.draw.pieces import cooling_words, serve_words, stall_words
from tui.draw.places import Places
from tui.draw.sensor_class import outside_words
from tui.draw.sources import fault_words, kitchen_line, radio_words
from tui.draw.view import View
from tui.draw.words import (
    age,
    clock,
    clock_seconds,
    degree,
    difference,
    measured,
    number,
    slope,
    temperature,
    within,
)  # fmt: skip

if TYPE_CHECKING:
    from collector.straight import StraightRun

__all__ = ["alarm_line", "status_lines", "summary_lines"]

_UNITS = {"source-silent": "seconds", "probe-silent": "seconds", "probe-lying": "seconds", "battery-low": "percent"}
"""In which unit an alarm is judged, where it is not kelvin."""
_BY_DESIGN = (AlarmEvent.SUPPRESS, AlarmEvent.UNSUPPRESS)


def alarm_line(step: Transition, started_unix: float, view: View, *, everything: bool = False) -> str | None:
    """Say one step of an alarm; None, unless everything is wanted, for what only the engine cares about."""
    if step.event in _BY_DESIGN and not everything:
        return None
    into = age(step.time_unix - started_unix)
    unit = _UNITS.get(step.key.partition("/")[0], "kelvin")
    against = measured(step.value, unit, view) + (f", limit {measured(step.limit, unit, view)}" if step.limit else "")
    words = f"{step.before} -> {step.after}"
    line = f"{clock_seconds(step.time_unix, view)}  {into:>7}  {step.key:30} {words}"
    return f"{line}: {step.message} ({against})" if step.after is AlarmState.UNACKNOWLEDGED else line


def summary_lines(run: "StraightRun", *, fahrenheit: bool) -> list[str]:
    """Say what a run through a recording gave: the alarm log, then the end."""
    view = View(fahrenheit=fahrenheit)
    steps = [line for t in run.transitions if (line := alarm_line(t, run.started_unix, view)) is not None]
    raised = sorted({t.key for t in run.transitions if t.after is AlarmState.UNACKNOWLEDGED})
    spreads = [p.spread_kelvin for p in run.trend if not math.isnan(p.spread_kelvin)]
    seen = [mark.kind for mark in run.marks]
    qualities = ", ".join(f"{count:,} {name}" for name, count in sorted(run.qualities.items()))
    lines = [f"alarm log of {run.cook}", *(steps or ["  no alarm at all"]), ""]
    lines += [
        f"cook        {run.cook}, {age(run.ended_unix - run.started_unix)}",
        f"readings    {run.readings:,} ({qualities})",
        f"alarms      {', '.join(raised) if raised else 'none'}",
        f"fire        {seen.count('seen-refuel')} refuels and {seen.count('seen-lid')} lid openings seen",
    ]
    if spreads:
        spreads.sort()
        middle, most = spreads[len(spreads) // 2], spreads[-1]
        lines.append(
            f"spread      {difference(middle, view, signed=False)} {degree(view)} in the middle of the night's record, "
            f"{difference(most, view, signed=False)} at most"
        )
    return lines + _zone_lines(run.last, view) + _meat_lines(run.last, view)


def status_lines(snapshot: Snapshot, view: View) -> list[str]:
    """Say how the cook stands, one fact a line; a part that cannot be written says so, and the others stand."""
    lines: list[str] = []
    for write in (
        _cook_lines, _fire_lines, _evenness_lines, _zone_lines, _meat_lines, _map_lines, _probe_lines, _source_lines,
        _store_lines, _all_alarm_lines, _call_lines,
    ):  # fmt: skip
        try:
            lines += write(snapshot, view)
        except Exception as error:  # noqa: BLE001 - at three in the morning every line counts
            part = write.__name__.strip("_").removesuffix("_lines").replace("_", " ")
            lines.append(f"{part:<11} not available: a fault of coldside's ({type(error).__name__})")
    return lines


def _cook_lines(snapshot: Snapshot, view: View) -> list[str]:
    into = age(snapshot.now_unix - snapshot.started_unix)
    faults = [f"fault       {words}" for words, _ in fault_words(snapshot, view)]
    return [f"cook        {snapshot.cook}, {into}, at {clock(snapshot.now_unix, view)}", *faults]


def _fire_lines(snapshot: Snapshot, view: View) -> list[str]:
    fire = snapshot.fire
    line = (
        f"fire        {fire_state(snapshot)[0]}, grate {temperature(fire.level_celsius, view)}, target "
        f"{temperature(snapshot.target_celsius, view)}, {slope(fire.slope_kelvin_per_hour, view)}"
    )
    return [line]


def _evenness_lines(snapshot: Snapshot, view: View) -> list[str]:
    even = snapshot.evenness
    line = (
        f"evenness    spread {difference(even.spread_kelvin, view, signed=False)} {degree(view)}, "
        f"fire end to stack end {difference(even.along_kelvin, view)}, "
        f"under the lid {difference(even.top_to_grate_kelvin, view)} over the grate"
    )
    due = due_words(snapshot, view)
    return [line, f"refuel      next {due}"] if due else [line]


def _map_lines(snapshot: Snapshot, view: View) -> list[str]:
    return [f"map         {f.level}: {Places(f, snapshot.chamber, view).plain()}" for f in snapshot.fields]


def _probe_lines(snapshot: Snapshot, view: View) -> list[str]:
    lines = []
    for probe in snapshot.probes:
        heard = "never heard" if probe.heard_unix is None else age(snapshot.now_unix - probe.heard_unix) + " ago"
        silent = ", SILENT" if probe.silent else ""
        lines.append(f"probe       {probe.name}: {temperature(probe.celsius, view)}, {heard}{_doubt(probe)}{silent}")
        if outside := outside_words(probe):
            lines.append(f"probe       {probe.name}: {outside}")
    return lines


def _source_lines(snapshot: Snapshot, view: View) -> list[str]:  # noqa: ARG001 - all writers alike
    lines = []
    for source in snapshot.sources:
        why = f" ({clean(source.why, 300)})" if source.why else ""
        lines.append(
            f"source      {source.name}: {source.state}{why}, {source.heard} heard, {source.dropped} dropped, "
            f"{source.undecodable} not readable"
        )
        radio = radio_words(source)
        if radio:
            lines.append(f"source      {source.name}: {radio}")
        if source.unplaced:
            keys = ", ".join(clean(key) for key in source.unplaced)
            lines.append(f"source      {source.name}: no place for {keys}")
    return lines


def _store_lines(snapshot: Snapshot, view: View) -> list[str]:  # noqa: ARG001 - all writers alike
    fault = f", FAULT: {snapshot.store.fault}" if snapshot.store.fault else ""
    lines = [f"store       {snapshot.store.unsaved} readings not yet saved{fault}"]
    if snapshot.store.kitchen is not None:
        lines.append("".join(words for words, _ in kitchen_line(snapshot.store.kitchen, snapshot.now_unix)))
    return lines


def _all_alarm_lines(snapshot: Snapshot, view: View) -> list[str]:
    return [f"alarm       {line}" for line in _alarm_lines(snapshot, view) or ["none"]]


def _call_lines(snapshot: Snapshot, view: View) -> list[str]:
    lines: list[str] = []
    for key, call in calls_of(snapshot).items():
        lines += [f"calls       {clean(key)}: {clean(words, 400)}" for words, _ in call_words(call, view)]
    if snapshot.calls is not None:
        said = calls_status(snapshot.calls, snapshot.now_unix, view)
        lines += [f"calls       {clean(words, 400)}" for words, _ in said]
    return lines


def _meat_lines(snapshot: Snapshot, view: View) -> list[str]:
    """Say how each part of each piece stands: value, target, arrival, stall."""
    now, lines = snapshot.now_unix, []
    for piece in snapshot.meat:
        since = f" since {when(piece.since_unix, now, view)}" if is_time(piece.since_unix) else ""
        phase = f"{clean(piece.phase)}{since}"
        for part in piece.parts:
            value = f"{part_value(part.celsius, part.done_celsius, view)} {degree(view)}"
            told = (phase, value, part_arrival(part, piece.phase, now, view), stall_words(part, now, view))
            lines.append(f"meat        {clean(piece.name)} {clean(part.name)}: {', '.join(filter(None, told))}")
        if served := serve_words(piece, now, view):
            lines.append(f"meat        {clean(piece.name)}: {served}")
        if piece.phase == "cooling":
            due = f"cool it through this stage by {when(piece.cool_due_unix, now, view)}, "
            due = due if is_time(piece.cool_due_unix) else "cooled by "
            lines.append(f"meat        {clean(piece.name)}: {due}{cooling_words(piece.cooling, view)}")
    return lines


def _alarm_lines(snapshot: Snapshot, view: View) -> list[str]:
    lines = []
    for one, says in told_once(snapshot, view):
        since = (one.removed_unix if isinstance(one, AlarmView) else None) or one.since_unix
        lines.append(f"{one.state}: {says}" + (f", since {clock(since, view)}" if since else ""))
    return lines


def _doubt(probe: ProbeView) -> str:
    """Say how far a probe's value is to be trusted, and why; nothing of one that gave none."""
    if probe.quality is Quality.GOOD:
        wrong = WRONG_CLOCK_WORDS.get(probe.reason)
        return f", {wrong}" if wrong else ""
    if probe.reason is Reason.NONE:
        return "" if probe.heard_unix is None else f", {probe.quality.name.lower()}"
    return f", {probe.quality.name.lower()}: {REASON_WORDS[probe.reason]}"


def _sure(zone: ZoneView, view: View) -> str:
    return " ".join(word for word in (number(zone.celsius, view), within(zone.sd_kelvin, view), degree(view)) if word)


def _zone_lines(snapshot: Snapshot, view: View) -> list[str]:
    return [
        f"zone        {z.name} ({z.level}): {_sure(z, view)}, "
        f"{difference(z.deviation_kelvin, view)} from the level's mean{'' if z.watched else f'; {NOT_WATCHED}'}"
        for z in snapshot.zones
    ]
