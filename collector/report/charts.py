"""The smaller pictures of a report: evenness over time, the survey, maps, and what was read by hand."""

from collections.abc import Sequence
from functools import partial
from typing import Any

import numpy as np
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import FigureBase
from matplotlib.patches import Rectangle

from collector.model.plan import GRATE
from collector.report.facts import Facts, HandReading, Told
from collector.report.maps import COLUMNS, ROWS, ChamberMap
from collector.report.picture import broken
from collector.report.style import (
    ACCENT,
    CURVES,
    DASHES,
    FAINT,
    INK,
    NARROW,
    PAPER,
    SOFT,
    WIDE,
    Chart,
    Shape,
    Sketch,
    end_labels,
    plain,
    time_axis,
)  # fmt: skip
from collector.report.summary import deviation_says, even_says, map_number, map_says, map_title, map_unit
from collector.report.survey import SurveyPoint
from collector.report.wording import Words
from collector.thermal import THERMAL

__all__ = ["evenness", "hand_readings", "map_charts", "map_inches", "map_sketch", "survey_chart"]

_SCALE = LinearSegmentedColormap.from_list("thermal", [f"#{word}" for word in THERMAL.split()])
_ANY = Shape("any", 3.5, 8.5, 0.1, 6, 24)
MAP_INCHES = 3.5
FIRE_SHARE = 0.022
ON_MAP, UNDER = "#000001", "#fffffe"
"""Black and white of a map, which stay as they are in the dark."""


def nice_step(least: float) -> float:
    """Give the least of 1, 2, 5, 10, 20, 50 … that is not below a number."""
    power = 10.0 ** np.floor(np.log10(max(least, 1.0)))
    return float(power * next(k for k in (1.0, 2.0, 5.0, 10.0) if k * power >= max(least, 1.0) - 1e-9))


def evenness(told: Told, words: Words) -> Chart:
    """Draw spread and cold dose over time."""
    figures = tuple(
        (shape.name, Sketch(shape.inches, 3.9, shape.font, partial(_evenness, told, words, shape)))
        for shape in (WIDE, NARROW)
    )
    return Chart("evenness", "Spread and cold dose over time", even_says(told, words), figures)


def _evenness(told: Told, words: Words, shape: Shape, figure: FigureBase) -> None:
    facts, drawn = told.facts, told.drawn
    minutes = drawn.minutes
    left, width = 0.46 / shape.inches, (shape.inches - 0.46 - shape.right) / shape.inches
    upper, lower = figure.add_axes((left, 0.57, width, 0.37)), figure.add_axes((left, 0.115, width, 0.34))
    for axes in (upper, lower):
        time_axis(axes, facts.cook.started_unix, facts.cook.told_until_unix, words, shape)
        axes.grid(visible=True)
    spread = np.array([words.apart(v) for v in drawn.spread.tolist()])
    steady = np.where(minutes.steady, spread, np.nan)
    upper.plot(*broken(minutes.unix, spread), color=SOFT, linewidth=0.8, linestyle=DASHES[2])
    upper.plot(*broken(minutes.unix, steady), color=CURVES[0])
    known = steady[np.isfinite(steady)]
    upper.set_ylim(0.0, 1.15 * float(known.max()) if known.size and known.max() > 0 else 1.0)
    end_labels(upper, [(float(known[-1]), f"{known[-1]:.0f} spread", CURVES[0])] if known.size else [], shape)
    upper.set_title(
        f"Hottest less coldest grate zone, {words.degree}; dotted: not steady"
        if shape is WIDE
        else f"Spread, {words.degree}; dotted: not steady"
    )
    upper.tick_params(labelbottom=False)
    ends = []
    for k, zone in enumerate(z for z in facts.zones if z.level == GRATE):
        at = [z.name for z in facts.zones].index(zone.name)
        dose = np.array([words.apart(v) for v in drawn.dose[at].tolist()])
        if not np.nanmax(np.nan_to_num(dose), initial=0.0) >= 0.5:
            continue
        colour = CURVES[k % len(CURVES)]
        lower.plot(drawn.dose_unix, dose, color=colour, linestyle=DASHES[k % len(DASHES)])
        ends.append((float(dose[-1]), f"{dose[-1]:,.0f} {zone.name}", colour))
    lower.set_ylim(bottom=0.0)
    if ends:
        end_labels(lower, ends, shape)
    else:
        lower.text(0.01, 0.5, "no zone stood below the band", transform=lower.transAxes, va="center", color=SOFT)
    lower.set_title(
        f"Cold dose of each zone, {words.degree} times minutes below the band"
        if shape is WIDE
        else f"Cold dose, {words.degree} minutes"
    )
    lower.set_xlabel("local time")


