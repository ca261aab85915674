"""The chamber from above as a small picture to go with a message: colours, probes, and which end is the fire's."""

import math

import numpy as np
from numpy.typing import NDArray

from collector.calls.png import Rgb, encode_png
from collector.raster import Raster
from collector.snapshot import Snapshot
from collector.thermal import THERMAL

__all__ = ["draw_map"]

LONG_PIXELS, LEAST_PIXELS, MOST_PIXELS = 360, 60, 240
"""Along the pit, and across it."""
FIRE_PIXELS = 14
"""Width of the bar at the fire end, striped, so that no temperature looks like it."""
UNKNOWN_KELVIN = 4.0
"""Where the map's own standard deviation is greater, it is hatched, as on the screen."""
COLOURS: tuple[Rgb, ...] = (
    *((int(word[:2], 16), int(word[2:4], 16), int(word[4:], 16)) for word in THERMAL.split()),
    (0, 0, 0), (255, 255, 255), (213, 94, 0),
)  # fmt: skip
BLACK, WHITE, FIRE = (len(COLOURS) - k for k in (3, 2, 1))


def draw_map(snapshot: Snapshot) -> bytes:
    """Draw the grate as PNG, seen as the cook sees the pit, the fire end marked by a bar; empty without a map."""
    field = next(iter(snapshot.fields), None)
    chamber = snapshot.chamber
    if field is None or chamber.length_m <= 0.0:
        return b""
    across = round(LONG_PIXELS * chamber.width_m / chamber.length_m)
    rows = max(LEAST_PIXELS, min(MOST_PIXELS, across))
    mean, sd = Raster().draw(field, chamber, LONG_PIXELS // 4, rows // 4)
    rows = 4 * (rows // 4)
    low, high = _range(snapshot, field.level)
    share = (np.nan_to_num(mean, nan=low) - low) / max(high - low, 1e-9)
    steps = np.clip(share * (BLACK - 1), 0, BLACK - 1).astype(np.uint8)
    pixels: NDArray[np.uint8] = np.kron(steps, np.ones((4, 4), dtype=np.uint8))
    down, along = np.indices(pixels.shape)
    pixels[(np.kron(sd, np.ones((4, 4))) > UNKNOWN_KELVIN) & ((down + along) % 8 < 2)] = BLACK
    for probe in snapshot.probes:
        if probe.duty == "chamber" and probe.level == field.level and probe.x_m is not None and probe.y_m is not None:
            x = probe.x_m / chamber.length_m
            _dot(pixels, x if chamber.fire_side == "left" else 1.0 - x, probe.y_m / chamber.width_m, probe.used)
    bar = np.where(np.indices((rows, FIRE_PIXELS)).sum(axis=0) % 12 < 6, FIRE, WHITE).astype(np.uint8)
    edge = np.full((rows, 2), BLACK, dtype=np.uint8)
    sides = (bar, edge, pixels) if chamber.fire_side == "left" else (pixels, edge, bar)
    return encode_png(np.pad(np.hstack(sides), 2, constant_values=BLACK), COLOURS)


def _range(snapshot: Snapshot, level: str) -> tuple[float, float]:
    """Choose the ends of the scale as the dashboard does: the band, widened by tens to hold the level's probes."""
    known = [p.celsius for p in snapshot.probes if p.level == level and p.used and not math.isnan(p.celsius)]
    low, high = min([snapshot.low_celsius, *known]), max([snapshot.high_celsius, *known])
    return math.floor(low / 10.0) * 10.0, math.ceil(high / 10.0) * 10.0


def _dot(pixels: NDArray[np.uint8], x: float, y: float, used: bool) -> None:
    """Mark a probe: white in black; black alone where it is not believed or not heard."""
    rows, columns = pixels.shape
    row, column = min(rows - 1, max(0, int(y * rows))), min(columns - 1, max(0, int(x * columns)))
    for reach, colour in ((3, BLACK), (2, WHITE if used else BLACK)):
        pixels[max(0, row - reach) : row + reach + 1, max(0, column - reach) : column + reach + 1] = colour
