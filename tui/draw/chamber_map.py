"""The cook chamber from above: colour field, outline, each probe's number, coldest and hottest place, unknown hatched.

Two pixels a cell, the upper half as ink and the lower as paper of a half block; with fewer colours one glyph a cell.
"""

import math

import msgspec
import numpy as np
from numpy.typing import NDArray

from collector.model.robust import median
from collector.raster import Raster
from collector.snapshot import ChamberView, FieldView, ProbeView, Snapshot
from tui.draw.colour_scale import ColourScale
from tui.draw.labels import Sign, extremes, label_text, place, place_signs
from tui.draw.meat_map import draw_outlines, lying, name_signs, spot_signs
from tui.draw.picture import FAINT, PLAIN, STRONG, Canvas, Picture
from tui.draw.places import Places, told_apart
from tui.draw.view import View
from tui.draw.words import degree, difference, number

__all__ = ["UNKNOWN_KELVIN", "ChamberDrawing", "Subject", "draw_chamber", "range_celsius"]

UNKNOWN_KELVIN = 4.0
"""Where the map's own standard deviation is greater, it shows a hatching instead of a colour."""
ROOMY_ROWS = 14
"""From this height on, the coldest and the hottest place have lines of their own."""
STRETCH = 1.6
"""How far the picture may be stretched one way to fill its room."""


class Subject(msgspec.Struct, frozen=True):
    """What the map shows."""

    level: str
    scale: ColourScale
    difference: bool = False
    """Differences from the median of the level's probes instead of temperatures."""


class ChamberDrawing(msgspec.Struct, frozen=True):
    """The finished map."""

    picture: Picture
    left_out: tuple[str, ...]
    """Probes whose number found no room."""
    unknown_share: float
    """Share of the chamber that is hatched, 0 to 1."""


def range_celsius(snapshot: Snapshot, level: str) -> tuple[float, float]:
    """Choose the ends of the colour scale: the band around the target, widened by tens to hold the level's probes."""
    on_level = (p for p in snapshot.probes if p.duty == "chamber" and p.level == level and p.used)
    known = [p.celsius for p in on_level if not math.isnan(p.celsius)]
    low = min([snapshot.low_celsius, *known])
    high = max([snapshot.high_celsius, *known])
    return math.floor(low / 10.0) * 10.0, math.ceil(high / 10.0) * 10.0


def _median(probes: tuple[ProbeView, ...]) -> float:
    known = [p.celsius for p in probes if p.used and not math.isnan(p.celsius)]
    return float(median(np.asarray(known))) if known else math.nan


def _box(chamber: ChamberView, width: int, height: int) -> tuple[int, int]:
    """Give the size of the inside in cells: as large as fits, stretched by no more than `STRETCH`."""
    columns, rows = width - 2, height - 2
    true_columns = 2.0 * rows * chamber.length_m / chamber.width_m
    if columns > true_columns * STRETCH:
        columns = int(true_columns * STRETCH)
    elif columns < true_columns / STRETCH:
        rows = max(3, math.ceil(columns * STRETCH * chamber.width_m / chamber.length_m / 2.0))
    return max(1, columns), max(1, min(rows, height - 2))


