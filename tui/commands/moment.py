"""A moment of a cook as a person writes it: `03:15` in its night, or a date with a time."""

import datetime as dt
import re

__all__ = ["day_of", "moment_of"]

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?\Z")


def moment_of(text: str, started_unix: float, ended_unix: float) -> float:
    """Give the moment that is meant, Unix seconds UTC; a time without a zone is this machine's.

    Args:
        text: `03:15`, `03:15:20`, or ISO 8601: `2026-11-26T03:15`, `2026-11-26T08:15Z`.
        started_unix: when the cook began: a time alone means the first such after it.
        ended_unix: when it ended.

    Raises:
        ValueError: it is no time, or not within the cook, or the clocks were changed then; the message says so.
    """
    match = _CLOCK.match(text.strip())
    began = dt.datetime.fromtimestamp(started_unix, dt.UTC).astimezone()
    if match:
        hour, minute, second = (int(part or 0) for part in match.groups())
        if hour > 23 or minute > 59 or second > 59:
            raise ValueError(f"{text!r} is no time of day; 00:00 to 23:59 is")
        found = _at(began.date(), dt.time(hour, minute, second))
        if found < started_unix:
            found = _at(began.date() + dt.timedelta(days=1), dt.time(hour, minute, second))
    else:
        try:
            moment = dt.datetime.fromisoformat(text.strip())
        except ValueError as error:
            raise ValueError(f"{text!r} is no time; 03:15 in the night of the cook is, or 2026-11-26T03:15") from error
        found = _at(moment.date(), moment.time()) if moment.tzinfo is None else moment.timestamp()
    if not started_unix <= found <= ended_unix:
        ended = dt.datetime.fromtimestamp(ended_unix, dt.UTC).astimezone()
        raise ValueError(f"{text!r} is not within the cook, which went from {began:%Y-%m-%d %H:%M} to {ended:%H:%M}")
    return found


def _at(day: dt.date, time: dt.time) -> float:
    """Give a local time in Unix seconds.

    Raises:
        ValueError: there is none, or there are two, as the clocks were changed.
    """
    naive = dt.datetime.combine(day, time)
    first, second = naive.astimezone().timestamp(), naive.replace(fold=1).astimezone().timestamp()
    if first != second:
        raise ValueError(f"{naive:%Y-%m-%d %H:%M} is not one time, the clocks were changed: write it in UTC, with a Z")
    return first


def day_of(text: str, *, end: bool = False) -> float:
    """Give the beginning of a day of this machine's zone, or its end, Unix seconds UTC; of a time, that time.

    Raises:
        ValueError: it is neither.
    """
    try:
        day = dt.date.fromisoformat(text.strip())
    except ValueError:
        try:
            return dt.datetime.fromisoformat(text.strip()).astimezone().timestamp()
        except ValueError as error:
            raise ValueError(f"{text!r} is no day; 2026-11-26 is") from error
    return dt.datetime.combine(day + dt.timedelta(days=end), dt.time()).astimezone().timestamp()
