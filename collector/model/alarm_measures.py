"""How good the alarms of a cook were: the performance measures of ISA-18.2 / IEC 62682 and EEMUA 191. Pure.

The definitions, from memory of the standards and of articles on them:

* *rate*: annunciated alarms; about 150 a day is likely acceptable, 300 the most one person manages; 6 and 12 an hour;
  1 and 2 in ten minutes. A cook has one person, who wants to sleep.
* *flood*: more than 10 alarms in ten minutes; less than 1 % of all ten-minute periods should be so.
* *chattering*: an alarm that comes and goes again and again, commonly 3 times or more within a minute; there should be
  none.
* *stale*: an alarm that has stood for more than 24 hours; fewer than 5 on any day. A night is too short for it, so the
  longest that stood is told too.
* *priorities*: about 5 % of the alarms at the highest, 15 % in the middle, 80 % at the lowest.

Times to acknowledge, and how long alarms were suppressed, shelved and out of service, are measures of the same
standards without a number of theirs to hold against.
"""

import math
from collections import Counter
from collections.abc import Iterable, Sequence

import msgspec
import numpy as np

from collector.model.alarm import AlarmEvent, Transition
from collector.snapshot import CALLING, AlarmState, Priority

__all__ = [
    "CHATTER_SECONDS", "CHATTER_TIMES", "FLOOD_ALARMS", "FLOOD_SECONDS", "STALE_SECONDS", "USUAL_SHARES", "Measures",
    "Rates", "Standing", "chattering", "measures", "rates",
]  # fmt: skip

FLOOD_SECONDS, FLOOD_ALARMS = 600.0, 10
CHATTER_SECONDS, CHATTER_TIMES = 60.0, 3
STALE_SECONDS = 24 * 3600.0
USUAL_SHARES = {Priority.URGENT: 0.05, Priority.SOON: 0.15, Priority.NOTE: 0.80}

_STANDS = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)


class Standing(msgspec.Struct, frozen=True):
    """An alarm from when it was raised to when it returned; infinite while it stands."""

    key: str
    raised: float
    cleared: float


class Rates(msgspec.Struct, frozen=True):
    """How many alarms a night had (ISA-18.2, EEMUA 191: at most 10 in 10 min; the definitions are theirs)."""

    alarms: int
    hours: float
    most_in_ten_minutes: int
    flood_share: float
    """Share of ten-minute spans with more than ten alarms."""
    chattering: int
    """Alarms that were raised three times or more within ten minutes."""


