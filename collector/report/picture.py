"""The cook in one picture: zones, meat, events, alarms and silences on one time axis."""

from collections.abc import Sequence
from functools import partial
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import FigureBase

from collector.model.field import Array
from collector.model.plan import GRATE
from collector.report.facts import Told
from collector.report.style import (
    ACCENT,
    BAND,
    CURVES,
    DASHES,
    FAINT,
    INK,
    NARROW,
    PAPER,
    SOFT,
    WARN,
    WIDE,
    Chart,
    Shape,
    Sketch,
    end_labels,
    plain,
    time_axis,
)  # fmt: skip
from collector.report.summary import picture_says
from collector.report.wording import Words

__all__ = ["broken", "picture", "picture_sketch"]

MOST_ROWS = 9
"""Alarms and silent probes that get a row of their own; the tables hold all."""
APART_SECONDS = 150.0
QUIET = ("seen-refuel", "split", "seen-lid", "lid", "resume", "calibrate")

BELOW, BETWEEN, LEFT = 0.42, 0.36, 0.46
"""Inches around and between the panels."""

_Bar = tuple[str, float, float, float | None, bool]
"""Label, from, until, end of waiting (None: a silence), urgent."""


def picture(told: Told, words: Words) -> Chart:
    """Draw it for a wide page and for a phone."""
    sketches = tuple((shape.name, picture_sketch(told, words, shape)) for shape in (WIDE, NARROW))
    return Chart("cook", "Zones, meat, events and alarms", picture_says(told, words), sketches)


def picture_sketch(told: Told, words: Words, shape: Shape, title: str = "") -> Sketch:
    """Say how it is drawn for one width; with a title where no page gives it one."""
    rows = _rows(told)
    with_meat = bool(np.isfinite(told.drawn.meat).any())
    of_alarms = max(1, len(rows)) * 2.5 * shape.font / 72.0 + 0.1
    heights = (2.5 if shape is WIDE else 2.3, *((1.9,) if with_meat else ()), 0.95, of_alarms)
    total = sum(heights) + BETWEEN * (len(heights) - 1) + _above(title) + BELOW
    draw = partial(_draw, told, words, shape, title, rows, heights)
    return Sketch(shape.inches, total, shape.font, draw)


def _above(title: str) -> float:
    return 0.62 if title else 0.24


def _draw(
    told: Told, words: Words, shape: Shape, title: str, rows: Sequence[tuple[str, list[_Bar]]],
    heights: tuple[float, ...], figure: FigureBase,
) -> None:  # fmt: skip
    facts = told.facts
    total = sum(heights) + BETWEEN * (len(heights) - 1) + _above(title) + BELOW
    with_meat = len(heights) == 4
    top = total - _above(title)
    axes = []
    for height in heights:
        box = (
            LEFT / shape.inches,
            (top - height) / total,
            (shape.inches - LEFT - shape.right) / shape.inches,
            height / total,
        )
        axes.append(figure.add_axes(box))
        top -= height + BETWEEN
    start, end = facts.cook.started_unix, facts.cook.told_until_unix
    for one in axes:
        time_axis(one, start, end, words, shape)
        one.grid(visible=True, axis="x")
        for absence in facts.absences:
            one.axvspan(absence.start_unix, absence.end_unix, color=FAINT, zorder=0)
        if one is not axes[-1]:
            one.tick_params(labelbottom=False)
    _zones(axes[0], told, words, shape)
    if with_meat:
        _meat(axes[1], told, words, shape)
    _events(axes[-2], told, shape)
    _bars(axes[-1], rows, facts.cook.told_until_unix, shape)
    said = f"local time ({words.zone_name(start)}), from {words.day(start)}"
    axes[-1].set_xlabel(said if shape is WIDE else said.removeprefix("local time "), loc="left")
    if title:
        figure.text(
            LEFT / shape.inches,
            1.0 - 0.2 / total,
            plain(title),
            fontsize=shape.font + 4,
            weight="bold",
            va="center",
        )


def broken(unix: Array, values: Array) -> tuple[Array, Array]:
    """Break a curve where nothing is known for a while, shapes (m,)."""
    gaps = np.flatnonzero(np.diff(unix) > APART_SECONDS) + 1
    return np.insert(unix, gaps, unix[gaps - 1] + 1.0) if gaps.size else unix, np.insert(values, gaps, np.nan)