def draw_chamber(
    snapshot: Snapshot, subject: Subject, raster: Raster, view: View, width: int, height: int
) -> ChamberDrawing:
    """Draw one level into `width` by `height` cells, what the places are and the legend in the last rows.

    Needs at least 20 by 6 cells; what is smaller stays empty.
    """
    canvas = Canvas(width, height)
    if width < 20 or height < 6:
        return ChamberDrawing(canvas.picture(), (), 1.0)
    chamber = snapshot.chamber
    probes = tuple(p for p in snapshot.probes if p.duty == "chamber" and p.level == subject.level)
    middle = _median(probes)
    low, high = range_celsius(snapshot, subject.level)
    if subject.difference:
        low, high = _around(low, high, middle)
    field = next((f for f in snapshot.fields if f.level == subject.level), None)
    reference = middle if subject.difference else math.nan
    places = None if field is None else Places(field, chamber, view, reference)
    foot = _foot(places, width, height)
    columns, rows = _box(chamber, width, height - 1 - len(foot))
    left, top = (width - columns - 2) // 2, (height - 1 - len(foot) - rows - 2) // 2
    unknown = np.ones((rows, columns), dtype=np.bool_)
    inside = (slice(top + 1, top + 1 + rows), slice(left + 1, left + 1 + columns))
    if field is not None and not view.old:
        unknown = _paint(canvas, inside, field, chamber, subject, raster, (low, high), view)
    elif not view.old:
        _hatch(canvas, inside, unknown, view)
    _outline(canvas, chamber, left, top, columns, rows, view)
    at_grate = subject.level == next(iter(chamber.levels), "")
    pieces = lying(snapshot.meat) if at_grate else []
    draw_outlines(canvas, inside, pieces, chamber, subject.scale, view)
    by_hand = spot_signs(snapshot.spots, view) if at_grate else []
    signs = [*_signs(places), *by_hand, *name_signs(pieces, view)]
    left_out = _label(canvas, probes, chamber, inside, reference, signs, view)
    for i, text in enumerate(foot):
        canvas.write(height - 1 - len(foot) + i, 0, text, FAINT if view.old else PLAIN)
    short = places.short() if places is not None and not foot else []
    _legend(canvas, subject, low, high, middle, short, bool(unknown.any()), bool(by_hand), view)
    return ChamberDrawing(canvas.picture(), tuple(left_out), float(unknown.mean()))


def _around(low: float, high: float, middle: float) -> tuple[float, float]:
    """Choose the ends of the difference scale: even about the median, at least 15 K each way."""
    if math.isnan(middle):
        return -15.0, 15.0
    reach = max(15.0, high - middle, middle - low)
    return middle - reach, middle + reach


def _paint(
    canvas: Canvas,
    inside: tuple[slice, slice],
    field: FieldView,
    chamber: ChamberView,
    subject: Subject,
    raster: Raster,
    ends: tuple[float, float],
    view: View,
) -> NDArray[np.bool_]:
    """Colour the inside and hatch what is unknown; give which cells are."""
    rows, columns = canvas.ink[inside].shape
    mean, sd = raster.draw(field, chamber, columns, rows * 2)
    unknown = np.asarray(np.maximum(sd[0::2], sd[1::2]) > UNKNOWN_KELVIN)
    scale = subject.scale
    if scale.colours:
        step = scale.index(mean, *ends)
        upper, lower = step[0::2], step[1::2]
        canvas.glyph[inside] = np.where(upper == lower, " ", "▀")
        canvas.ink[inside] = upper
        canvas.paper[inside] = lower
    else:
        step = scale.index((mean[0::2] + mean[1::2]) / 2.0, *ends)
        canvas.glyph[inside] = np.array(list(scale.ramp))[step]
    _hatch(canvas, inside, unknown, view)
    return unknown


def _hatch(canvas: Canvas, inside: tuple[slice, slice], unknown: NDArray[np.bool_], view: View) -> None:
    canvas.glyph[inside] = np.where(unknown, "/" if view.ascii_only else "╱", canvas.glyph[inside])
    canvas.ink[inside] = np.where(unknown, FAINT, canvas.ink[inside])
    canvas.paper[inside] = np.where(unknown, PLAIN, canvas.paper[inside])


