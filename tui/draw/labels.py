"""Each probe's number where it lies on the map, moved a little where two would cover each other."""

import math

import msgspec

from adapters.reading import Quality
from collector.snapshot import ChamberView, ProbeView
from tui.draw.view import View
from tui.draw.words import difference, number

__all__ = ["Label", "Sign", "extremes", "label_text", "place", "place_signs"]

SHIFTS = (
    (0, 0), (1, 0), (-1, 0), (0, -2), (0, 2), (1, -3), (1, 3), (-1, -3), (-1, 3), (2, 0), (-2, 0), (0, -4), (0, 4),
    (2, -4), (2, 4), (-2, -4), (-2, 4), (0, -6), (0, 6),
)  # fmt: skip
"""Rows and columns a label may move, the least first."""


Taken = list[tuple[int, int, int]]
"""Row, first column and length of what is written already."""
Sign = tuple[float, float, str]
"""Place along and across the pit, metres, and the text that marks it."""


class Label(msgspec.Struct, frozen=True):
    """A text at a cell of the inside of the map."""

    name: str
    row: int
    column: int
    """Of its first character."""
    text: str
    trusted: bool


def extremes(probes: tuple[ProbeView, ...]) -> tuple[str, str]:
    """Name the hottest and the coldest of the probes that are used; empty where fewer than two are."""
    known = [(p.celsius, p.name) for p in probes if p.used and not math.isnan(p.celsius)]
    if len(known) < 2:
        return "", ""
    return max(known)[1], min(known)[1]


def label_text(probe: ProbeView, hottest: str, coldest: str, reference_celsius: float, view: View) -> str:
    """Write a probe's value, or its difference from a reference unless that is NaN, with what marks it out."""
    if probe.silent or math.isnan(probe.celsius):
        return " x " if view.ascii_only else " × "
    if math.isnan(reference_celsius):
        text = number(probe.celsius, view)
    else:
        text = difference(probe.celsius - reference_celsius, view)
    mark = " "
    if probe.name == hottest:
        mark = "^" if view.ascii_only else "▲"
    elif probe.name == coldest:
        mark = "v" if view.ascii_only else "▼"
    doubt = "?" if probe.quality is not Quality.GOOD or not probe.used else " "
    return f"{mark}{text}{doubt}"


def place(
    texts: list[tuple[ProbeView, str]], chamber: ChamberView, width: int, height: int
) -> tuple[list[Label], list[str]]:
    """Find each text a place on the inside of a map of `width` by `height` cells.

    The first in the list choose first. Labels neither overlap nor leave the inside.

    Returns:
        The labels, and the names of the probes that found no room.
    """
    taken: Taken = []
    labels: list[Label] = []
    left_out: list[str] = []
    for probe, text in texts:
        if probe.x_m is None or probe.y_m is None:
            continue
        found = _room(taken, (probe.x_m, probe.y_m, text), chamber, width, height)
        if found is None:
            left_out.append(probe.name)
            continue
        trusted = probe.used and not probe.silent and probe.quality is Quality.GOOD
        labels.append(Label(probe.name, *found, text, trusted))
    return labels, left_out


def place_signs(signs: list[Sign], labels: list[Label], chamber: ChamberView, width: int, height: int) -> list[Label]:
    """Find each sign a place beside the labels, as near as there is room; one without room is left out."""
    taken = [(label.row, label.column, len(label.text)) for label in labels]
    found = [(_room(taken, sign, chamber, width, height), sign[2]) for sign in signs]
    return [Label("", *at, text, trusted=True) for at, text in found if at is not None]


def _room(taken: Taken, sign: Sign, chamber: ChamberView, width: int, height: int) -> tuple[int, int] | None:
    """Take the nearest free row and column for a text at a place; None when there is no room."""
    x_m, y_m, text = sign
    share = x_m / chamber.length_m
    share = share if chamber.fire_side == "left" else 1.0 - share
    row = min(height - 1, max(0, int(y_m / chamber.width_m * height)))
    column = int(share * width) - len(text) // 2
    for down, right in SHIFTS:
        r = row + down
        c = min(max(0, column + right), width - len(text))
        if 0 <= r < height and c >= 0 and _free(taken, r, c, len(text)):
            taken.append((r, c, len(text)))
            return r, c
    return None


def _free(taken: Taken, row: int, column: int, length: int) -> bool:
    return all(r != row or column + length <= c or c + n <= column for r, c, n in taken)