def _last(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(known[-1]) if known.size else float("nan")


def _zones(axes: Axes, told: Told, words: Words, shape: Shape) -> None:
    facts, minutes = told.facts, told.drawn.minutes
    cook = facts.cook
    if cook.low_celsius is not None and cook.high_celsius is not None:
        axes.axhspan(words.degrees(cook.low_celsius), words.degrees(cook.high_celsius), color=BAND, zorder=0)
    if cook.target_celsius is not None:
        axes.axhline(words.degrees(cook.target_celsius), color=SOFT, linewidth=0.8, zorder=1)
    zones = [(k, z.name) for k, z in enumerate(facts.zones) if z.level == GRATE]
    curves = [(name, minutes.zones[k]) for k, name in zones] or [("grate", minutes.grate)]
    edges = [words.degrees(v) for v in (cook.low_celsius, cook.high_celsius) if v is not None]
    _curves(axes, minutes.unix, curves, words, shape, edges, facts.steady_from_unix or 0.0)
    away = "; bar: collector away" if facts.absences else ""
    band = "the band around the target" if shape is WIDE else "band"
    axes.set_title(f"Grate, {words.degree}; shaded: {band}{away}")


def _curves(
    axes: Axes, unix: Array, curves: Sequence[tuple[str, Array]], words: Words, shape: Shape,
    also: Sequence[float] = (), since_unix: float = 0.0,
) -> None:  # fmt: skip
    """Draw curves; the axis holds what they show from a time on (a warm-up would flatten all that follows), and more.

    Args:
        axes: where.
        unix: times, shape (m,).
        curves: name and °C, shape (m,), of each.
        words: for whom.
        shape: the picture's.
        also: what the axis must hold too, in the unit on show.
        since_unix: from when on it holds the curves.
    """
    ends = []
    values = [np.array([words.degrees(v) for v in celsius.tolist()]) for _, celsius in curves]
    for k, ((name, _), curve) in enumerate(zip(curves, values, strict=True)):
        colour = CURVES[k % len(CURVES)]
        axes.plot(*broken(unix, curve), color=colour, linestyle=DASHES[k % len(DASHES)], zorder=3)
        last = _last(curve)
        ends.append((last, f"{last:.0f} {name}", colour))
    shown = [v[np.isfinite(v) & (unix >= since_unix)] for v in values]
    known = np.concatenate([*shown, np.array(also, dtype=np.float64)])
    if known.size:
        low, high = float(known.min()), float(known.max())
        pad = max(2.0, 0.06 * (high - low))
        axes.set_ylim(low - pad, high + pad)
    end_labels(axes, ends, shape)
    axes.grid(visible=True, axis="y")


def _meat(axes: Axes, told: Told, words: Words, shape: Shape) -> None:
    facts, drawn = told.facts, told.drawn
    curves = list(zip(drawn.meat_labels, drawn.meat, strict=True))
    goals = {
        m.target_celsius for piece in facts.meat for part in piece.parts for m in part.milestones
        if m.target_celsius is not None
    }  # fmt: skip
    for goal in sorted(goals):
        axes.axhline(words.degrees(goal), color=SOFT, linewidth=0.8)
    _curves(
        axes,
        drawn.minutes.unix,
        [(name.rpartition(" ")[2] if shape is not WIDE else name, v) for name, v in curves],
        words,
        shape,
        [words.degrees(goal) for goal in goals],
    )
    for piece in facts.meat:
        for turn in piece.turns:
            axes.axvline(turn.time_unix, color=SOFT, linewidth=0.7, linestyle=(0, (1, 2)))
            axes.annotate(
                plain(turn.phase, shape.letters), (turn.time_unix, 0.01), xycoords=("data", "axes fraction"),
                xytext=(2, 1), textcoords="offset points", fontsize=shape.font - 1, color=SOFT,
            )  # fmt: skip
        for part in piece.parts:
            for m in part.milestones:
                if m.came_unix is not None and m.target_celsius is not None:
                    axes.plot(
                        [m.came_unix], [words.degrees(m.target_celsius)], marker="*", markersize=9, color=INK, zorder=5
                    )
            if part.stall_began_unix is not None:
                until = part.stall_ended_unix or facts.cook.told_until_unix
                axes.axvspan(part.stall_began_unix, until, color=BAND, zorder=0)
    axes.set_title(
        f"Meat, {words.degree}; shaded: stall, star: there" if shape is WIDE else f"Meat, {words.degree}; shaded: stall"
    )


def _events(axes: Axes, told: Told, shape: Shape) -> None:
    facts = told.facts
    lines: list[tuple[str, list[tuple[float, bool]]]] = [
        ("fire", [(r.time_unix, r.seen) for r in facts.fuel.refuels]),
        ("lid", [(o.time_unix, o.seen) for o in facts.lid_openings]),
        ("cook", [(m.time_unix, False) for m in facts.marks if m.kind not in QUIET and not m.kind.startswith("seen-")]),
    ]
    for k, (_, times) in enumerate(lines):
        for time_unix, seen in times:
            style: dict[str, Any] = {"markerfacecolor": ACCENT if seen else PAPER, "markeredgecolor": ACCENT}
            axes.plot(
                [time_unix],
                [-k],
                marker=("^", "v", "D")[k],
                markersize=5.5 if k < 2 else 4.5,
                linestyle="",
                zorder=3,
                **style,
            )
    axes.set_ylim(-2.6, 0.6)
    axes.set_yticks([0, -1, -2], [name for name, _ in lines])
    axes.tick_params(axis="y", length=0)
    axes.set_title(
        "Events; filled: the curves show it, hollow: marked by hand"
        if shape is WIDE
        else "Events; filled: seen, hollow: by hand"
    )


def _rows(told: Told) -> list[tuple[str, list[_Bar]]]:
    """Collect the rows of the lowest panel: alarms by key, then silent probes."""
    facts = told.facts
    end = facts.cook.told_until_unix
    rows: dict[str, list[_Bar]] = {}
    for alarm in facts.alarms.rows:
        name = f"{alarm.rule}: {alarm.subject}" if alarm.subject else alarm.rule
        until = alarm.over_unix or end
        waited = min(end, alarm.raised_unix + (alarm.waited_seconds or 0.0))
        rows.setdefault(name, []).append((name, alarm.raised_unix, until, waited, alarm.priority == "urgent"))
    for gap in facts.gaps:
        rows.setdefault(f"silent: {gap.probe}", []).append(("", gap.start_unix, gap.end_unix, None, False))
    kept = list(rows.items())
    if len(kept) > MOST_ROWS:
        kept = [*kept[: MOST_ROWS - 1], (f"and {len(kept) - MOST_ROWS + 1} more: see the tables", [])]
    return kept


def _bars(axes: Axes, rows: Sequence[tuple[str, list[_Bar]]], end: float, shape: Shape) -> None:
    for k, (name, bars) in enumerate(rows):
        axes.annotate(
            plain(name, 46), (0.0, -k - 0.08), xycoords=("axes fraction", "data"), xytext=(3, 0),
            textcoords="offset points", va="bottom", fontsize=shape.font - 0.5, zorder=4,
        )  # fmt: skip
        for _, begin, until, waited, urgent in bars:
            least = max(until, begin + 0.003 * (end - axes.get_xlim()[0]))
            if waited is None:
                axes.barh(
                    -k - 0.3,
                    least - begin,
                    left=begin,
                    height=0.3,
                    color=FAINT,
                    edgecolor=SOFT,
                    hatch="////",
                    linewidth=0.6,
                )
                continue
            colour = WARN if urgent else ACCENT
            axes.barh(-k - 0.3, least - begin, left=begin, height=0.3, color=PAPER, edgecolor=colour, linewidth=1.0)
            axes.barh(-k - 0.3, max(min(waited, least), begin) - begin, left=begin, height=0.3, color=colour)
    if not rows:
        axes.text(0.01, 0.5, "no alarm, and no probe silent", transform=axes.transAxes, va="center", color=SOFT)
    axes.set_ylim(-max(1, len(rows)) + 0.3, 0.62)
    axes.set_yticks([])
    axes.set_title(
        "Alarms; filled while nobody had seen it. Hatched: a probe silent"
        if shape is WIDE
        else "Alarms; filled: nobody had seen it"
    )
