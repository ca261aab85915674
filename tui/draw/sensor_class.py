"""In which class of its standard a probe stands, by what it showed in a bath, in a few words."""

from collections.abc import Sequence

from collector.model.calibration import Point
from collector.model.tolerance import Standing, best_class, standing_in
from collector.snapshot import ProbeView

__all__ = ["class_words", "outside_words"]


def class_words(points: Sequence[Point], stated: str) -> tuple[str, bool]:
    """Say in which class a probe stands, uncorrected; whether it is what its maker states, or nothing is stated."""
    if stated:
        standing = standing_in(stated, points)
        return f"{standing} {stated}", standing is not Standing.OUTSIDE
    best = best_class(points)
    return (f"as good as {best}" if best else "in no class of IEC 60751"), True


def outside_words(probe: ProbeView) -> str:
    """Say that a probe was found to be outside of the class its maker states, uncorrected; empty where it was not."""
    if probe.line is None or not probe.tolerance_class:
        return ""
    words, fit = class_words(probe.line.points, probe.tolerance_class)
    return "" if fit else f"{words}, corrected for"
