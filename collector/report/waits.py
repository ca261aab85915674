"""The alarms of a cook, and how long each waited for somebody. Pure."""

import math
from collections.abc import Mapping, Sequence
from typing import Annotated

from msgspec import Meta, Struct

from collector.model.alarm import AlarmEvent, Transition
from collector.model.alarm_measures import Measures, measures
from collector.report.quantities import Seconds, Share, Unix, UnixOrNone, known
from collector.snapshot import CALLING, AlarmState

__all__ = ["AlarmRow", "Alarms", "alarms_of"]

_STANDS = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
_ASIDE = {
    AlarmState.SHELVED: "shelved", AlarmState.SUPPRESSED: "suppressed", AlarmState.OUT_OF_SERVICE: "out of service",
}  # fmt: skip
Value = Annotated[float | None, Meta(description="in the alarm's own unit; null: not known")]


class AlarmRow(Struct, frozen=True):
    """One raising of an alarm."""

    key: str
    rule: str
    subject: str
    priority: str
    """`urgent`, `soon` or `note`."""
    raised_unix: Unix
    value: Value
    """When it was raised."""
    limit: Value
    unit: str
    """Of value and limit: `kelvin`, `seconds`, `celsius`, `percent`."""
    message: str
    waited_seconds: Seconds
    """Until somebody acknowledged it, or it was put aside, or the record ends. An alarm that came again before anybody
    saw it has waited since it first came."""
    acknowledged_unix: UnixOrNone
    waits: bool
    """Nobody had seen it when the record ends."""
    over_unix: UnixOrNone
    """When its condition was over."""
    aside: str
    """`shelved`, `suppressed` or `out of service`, where that ended it; else empty."""


class Alarms(Struct, frozen=True):
    """All of them, and the measures of ISA-18.2 over the night."""

    rows: tuple[AlarmRow, ...]
    acknowledged: int
    never_acknowledged: int
    wait_median_seconds: Seconds
    wait_p95_seconds: Seconds
    most_in_ten_minutes: int
    flood_share: Share
    chattering: tuple[str, ...]
    per_day: float
    """Raised, for a whole day of it."""


class _Open:
    """A raising that is not closed yet."""

    def __init__(self, step: Transition, waits_since: float) -> None:
        self.step, self.waits_since = step, waits_since
        self.acknowledged: float | None = None
        self.over: float | None = None
        self.aside = ""
        self.seen: float | None = None


def alarms_of(
    steps: Sequence[Transition], units: Mapping[str, str], start_unix: float, end_unix: float
) -> Alarms:  # fmt: skip
    """List every raising with how long it waited.

    Args:
        steps: the alarm log, in order of time.
        units: of each rule's value.
        start_unix: when the cook began.
        end_unix: when its record ends.
    """
    found: list[_Open] = []
    newest: dict[str, _Open] = {}
    waits_since: dict[str, float] = {}
    for step in steps:
        _step(step, found, newest, waits_since)
    m: Measures = measures(steps, start_unix, end_unix)
    return Alarms(
        tuple(_row(raising, units, end_unix) for raising in found), m.acknowledged, m.never_acknowledged,
        known(m.acknowledge_median_seconds, 0), known(m.acknowledge_p95_seconds, 0), m.most_in_ten_minutes,
        known(m.flood_share, 5), m.chattering, round(m.per_day, 2),
    )  # fmt: skip


def _step(step: Transition, found: list[_Open], newest: dict[str, _Open], waits_since: dict[str, float]) -> None:
    """Follow one step of one alarm."""
    raising = newest.get(step.key)
    if step.after is AlarmState.UNACKNOWLEDGED and step.before is not AlarmState.UNACKNOWLEDGED:
        waits_since.setdefault(step.key, step.time_unix)
        if raising is None or raising.over is not None or raising.aside:
            raising = newest[step.key] = _Open(step, waits_since[step.key])
            found.append(raising)
            return
    if raising is None:
        return
    if step.event is AlarmEvent.ACKNOWLEDGE:
        for earlier in found:  # whoever sees it has seen every time that it came before
            if earlier.step.key == step.key and earlier.seen is None:
                earlier.acknowledged = earlier.seen = step.time_unix
    if step.after in _ASIDE and raising.over is None:
        raising.aside = _ASIDE[step.after]
    if step.before in _STANDS and step.after not in _STANDS and raising.over is None:
        raising.over = step.time_unix
    if step.after not in CALLING:
        waits_since.pop(step.key, None)
        for earlier in found:
            if earlier.step.key == step.key and earlier.seen is None:
                earlier.seen = step.time_unix


def _row(raising: _Open, units: Mapping[str, str], end_unix: float) -> AlarmRow:
    step = raising.step
    rule, _, subject = step.key.partition("/")
    waits = raising.seen is None
    until = end_unix if raising.seen is None else raising.seen
    return AlarmRow(
        step.key, rule, subject, step.priority.name.lower(), step.time_unix, known(step.value),
        None if math.isnan(step.limit) else known(step.limit), units.get(rule, ""), step.message,
        known(max(0.0, until - raising.waits_since), 0), raising.acknowledged, waits, raising.over, raising.aside,
    )  # fmt: skip
