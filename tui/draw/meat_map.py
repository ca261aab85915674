"""Meat on the chamber map: each piece as an outline where it lies, its name where there is room, spots read by hand."""

import math

from collector.model.meat.spots import NEWEST_SPOTS
from collector.snapshot import ChamberView, MeatView, SpotView
from tui.draw.clean import clean
from tui.draw.colour_scale import ColourScale
from tui.draw.labels import Sign
from tui.draw.picture import FAINT, STRONG, Canvas
from tui.draw.view import View

__all__ = ["draw_outlines", "lying", "name_signs", "spot_signs"]

NAME_CELLS = 14
ON = ("cooking", "wrapped")
EDGES, ASCII_EDGES = "┏┓┗┛━┃", "++++-|"
"""Corners, then across and down."""


def lying(meat: tuple[MeatView, ...]) -> list[MeatView]:
    """Give the pieces that lie in the pit at a known place."""
    return [p for p in meat if p.place is not None and all(map(math.isfinite, p.place)) and p.phase in ON]


def draw_outlines(
    canvas: Canvas, inside: tuple[slice, slice], pieces: list[MeatView], chamber: ChamberView, scale: ColourScale,
    view: View,
) -> None:  # fmt: skip
    """Draw the edge of each piece over the colours of the field, which stay behind it."""
    height, width = canvas.ink[inside].shape
    plain = FAINT if view.old else STRONG
    light = [_light(colour) for colour in scale.colours]
    edges = ASCII_EDGES if view.ascii_only else EDGES
    for piece in pieces:
        assert piece.place is not None
        x0, x1, y0, y1 = piece.place
        ends = sorted(_share(x, chamber) for x in (x0, x1))
        left, right = (min(width - 1, max(0, int(share * width))) for share in ends)
        top, bottom = (
            min(height - 1, max(0, int(min(1.0, max(0.0, y / chamber.width_m)) * height))) for y in sorted((y0, y1))
        )
        if right - left < 2 or bottom - top < 1:
            continue
        cells = [(row, column, edges[4]) for row in (top, bottom) for column in range(left + 1, right)]
        cells += [(row, column, edges[5]) for column in (left, right) for row in range(top + 1, bottom)]
        cells += [(top, left, edges[0]), (top, right, edges[1]), (bottom, left, edges[2]), (bottom, right, edges[3])]
        for row, column, glyph in cells:
            at = inside[0].start + row, inside[1].start + column
            paper = int(canvas.paper[at])
            canvas.glyph[at], canvas.ink[at] = glyph, plain if paper < 0 else _against(light, paper)


def _light(colour: tuple[int, int, int]) -> float:
    """Say how light a colour is to the eye (ITU-R BT.709 weights)."""
    red, green, blue = colour
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _against(light: list[float], paper: int) -> int:
    """Choose the step of the scale that stands out most from the one behind it."""
    return max((0, len(light) // 2, len(light) - 1), key=lambda step: abs(light[step] - light[paper]))


def _share(x_m: float, chamber: ChamberView) -> float:
    """Give a place along the pit as a share of the picture's width."""
    share = min(1.0, max(0.0, x_m / chamber.length_m))
    return share if chamber.fire_side == "left" else 1.0 - share


def name_signs(pieces: list[MeatView], view: View) -> list[Sign]:
    """Name each piece in its middle."""
    signs: list[Sign] = []
    for piece in pieces:
        assert piece.place is not None
        x0, x1, y0, y1 = piece.place
        name = clean(piece.name, NAME_CELLS, ascii_only=view.ascii_only)
        signs.append(((x0 + x1) / 2, (y0 + y1) / 2, f" {name} "))
    return signs


def spot_signs(spots: tuple[SpotView, ...], view: View) -> list[Sign]:
    """Mark where the newest readings by hand were taken, the newest of each place."""
    sign = " o " if view.ascii_only else " ◦ "
    places = {(s.x_m, s.y_m) for s in spots[-NEWEST_SPOTS:] if s.x_m is not None and s.y_m is not None}
    there = [(x, y) for x, y in places if x is not None and y is not None and math.isfinite(x) and math.isfinite(y)]
    return [(x, y, sign) for x, y in sorted(there)]
