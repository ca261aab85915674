"""The meat probes: value, target, trend, age."""

import math

from adapters.reading import Quality, Reason
from collector.snapshot import ProbeView, Snapshot
from collector.words import REASON_WORDS
from tui.draw.line import Line, Part, Role, fit
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
    """Write one line a meat probe, then the air outside."""
    meat = [p for p in snapshot.probes if p.duty == "meat"]
    ambient = [p for p in snapshot.probes if p.duty == "ambient"]
    roomy = width >= ROOMY
    name_cells = max(6, min(24, width - (28 if roomy else 18)))
    lines: list[Line] = []
    if meat:
        last = f"{degree(view):>5}{'target':>7}  trend    age" if roomy else f"{degree(view):>4}/to{'age':>10}"
        lines.append(((fit(fit("probe", name_cells) + last, width).rstrip(), "faint"),))
    lines += [_probe_line(probe, snapshot.now_unix, view, name_cells, roomy) for probe in (*meat, *ambient)]
    return lines or [(("no meat probe in the config", "faint"),)]


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