def _outline(canvas: Canvas, chamber: ChamberView, left: int, top: int, columns: int, rows: int, view: View) -> None:
    corners = "++++-|" if view.ascii_only else ("╭╮╰╯─│" if chamber.shape == "cylinder" else "┌┐└┘─│")
    bottom, right = top + rows + 1, left + columns + 1
    canvas.write(top, left, corners[0] + corners[4] * columns + corners[1], FAINT)
    canvas.write(bottom, left, corners[2] + corners[4] * columns + corners[3], FAINT)
    for row in range(top + 1, bottom):
        canvas.write(row, left, corners[5], FAINT)
        canvas.write(row, right, corners[5], FAINT)
    ends = (" FIRE END ", " STACK END ")
    first, last = ends if chamber.fire_side == "left" else ends[::-1]
    canvas.write(top, left + 2, first, STRONG)
    canvas.write(top, right - 1 - len(last), last, STRONG)
    if columns > 34:
        canvas.write(top, left + 1 + (columns - 6) // 2, " back ", FAINT)
    canvas.write(bottom, left + 1 + (columns - 6) // 2, " door ", FAINT)


def _label(
    canvas: Canvas,
    probes: tuple[ProbeView, ...],
    chamber: ChamberView,
    inside: tuple[slice, slice],
    reference_celsius: float,
    signs: list[Sign],
    view: View,
) -> list[str]:
    hottest, coldest = extremes(probes)
    first = sorted(probes, key=lambda p: (p.name not in (hottest, coldest), p.name))
    texts = [(p, label_text(p, hottest, coldest, reference_celsius, view)) for p in first]
    rows, columns = canvas.ink[inside].shape
    labels, left_out = place(texts, chamber, columns, rows)
    for label in [*labels, *place_signs(signs, labels, chamber, columns, rows)]:
        ink = STRONG if label.trusted and not view.old else FAINT
        canvas.write(inside[0].start + label.row, inside[1].start + label.column, label.text, ink)
    return left_out


def _foot(places: Places | None, width: int, height: int) -> list[str]:
    """Write the lines that tell the coldest and the hottest place; none where there is no room for them."""
    if places is None or height < ROOMY_ROWS:
        return []
    lines = places.long()
    together = "  ".join(lines)
    if len(together) <= width:
        return [together]
    return lines if max(map(len, lines)) <= width else []


def _signs(places: Places | None) -> list[Sign]:
    """Mark the coldest and the hottest place, where they can be told apart."""
    if places is None or not told_apart(places.field):
        return []
    found = (places.field.coldest, places.field.hottest)
    return [(p.x_m, p.y_m, f"{sign:^3}") for p, sign in zip(found, places.signs, strict=True)]


def _legend(
    canvas: Canvas, subject: Subject, low: float, high: float, middle: float, short: list[str], hatched: bool,
    by_hand: bool, view: View,
) -> None:  # fmt: skip
    """Write the scale with its ends, the places in short unless they were told, and what the signs mean."""
    row = canvas.height - 1
    if subject.difference:
        first, last = (difference(end - middle, view) for end in (low, high))
    else:
        first, last = number(low, view), number(high, view)
    canvas.write(row, 0, first, PLAIN)
    column = len(first) + 1
    bar = 8 if short else min(24, max(8, canvas.width // 5))
    steps = np.arange(bar) * subject.scale.steps // bar
    for i, step in enumerate(steps.tolist()):
        if subject.scale.colours:
            canvas.write(row, column + i, " ", PLAIN, step)
        else:
            canvas.write(row, column + i, subject.scale.ramp[step])
    column += bar + 1
    unit = degree(view) + (" from the median" if subject.difference else "")
    up, down, unknown, spot = "^v/o" if view.ascii_only else "▲▼╱◦"
    probes = [f"{up}{down} probes"] if short or by_hand else [f"{up} hottest probe", f"{down} coldest probe"]
    canvas.write(row, column, f"{last} {unit}")
    column += len(last) + len(unit) + 3
    hand = [f"{spot} by hand"] if by_hand else []
    for text in [*short, *([f"{unknown} unknown"] if hatched else []), *probes, *hand]:
        if column + len(text) <= canvas.width:
            canvas.write(row, column, text, PLAIN if text in short and not view.old else FAINT)
            column += len(text) + 2
