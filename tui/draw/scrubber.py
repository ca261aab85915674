"""The line of a past cook: from its start to its end, what happened when, and which moment is shown. Pure."""

from collections.abc import Sequence
from datetime import UTC, datetime

from tui.draw.chart import SIGNS as MARKS
from tui.draw.clean import clean
from tui.draw.line import Line, Part, Role
from tui.draw.view import View
from tui.draw.words import clock_seconds

__all__ = ["SIGNS", "day_and_clock", "moment_at", "replay_line", "track_line"]

SIGNS = {"urgent": "!", "soon": "?", "minor": ":"} | MARKS
"""What stands for what happened: an alarm by its priority, a mark by the letter that it has in the trend."""
OTHER = "*"
_ROLES: dict[str, Role] = {"urgent": "alarm", "soon": "warn"}
_RANK = ("urgent", "soon", "wrap", "lid", "seen-lid", "split", "seen-stall", "seen-refuel")
"""Which is drawn where several fall together, the first of all."""


def day_and_clock(unix: float, view: View) -> str:
    """Write the day with its year, and the clock."""
    day = datetime.fromtimestamp(unix, UTC).astimezone(view.zone)
    return f"{day:%a %Y-%m-%d} {clock_seconds(unix, view)}"


def replay_line(
    cook: str, at_unix: float, start_unix: float, speed: float, view: View, width: int, *, loaded: float,
    away: bool = False, follows: bool = False,
) -> Line:  # fmt: skip
    """Say that this is a replay: which cook, its day and clock, whether it runs.

    Args:
        cook: name.
        at_unix: the moment that is shown.
        start_unix: when the cook began.
        speed: how many times as fast as it was; 0: it stands.
        view: how it is shown.
        width: cells.
        loaded: share of the cook that can be shown, 0 to 1.
        away: no collector ran then.
        follows: the moment is the newest that is loaded, and goes on with the loading.
    """
    gone = max(0, round(at_unix - start_unix))
    runs = f"  x{speed:g}" if speed else "" if follows else "  stands"
    told = f"  {day_and_clock(at_unix, view)}  {gone // 3600}:{gone % 3600 // 60:02} in{runs}"
    if away:
        told += "  no collector ran"
    if loaded < 1.0:
        told += f"  loading {100 * loaded:.0f} %"
    head = " REPLAY, not the pit now: " if width >= 100 else " REPLAY "
    name = clean(cook, max(8, width - len(told) - len(head)), ascii_only=view.ascii_only)
    return ((f"{head}{name}{told} ".ljust(width)[:width], "strong"),)


def track_line(
    start_unix: float, end_unix: float, loaded_unix: float, at_unix: float, happened: Sequence[tuple[float, str]],
    view: View, width: int, absences: Sequence[tuple[float, float]] = (),
) -> Line:  # fmt: skip
    """Draw the whole cook in one line: hours as ticks, what happened as signs, the moment as a block.

    Args:
        start_unix: when it began.
        end_unix: when it ended.
        loaded_unix: it can be shown up to there; beyond, the line is blank.
        at_unix: the moment that is shown.
        happened: time and kind, see `SIGNS`.
        view: how it is shown.
        width: cells.
        absences: from when to when no collector ran: dots.
    """
    track, tick, block = ("-", "|", "#") if view.ascii_only else ("─", "┼", "█")

    def column(unix: float) -> int:
        return min(width - 1, max(0, int((unix - start_unix) / (end_unix - start_unix) * width)))

    cells = [track if k <= column(loaded_unix) else " " for k in range(width)]
    roles: list[Role] = ["faint"] * width
    hour = start_unix
    while (hour := hour + 3600.0) < end_unix:
        if hour <= loaded_unix:
            cells[column(hour)] = tick
    for since, until in absences:
        for k in range(column(since) + 1, column(until)):
            cells[k] = "." if view.ascii_only else "·"
    for unix, kind in sorted(happened, key=lambda h: -_rank(h[1])):
        k = column(unix)
        cells[k], roles[k] = SIGNS.get(kind, OTHER), _ROLES.get(kind, "plain")
    k = column(at_unix)
    cells[k], roles[k] = block, "strong"
    parts: list[Part] = []
    for cell, role in zip(cells, roles, strict=True):
        if parts and parts[-1][1] == role:
            parts[-1] = (parts[-1][0] + cell, role)
        else:
            parts.append((cell, role))
    return tuple(parts)


def _rank(kind: str) -> int:
    return _RANK.index(kind) if kind in _RANK else len(_RANK)


def moment_at(column: int, start_unix: float, end_unix: float, width: int) -> float:
    """Give the moment a click on a column of the line means."""
    return start_unix + (end_unix - start_unix) * min(max(column + 0.5, 0.0), float(width)) / max(width, 1)
