"""What a CSV file from elsewhere means: which column is what. Written as TOML, or on the command line."""

import tomllib
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import msgspec

from collector.errors import IntakeError

__all__ = ["CsvMap", "read_map", "zone_of"]

NO_VALUE = ("-", "--", "nan", "null", "none", "n/a", "na", "err", "error", "open")
"""What is written where a probe had none, in any case of letters. An empty field: nothing was heard."""


class CsvMap(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How a CSV file is read."""

    time: str = ""
    """Name of the column of times; empty: `time`, `timestamp`, `datetime` or `date_time`, in any case of letters."""
    date: str = ""
    """Name of a column of dates that stands before it; empty: there is none."""
    time_format: str = ""
    """As of `strptime`; empty: ISO 8601, or Unix seconds or milliseconds."""
    timezone: str = ""
    """IANA name of the zone of times that tell none."""
    fold: Literal["", "earlier", "later", "order"] = ""
    """Which of two is meant where clocks were set back: the first, the second, or what the order of lines says."""
    unit: Literal["", "C", "F", "K"] = ""
    delimiter: str = ""
    """One character; empty: what the header holds most of `, ; TAB |`."""
    decimal: Literal[".", ","] = "."
    probe: str = ""
    """Name of the column that names the probe: one reading a line. Empty: one column a probe."""
    value: str = ""
    """Name of the column of values, where one reading is a line."""
    probes: dict[str, str] = {}
    """Name of the probe in the config, by its column or by what stands in the column `probe`."""
    no_value: tuple[str, ...] = NO_VALUE
    skip_lines: int = 0
    """Lines before the header."""


def read_map(path: Path) -> CsvMap:
    """Read a mapping.

    Raises:
        IntakeError: it cannot be read, or holds what is not known.
    """
    try:
        return msgspec.convert(tomllib.loads(path.read_text(encoding="utf-8")), CsvMap)
    except OSError as error:
        raise IntakeError(str(path), f"cannot be read: {error.strerror}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, msgspec.ValidationError) as error:
        known = ", ".join(CsvMap.__struct_fields__)
        raise IntakeError(str(path), f"{error}; a mapping knows {known}") from error


def zone_of(name: str, file: str) -> ZoneInfo:
    """Give a time zone.

    Raises:
        IntakeError: there is none of that name.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise IntakeError(file, f"there is no time zone {name!r}; America/Chicago is one, and UTC") from error
