"""The meat: its pieces with their arrival, then the probes in none with value, target, trend and age."""

import math
from collections.abc import Iterator, Mapping

from adapters.reading import Quality, Reason
from collector.snapshot import MeatView, PartView, ProbeView, Snapshot
from collector.words import REASON_WORDS
from tui.draw.arrival import believable, is_time, part_arrival, part_value, when
from tui.draw.clean import clean
from tui.draw.line import Line, Part, Role, fit
from tui.draw.pieces import broken
from tui.draw.view import View
from tui.draw.words import age, arrow, degree, difference, number

__all__ = ["REASON_WORDS", "doubt_words", "meat_lines"]

ROOMY = 44
"""From this width on, the trend is told as a number too."""


def doubt_words(probe: ProbeView, now_unix: float) -> str:
    """Say why a probe's value is not to be trusted; empty when it is."""
    if probe.heard_unix is None:
        return "never heard"
    if probe.silent:
        return f"silent for {age(now_unix - probe.heard_unix)}"
    if probe.quality is not Quality.GOOD:
        if probe.reason is Reason.NONE:
            return probe.quality.name.lower()
        return REASON_WORDS[probe.reason]
    return ""


def meat_lines(snapshot: Snapshot, view: View, width: int) -> list[Line]:
    """Write each piece with its parts, then one line a meat probe that is in none, then the air outside."""
    probes = {p.name: p for p in snapshot.probes}
    in_piece = {part.probe for piece in snapshot.meat for part in piece.parts}
    meat = [p for p in snapshot.probes if p.duty == "meat" and p.name not in in_piece]
    ambient = [p for p in snapshot.probes if p.duty == "ambient"]
    roomy = width >= ROOMY
    name_cells = max(6, min(24, width - (28 if roomy else 18)))
    lines = [line for piece in snapshot.meat for line in _piece_lines(piece, probes, snapshot.now_unix, view, width)]
    if meat:
        last = f"{degree(view):>5}{'target':>7}  trend    age" if roomy else f"{degree(view):>4}/to{'age':>10}"
        lines.append(((fit(fit("probe", name_cells) + last, width).rstrip(), "faint"),))
    lines += [_probe_line(probe, snapshot.now_unix, view, name_cells, roomy) for probe in (*meat, *ambient)]
    return lines or [(("no meat probe in the config", "faint"),)]


def _piece_lines(
    piece: MeatView, probes: Mapping[str, ProbeView], now_unix: float, view: View, width: int
) -> Iterator[Line]:
    """Write a piece in its phase, then a line a part: value and target, trend, and when it arrives."""
    phase = clean(piece.phase, 24, ascii_only=view.ascii_only)
    since = f" since {when(piece.since_unix, now_unix, view)}" if is_time(piece.since_unix) else ""
    name = fit(clean(piece.name, 60, ascii_only=view.ascii_only), max(6, width - 14), ascii_only=view.ascii_only)
    yield from broken(((name.rstrip(), "strong"), (f" {phase}{since}", "plain")), width, 2, view)
    cells = max((len(part.name) for part in piece.parts), default=0)
    for part in piece.parts:
        yield from _part_lines(part, probes.get(part.probe), piece.phase, min(cells, width // 3), now_unix, view, width)


def _part_lines(
    part: PartView, probe: ProbeView | None, phase: str, cells: int, now_unix: float, view: View, width: int
) -> list[Line]:
    """Write a part; what is too long for one line goes on in the next, no number is cut."""
    doubt = "no such probe" if probe is None else doubt_words(probe, now_unix)
    celsius = part.celsius if probe is None else probe.celsius
    there = believable(celsius) >= believable(part.done_celsius)
    value = f"{part_value(celsius, part.done_celsius, view):>7}"
    role: Role = "faint" if doubt else "good" if there else "strong"
    name = fit(clean(part.name, 60, ascii_only=view.ascii_only), cells, ascii_only=view.ascii_only)
    trend = "  " if doubt or probe is None else arrow(believable(probe.trend_kelvin_per_hour), view)
    stalls = " stalls" if is_time(part.stall_began_unix) and not is_time(part.stall_ended_unix) else ""
    first: Line = ((f" {name} ", "plain"), (value, role), (f" {trend}", "plain"))
    if doubt:
        return broken((*first, (f" {doubt}", "warn")), width, 3, view)
    ahead = part_arrival(part, phase, now_unix, view)
    return broken((*first, (f" {ahead}" if ahead else "", "plain"), (stalls, "faint")), width, 3, view)


def _probe_line(probe: ProbeView, now_unix: float, view: View, name_cells: int, roomy: bool) -> Line:
    name = fit(probe.name, name_cells, ascii_only=view.ascii_only)
    doubt = doubt_words(probe, now_unix)
    there = not math.isnan(probe.target_celsius) and probe.celsius >= probe.target_celsius
    role: Role = "faint" if doubt else "good" if there else "strong"
    target = "" if math.isnan(probe.target_celsius) else number(probe.target_celsius, view)
    value: Part = (f"{number(probe.celsius, view):>{5 if roomy else 4}}", role)
    if doubt:
        return (name, "plain"), value, (f"  {doubt}", "warn")
    heard = age(now_unix - probe.heard_unix) if probe.heard_unix is not None else "--"
    trend = arrow(probe.trend_kelvin_per_hour, view)
    if roomy:
        ahead = f"{target:>7}  {trend}{difference(probe.trend_kelvin_per_hour, view):>4}{heard:>7}"
    else:
        ahead = f"{'/' + target if target else '':<5}{trend}{heard:>6}"
    return (name, "plain"), value, (ahead, "plain")
