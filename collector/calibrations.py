"""The calibrations of all probes as they stand, and the actions that change them."""

from collections.abc import Iterable, Mapping

from collector.model.action import Action, ActionKind
from collector.model.calibration import Calibration, CalibrationError, Line, Point, line, standing
from collector.model.plan import Probe

__all__ = ["CalibrationBook", "lines_of", "words_of"]


def lines_of(steps: Iterable[Calibration]) -> Mapping[tuple[str, str], Line | None]:
    """Give the line each probe, by source and key, is read by after these steps, oldest first."""
    return {(step.source, step.key): step.line for step in steps}


def words_of(step: Calibration) -> str:
    """Say the numbers of a step, for the log."""
    point, found = step.point, step.line
    words = ""
    if point is not None:
        words = (
            f", showed {point.raw_celsius:.2f} °C in {point.reference_celsius:.2f} °C, ±{2.0 * point.sd_kelvin:.2f} K"
        )
    if found is None:
        return f"{words}; the config's words hold"
    gain = f", gain {found.gain:.4f}" if found.gain != 1.0 else ""
    return f"{words}; adds {found.offset_kelvin:+.2f} K{gain}"


class CalibrationBook:
    """Every step of every probe's calibration.

    Args:
        steps: those on record, oldest first.
    """

    def __init__(self, steps: Iterable[Calibration]) -> None:
        self._steps: dict[tuple[str, str], list[Calibration]] = {}
        for step in steps:
            self.enter(step)

    def enter(self, step: Calibration) -> None:
        """Write a step down."""
        self._steps.setdefault((step.source, step.key), []).append(step)

    def found(self, probe: Probe, point: Point) -> Action:
        """Make the action that calibrates a probe by what it showed in a bath; nothing is entered yet.

        Raises:
            CalibrationError: with this point its readings would be no better.
        """
        points = (*self._standing(probe), point)
        step = Calibration(probe.source, probe.key, point, line=line(points))
        return Action(ActionKind.CALIBRATE, probe.name, text=f"{probe.name}: {point.kind}", calibration=step)

    def undone(self, probe: Probe, *, everything: bool) -> Action:
        """Make the action that goes back to the calibration before, or to the config's words; nothing is entered yet.

        Raises:
            CalibrationError: there is nothing to undo.
        """
        points = self._standing(probe)
        if not points:
            raise CalibrationError(f"{probe.name} has no calibration to undo")
        left = () if everything else points[:-1]
        step = Calibration(probe.source, probe.key, None, everything, line(left))
        return Action(ActionKind.CALIBRATE, probe.name, text=f"{probe.name}: undone", calibration=step)

    def _standing(self, probe: Probe) -> tuple[Point, ...]:
        return standing(self._steps.get((probe.source, probe.key), ()))
