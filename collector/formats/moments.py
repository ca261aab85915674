"""Times as text: ISO 8601 in UTC to the millisecond, which is what the record keeps."""

import datetime as dt
import re

__all__ = ["iso", "milliseconds"]

_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_FIRST, _LAST = -62_135_596_800_000, 253_402_300_799_999
"""What four digits of a year can say: from the year 1 to 9999."""
_ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})T(\d{2}):(\d{2}):(\d{2})\.(\d{3})Z\Z")
_BARE = re.compile(r"(-?\d{1,18}) ms\Z")


def iso(ms: int) -> str:
    """Write milliseconds since the epoch; `2026-11-26T03:15:00.000Z`, and beyond the year 9999 `253402300800000 ms`."""
    if not _FIRST <= ms <= _LAST:
        return f"{ms} ms"
    moment = _EPOCH + dt.timedelta(milliseconds=ms)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{ms % 1000:03d}Z".rjust(24, "0")


def milliseconds(text: str) -> int:
    """Read what `iso` wrote.

    Raises:
        ValueError: it is something else.
    """
    match = _ISO.match(text)
    if match is None:
        bare = _BARE.match(text)
        if bare is None:
            raise ValueError(f"{text[:40]!r} is no time such as 2026-11-26T03:15:00.000Z")
        return int(bare[1])
    year, month, day, hour, minute, second, ms = map(int, match.groups())
    try:
        moment = dt.datetime(year, month, day, hour, minute, second, tzinfo=dt.UTC)
    except ValueError as error:
        raise ValueError(f"{text!r} is no time: {error}") from error
    return round((moment - _EPOCH) / dt.timedelta(seconds=1)) * 1000 + ms