def survey_chart(facts: Facts, words: Words) -> Chart | None:
    """Draw each probe's deviation and how far it strayed; None without a survey."""
    if facts.survey is None:
        return None
    points = [p for p in facts.survey.probes if p.deviation_kelvin is not None and p.level == GRATE]
    if not points:
        return None
    sketch = Sketch(3.6, 0.34 * len(points) + 0.62, _ANY.font, partial(_survey, points, words))
    return Chart("survey", "Deviation of each grate probe", deviation_says(facts, words), (("any", sketch),))


def _survey(points: Sequence[SurveyPoint], words: Words, figure: FigureBase) -> None:
    height = 0.34 * len(points) + 0.62
    axes = figure.add_axes((0.03, 0.42 / height, 0.94, 1.0 - 0.5 / height))
    for k, point in enumerate(points):
        middle, low, high = (
            words.apart(v or 0.0) for v in (point.deviation_kelvin, point.below_kelvin, point.above_kelvin)
        )
        axes.plot([low, high], [-k - 0.2, -k - 0.2], color=SOFT, linewidth=1.2, solid_capstyle="butt")
        axes.plot(
            [low, low, high, high],
            [-k - 0.3, -k - 0.1, -k - 0.1, -k - 0.3],
            color=SOFT,
            linewidth=1.0,
            linestyle="",
        )
        axes.plot([low, high], [-k - 0.2, -k - 0.2], color=SOFT, marker="|", markersize=6, linestyle="")
        axes.plot([middle], [-k - 0.2], marker="o", markersize=5.5, color=ACCENT)
        axes.annotate(
            plain(f"{words.difference(point.deviation_kelvin)}  {point.name}", 30), (0.0, -k), va="bottom",
            xycoords=("axes fraction", "data"), xytext=(2, 0), textcoords="offset points",
        )  # fmt: skip
    axes.axvline(0.0, color=INK, linewidth=0.8)
    axes.set_ylim(-len(points) + 0.45, 0.75)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.grid(visible=True, axis="x")
    axes.set_xlabel(f"{words.degree} from the reference; dot: mean, line: furthest")


def map_charts(told: Told, words: Words) -> tuple[Chart, ...]:
    """Draw every map; those in degrees of one level share one scale."""
    drawn = told.drawn.maps
    charts = []
    for k, one in enumerate(drawn):
        charts.append(
            Chart(
                f"map{k}", map_title(one.facts, words), map_says(one.facts, words),
                (("any", map_sketch(one, drawn, told.facts, words)),),
            )
        )  # fmt: skip
    return tuple(charts)


def map_inches(facts: Facts, *, title: bool) -> tuple[float, float]:
    """Give the height of a map without and with all that stands around it, inches; it is `MAP_INCHES` wide."""
    length, width = facts.cook.length_m or 1.0, facts.cook.width_m or 1.0
    high = min(2.6, max(1.0, 0.92 * MAP_INCHES * width / length))
    return high, high + (0.26 if title else 0.06) + 0.42


