"""A step of a probe's calibration as the row that goes on disk, and back; every number comes back to the digit."""

import msgspec

from collector.model.calibration import Calibration, Kind, Line, Point

__all__ = ["COLUMNS", "CalibrationRow", "calibration_of", "calibration_row"]

COLUMNS = "source, key, kind, reference, raw, sd, time, line"
"""Of table `calibration`, after its id."""
CalibrationRow = tuple[int, str, str, str, float | None, float | None, float | None, float | None, str | None]
UNDO, UNDO_ALL = "undo", "undo-all"


def calibration_row(ordinal: int, told: Calibration) -> CalibrationRow:
    """Turn a step into its row."""
    line = None if told.line is None else msgspec.json.encode(told.line).decode()
    point = told.point
    if point is None:
        kind = UNDO_ALL if told.everything else UNDO
        return ordinal, told.source, told.key, kind, None, None, None, None, line
    numbers = point.reference_celsius, point.raw_celsius, point.sd_kelvin, point.time_unix
    return ordinal, told.source, told.key, point.kind.value, *numbers, line


def calibration_of(
    source: str, key: str, kind: str, reference: float, raw: float, sd: float, time: float, line: str | None
) -> Calibration:
    """Turn the columns of `COLUMNS` back into the step."""
    undone = kind in (UNDO, UNDO_ALL)
    return Calibration(
        source,
        key,
        None if undone else Point(Kind(kind), reference, raw, sd, time),
        kind == UNDO_ALL,
        None if line is None else msgspec.json.decode(line, type=Line),
    )
