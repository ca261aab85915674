"""Published colour scales that colour-blind eyes can read, and glyph ramps for terminals without colours.

Temperature: `collector.thermal`.
Difference: "vik", Copyright (c) 2023 Fabio Crameri, MIT licence
(Crameri, *Scientific colour maps*, doi:10.5281/zenodo.1243862).
Curves: the eight hues of Okabe and Ito, *Color Universal Design*, 2008.
Each scale is 33 anchors of six hex digits, evenly spaced. The lists of xterm-256 indices are picked so that no two
neighbours look alike to any of the three kinds of colour-blind eyes after the terminal has rounded.
"""

from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from collector.thermal import THERMAL

__all__ = ["CURVES", "ColourDepth", "ColourScale", "difference_scale", "temperature_scale"]

ColourDepth = Literal["truecolor", "256", "16", "none"]
Rgb = tuple[int, int, int]

VIK = (
    "001261 021f69 022b71 023779 034481 055189 0c5e92 1c6d9c 307da6 488db2 619ebd 7aaec8 94bed2 adcddd c6dbe6 dee6e9"
    " ece5e0 eed9cd e9cab8 e2baa2 dbaa8d d59b79 cf8c66 c97e53 c27041 bc622f b2511d a33e0d 912d06 811f06 731406 650907"
    " 590008"
)
THERMAL_256 = (17, 61, 60, 132, 167, 209, 215, 191)
VIK_256 = (17, 24, 110, 188, 180, 130, 52)
CURVES: tuple[str, ...] = ("#e69f00", "#56b4e9", "#009e73", "#f0e442", "#cc79a7", "#d55e00", "#0072b2", "#999999")

SHADES = "·░▒▓█"
ASCII_RAMP = ".:-=+*#%@"
LEVELS = 64


class ColourScale(msgspec.Struct, frozen=True):
    """Colours from low to high, and the glyphs that say the same without colour."""

    colours: tuple[Rgb, ...]
    """Empty where the terminal cannot show enough of them."""
    ramp: str
    """Glyphs from low to high, for the same use."""

    @property
    def steps(self) -> int:
        """Count the steps that can be told apart."""
        return len(self.colours) or len(self.ramp)

    def index(self, value: NDArray[np.float64], low: float, high: float) -> NDArray[np.int16]:
        """Give the step of each value between low and high, clipped at both ends; any shape. NaN is step 0."""
        share = (np.nan_to_num(value, nan=low) - low) / max(high - low, 1e-9)
        return np.clip(share * self.steps, 0, self.steps - 1).astype(np.int16)


def anchors(text: str) -> NDArray[np.float64]:
    """Read anchors from hex, shape (33, 3), 0 to 255."""
    return np.array([[int(word[i : i + 2], 16) for i in (0, 2, 4)] for word in text.split()], dtype=np.float64)


def interpolated(text: str, levels: int = LEVELS) -> tuple[Rgb, ...]:
    """Draw evenly spaced colours from anchors, linear in sRGB between neighbours."""
    points = anchors(text)
    at = np.linspace(0.0, len(points) - 1.0, levels)
    channels = [np.rint(np.interp(at, np.arange(len(points)), points[:, i])).astype(int) for i in range(3)]
    return tuple((int(r), int(g), int(b)) for r, g, b in zip(*channels, strict=True))


def xterm_rgb(index: int) -> Rgb:
    """Give the colour of an index of the 6 by 6 by 6 cube or the grey ramp of a 256-colour terminal."""
    if index >= 232:
        grey = 8 + 10 * (index - 232)
        return grey, grey, grey
    steps = (0, 95, 135, 175, 215, 255)
    cube = index - 16
    return steps[cube // 36], steps[cube // 6 % 6], steps[cube % 6]


def _scale(text: str, indices: tuple[int, ...], depth: ColourDepth, ascii_only: bool) -> ColourScale:
    ramp = ASCII_RAMP if ascii_only else SHADES
    if ascii_only or depth in ("16", "none"):
        return ColourScale((), ramp)
    if depth == "256":
        return ColourScale(tuple(xterm_rgb(i) for i in indices), ramp)
    return ColourScale(interpolated(text), ramp)


def temperature_scale(depth: ColourDepth, *, ascii_only: bool = False) -> ColourScale:
    """Give the scale for temperatures: dark is cold, bright is hot."""
    return _scale(THERMAL, THERMAL_256, depth, ascii_only)


def difference_scale(depth: ColourDepth, *, ascii_only: bool = False) -> ColourScale:
    """Give the scale for differences: blue is below, pale is none, red is above."""
    return _scale(VIK, VIK_256, depth, ascii_only)