def _scale_of(one: ChamberMap, maps: tuple[ChamberMap, ...], words: Words) -> tuple[float, float]:
    """Choose the ends of a map's scale, in the unit on show: the band, widened to hold what the level's maps show."""
    like = [m for m in maps if m.facts.unit == one.facts.unit and m.facts.level == one.facts.level]
    convert = words.degrees if one.facts.unit == "celsius" else words.apart
    shown = [convert(float(v)) for m in like for v in (m.values.min(), m.values.max())]
    if one.facts.unit != "celsius":
        return 0.0, max(1.0, *shown)
    if one.facts.level == GRATE:
        shown += [words.degrees(v) for v in (one.facts.low, one.facts.high) if v is not None]
    return np.floor(min(shown) / 10.0) * 10.0, np.ceil(max(shown) / 10.0) * 10.0


def map_sketch(one: ChamberMap, maps: tuple[ChamberMap, ...], facts: Facts, words: Words, title: str = "") -> Sketch:
    """Say how one map is drawn: as the cook sees the pit, its back at the top; hatched where it does not know.

    Args:
        one: the map.
        maps: all that are drawn, so that those of one kind share their scale.
        facts: the report's.
        words: for whom.
        title: above it, where no page gives it one.
    """
    _, total = map_inches(facts, title=bool(title))
    return Sketch(MAP_INCHES, total, _ANY.font, partial(_draw_map, one, maps, facts, words, title))


def _draw_map(
    one: ChamberMap, maps: tuple[ChamberMap, ...], facts: Facts, words: Words, title: str, figure: FigureBase
) -> None:
    length, width = facts.cook.length_m or 1.0, facts.cook.width_m or 1.0
    high, total = map_inches(facts, title=bool(title))
    below = 0.42
    axes = figure.add_axes((0.01, below / total, 0.98, high / total))
    convert = words.degrees if one.facts.unit == "celsius" else words.apart
    shown = np.vectorize(convert, otypes=[float])(one.values)
    low, most = _scale_of(one, maps, words)
    extent = (0.0, float(COLUMNS), float(ROWS), 0.0)
    image = axes.imshow(
        shown, cmap=_SCALE, vmin=low, vmax=most, extent=extent, aspect="auto", interpolation="none"
    )  # fmt: skip
    at_x, at_y = np.arange(COLUMNS) + 0.5, np.arange(ROWS) + 0.5
    lines = np.arange(low, most, nice_step((most - low) / 8.0))
    if np.ptp(shown) > 0.0:
        axes.contour(at_x, at_y, shown, levels=lines, colors=ON_MAP, linewidths=0.5, alpha=0.55)
    if one.unknown.any():
        style: dict[str, Any] = {"levels": [0.5, 1.5], "colors": "none", "hatches": ["xxx"]}
        if one.unknown.all():
            axes.add_patch(Rectangle((0, 0), COLUMNS, ROWS, fill=False, hatch="xxx", edgecolor=ON_MAP, linewidth=0))
        else:
            hatched = axes.contourf(at_x, at_y, one.unknown, **style)
            hatched.set_edgecolor(ON_MAP)
            hatched.set_linewidth(0.0)
    left_fire = facts.cook.fire_side == "left"
    axes.add_patch(
        Rectangle(
            (0 if left_fire else COLUMNS * (1 - FIRE_SHARE), 0),
            COLUMNS * FIRE_SHARE,
            ROWS,
            facecolor=UNDER,
            edgecolor=ON_MAP,
            hatch="////",
            linewidth=0.6,
            zorder=4,
        )
    )
    for point in one.facts.probes:
        if point.x_m is None or point.y_m is None:
            continue
        x = point.x_m / length if left_fire else 1.0 - point.x_m / length
        text = map_number(point.value, one.facts.unit, words)
        axes.text(
            min(max(x, 0.09), 0.91) * COLUMNS, min(max(point.y_m / width, 0.08), 0.92) * ROWS,
            text if point.believed else f"({text})", ha="center", va="center", color=ON_MAP, zorder=6,
            bbox={"boxstyle": "round,pad=0.22", "facecolor": UNDER, "edgecolor": "none", "alpha": 0.86},
        )  # fmt: skip
    axes.set_xticks([])
    axes.set_yticks([])
    for side in axes.spines.values():
        side.set_visible(True)
    fire, stack = ("fire", "stack end") if left_fire else ("stack end", "fire")
    figure.text(0.01, (below - 0.12) / total, fire, va="center", color=INK)
    figure.text(0.99, (below - 0.12) / total, stack, va="center", ha="right", color=INK)
    bar = figure.add_axes((0.24, (below - 0.26) / total, 0.52, 0.09 / total))
    colours = figure.colorbar(image, cax=bar, orientation="horizontal")
    colours.outline.set_linewidth(0.4)
    step = nice_step((most - low) / 4.0)
    ticks = np.arange(np.ceil(low / step) * step, most + 1e-9, step)
    colours.set_ticks(ticks.tolist(), labels=[f"{t:,.0f}" for t in ticks])
    bar.tick_params(length=2, pad=1.5, labelsize=_ANY.font - 1)
    figure.text(
        0.775,
        (below - 0.335) / total,
        map_unit(one.facts.unit, words).replace(" minutes", " min"),
        va="center",
        color=INK,
        fontsize=_ANY.font - 1,
    )
    if title:
        figure.text(0.01, 1.0 - 0.13 / total, plain(title, 60), va="center", weight="bold")