def rates(alarms: Sequence[Standing], duration: float) -> Rates:
    """Count a night's alarms; the spans begin at multiples of ten minutes.

    Chattering is held to more than the standards' minute: no alarm of ours returns within one.

    Args:
        alarms: with times in seconds from the night's start.
        duration: of the night, seconds.
    """
    spans = Counter(int(alarm.raised // FLOOD_SECONDS) for alarm in alarms)
    flooded = sum(1 for count in spans.values() if count > FLOOD_ALARMS)
    return Rates(
        len(alarms), duration / 3600.0, max(spans.values(), default=0),
        flooded / max(1, math.ceil(duration / FLOOD_SECONDS)), len(chattering(alarms, FLOOD_SECONDS)),
    )  # fmt: skip


def chattering(alarms: Iterable[Standing], within_seconds: float = CHATTER_SECONDS) -> tuple[str, ...]:
    """Name the alarms that were raised `CHATTER_TIMES` times or more within a time."""
    by_key: dict[str, list[float]] = {}
    for alarm in alarms:
        by_key.setdefault(alarm.key, []).append(alarm.raised)
    return tuple(
        key for key, times in by_key.items()
        if any(b - a <= within_seconds for a, b in zip(times, times[CHATTER_TIMES - 1 :], strict=False))
    )  # fmt: skip


class Measures(msgspec.Struct, frozen=True):
    """The measures of one cook."""

    hours: float
    alarms: int
    """How often an alarm was raised."""
    per_hour: float
    per_day: float
    """The same, for a whole day of it."""
    most_in_ten_minutes: int
    flood_share: float
    """Of the ten-minute periods from the start on."""
    chattering: tuple[str, ...]
    """Keys of the alarms that did."""
    stale: tuple[str, ...]
    """Keys of the alarms that stood for more than 24 hours on end."""
    longest_key: str
    """The alarm that stood longest; empty when there was none."""
    longest_seconds: float
    frequent: tuple[tuple[str, int], ...]
    """The ten alarms raised most often, and how often."""
    priorities: dict[str, int]
    """How many were raised at each priority: `urgent`, `soon`, `note`."""
    acknowledged: int
    """Times an alarm was acknowledged."""
    never_acknowledged: int
    """Still waiting at the end."""
    acknowledge_median_seconds: float
    """From when it was raised; NaN when none was acknowledged."""
    acknowledge_p95_seconds: float
    """Interpolated between the two nearest."""
    suppressed_seconds: float
    """Of all alarms together, as are the next two: two zones for an hour are two hours."""
    shelved_seconds: float
    removed_seconds: float
    """Out of service by a person's hand; a rule that the config switches off leaves no trace on record."""


def measures(steps: Sequence[Transition], start_unix: float, end_unix: float) -> Measures:
    """Work out the measures of a cook.

    Args:
        steps: its alarm log, in order of time.
        start_unix: when it began.
        end_unix: when it ended, or now.
    """
    stood = spans(steps, _STANDS, end_unix)
    raised = [s for s in steps if s.after is AlarmState.UNACKNOWLEDGED]
    alarms = [Standing(s.key, s.time_unix - start_unix, math.inf) for s in raised]
    duration = max(0.0, end_unix - start_unix)
    hours = duration / 3600.0
    counted = rates(alarms, duration)
    per_hour = len(raised) / hours if hours else 0.0
    waits, waiting = _waits(steps)
    longest = max(stood, key=_length, default=Standing("", 0.0, 0.0))
    by_priority = Counter(s.priority for s in raised)
    return Measures(
        hours, len(raised), per_hour, 24.0 * per_hour, counted.most_in_ten_minutes, counted.flood_share,
        chattering(alarms), tuple(dict.fromkeys(s.key for s in stood if _length(s) > STALE_SECONDS)),
        longest.key, _length(longest), tuple(Counter(s.key for s in raised).most_common(10)),
        {p.name.lower(): by_priority[p] for p in Priority}, len(waits), waiting,
        float(np.median(waits)) if waits else math.nan, float(np.percentile(waits, 95)) if waits else math.nan,
        *(sum(map(_length, spans(steps, (s,), end_unix)))
          for s in (AlarmState.SUPPRESSED, AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE)),
    )  # fmt: skip


def _length(span: Standing) -> float:
    return span.cleared - span.raised


def spans(steps: Sequence[Transition], states: Sequence[AlarmState], end_unix: float) -> list[Standing]:
    """Say from when to when each alarm was in one of some states on end; those that last to the end, until then."""
    began: dict[str, float] = {}
    found: list[Standing] = []
    for step in steps:
        if step.after in states:
            began.setdefault(step.key, step.time_unix)
        elif step.key in began:
            found.append(Standing(step.key, began.pop(step.key), step.time_unix))
    return found + [Standing(key, since, max(since, end_unix)) for key, since in began.items()]


def _waits(steps: Sequence[Transition]) -> tuple[list[float], int]:
    """Give how long each alarm waited until it was acknowledged, and how many wait still.

    An alarm that returned and came again before anybody saw it has waited since it first came. One that was shelved or
    taken out was seen in another way and counts neither here nor there.
    """
    since: dict[str, float] = {}
    waits: list[float] = []
    for step in steps:
        if step.event is AlarmEvent.ACKNOWLEDGE and step.key in since:
            waits.append(step.time_unix - since[step.key])
        if step.after in CALLING:
            since.setdefault(step.key, step.time_unix)
        else:
            since.pop(step.key, None)
    return waits, len(since)
