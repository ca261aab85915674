"""Times as other programs write them. Pure."""

import datetime as dt
import re
from typing import Literal

__all__ = ["TimeReader"]

_NUMBER = re.compile(r"\d{9,13}(\.\d+)?\Z")
_SECONDS_BELOW = 1e11
"""In the year 5138; what is more is milliseconds."""


class TimeReader:
    """Reads times, line after line.

    Args:
        form: as of `strptime`; empty: ISO 8601, or Unix seconds or milliseconds.
        zone: of times that tell none.
        fold: which of two is meant where clocks were set back; see `collector.importing.shape.CsvMap`.
        repeats: several lines have one time.
    """

    def __init__(
        self,
        form: str,
        zone: dt.tzinfo | None,
        fold: Literal["", "earlier", "later", "order"] = "",
        *,
        repeats: bool = False,
    ) -> None:
        self._form = form
        self._zone = zone
        self._fold = fold
        self._repeats = repeats
        self._last = -1e18

    def read(self, text: str) -> float:
        """Give a time in Unix seconds UTC, to the millisecond.

        Raises:
            ValueError: it is none, or not clear which; the message says how to mend it.
        """
        self._last = found = round(self._unix(text.strip()), 3)
        return found

    def _unix(self, text: str) -> float:
        if not text:
            raise ValueError("no time; each line needs one")
        if self._form:
            try:
                return self._placed(dt.datetime.strptime(text, self._form))  # noqa: DTZ007 - the zone follows
            except ValueError as error:
                if isinstance(error, _UnclearTimeError):
                    raise
                raise ValueError(f"{text[:40]!r} is not written as {self._form!r}") from error
        if _NUMBER.match(text):
            number = float(text)
            return number if number < _SECONDS_BELOW else number / 1000
        try:
            moment = dt.datetime.fromisoformat(text)
        except ValueError as error:
            raise ValueError(
                f"{text[:40]!r} is no time of ISO 8601 (2026-11-26T03:15:00-06:00) and no Unix time; of another form "
                "say which: --time-format '%d.%m.%Y %H:%M'"
            ) from error
        return self._placed(moment)

    def _placed(self, moment: dt.datetime) -> float:
        """Put a time without a zone into that of the file."""
        if moment.tzinfo is not None:
            return moment.timestamp()
        if self._zone is None:
            raise _UnclearTimeError(
                f"{moment.isoformat(' ')} tells no zone; say which: --timezone America/Chicago, or --timezone UTC"
            )
        first, second = (moment.replace(tzinfo=self._zone, fold=k) for k in (0, 1))
        if first.utcoffset() == second.utcoffset():
            return first.timestamp()
        if dt.datetime.fromtimestamp(first.timestamp(), self._zone).replace(tzinfo=None) != moment:
            raise _UnclearTimeError(
                f"{moment.isoformat(' ')} was never: clocks went forward then in {self._zone}; is that the zone?"
            )
        gone_by = first.timestamp() < self._last or (first.timestamp() == self._last and not self._repeats)
        if self._fold == "later" or (self._fold == "order" and gone_by):
            return second.timestamp()
        if self._fold:
            return first.timestamp()
        raise _UnclearTimeError(
            f"{moment.isoformat(' ')} came twice, as clocks were set back in {self._zone}; say which is meant: --fold "
            "earlier, later or order (of the lines)"
        )


class _UnclearTimeError(ValueError):
    """A time that is written well and still does not tell when."""