def hand_readings(told: Told, words: Words) -> Chart | None:
    """Draw where bread was scored and thermometers were put in; None where nothing has a place."""
    facts = told.facts
    length, width = facts.cook.length_m or 0.0, facts.cook.width_m or 0.0
    placed = [h for h in facts.hand_readings if h.x_m is not None and h.y_m is not None]
    if not placed or length <= 0.0 or width <= 0.0:
        return None
    high = min(2.6, max(1.2, 0.92 * MAP_INCHES * width / length))
    says = ", ".join(f"{hand.where} {_hand_words(hand, words)}" for hand in placed)
    sketch = Sketch(MAP_INCHES, high + 0.3, _ANY.font, partial(_hand, placed, facts, words, high))
    return Chart("hand", "Read by hand, and bread", f"Seen from above: {says}.", (("any", sketch),))


def _hand_words(hand: HandReading, words: Words) -> str:
    return words.temperature(hand.celsius) if hand.score is None else f"bread {hand.score:g}"


def _hand(placed: Sequence[HandReading], facts: Facts, words: Words, high: float, figure: FigureBase) -> None:
    length, width = facts.cook.length_m or 1.0, facts.cook.width_m or 1.0
    left_fire = facts.cook.fire_side == "left"
    axes = figure.add_axes((0.01, 0.26 / (high + 0.3), 0.98, high / (high + 0.3)))
    for hand in placed:
        x = (hand.x_m or 0.0) / length
        x = x if left_fire else 1.0 - x
        score = hand.score is not None
        text = f"{hand.score:g}" if hand.score is not None else words.number(hand.celsius)
        axes.text(
            min(max(x, 0.08), 0.92),
            1.0 - min(max((hand.y_m or 0.0) / width, 0.08), 0.92),
            text,
            ha="center",
            va="center",
            color=INK,
            weight="bold" if score else "normal",
            bbox={
                "boxstyle": "round,pad=0.3" if score else "square,pad=0.3",
                "facecolor": PAPER,
                "edgecolor": ACCENT if score else SOFT,
            },
        )
    axes.add_patch(
        Rectangle(
            (0 if left_fire else 1 - FIRE_SHARE, 0),
            FIRE_SHARE,
            1,
            facecolor=PAPER,
            edgecolor=INK,
            hatch="////",
            linewidth=0.6,
        )
    )
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    axes.set_xticks([])
    axes.set_yticks([])
    for side in axes.spines.values():
        side.set_visible(True)
        side.set_color(FAINT)
    fire, stack = ("fire", "stack end") if left_fire else ("stack end", "fire")
    figure.text(0.01, 0.11 / (high + 0.3), fire, va="center")
    figure.text(
        0.5, 0.11 / (high + 0.3), f"round: bread 1–5, square: {words.degree}", va="center", ha="center", color=SOFT
    )
    figure.text(0.99, 0.11 / (high + 0.3), stack, va="center", ha="right")
