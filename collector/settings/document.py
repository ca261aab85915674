"""A TOML file that somebody wrote: its text, its tables, and its mistakes with the lines they stand on."""

import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from collector.errors import Problem, SettingsError
from collector.settings.check import Mistake, Where
from collector.settings.places import key_lines

__all__ = ["read_text", "refusal", "tables"]


def read_text(path: Path, absent: str) -> str:
    """Read the file.

    Args:
        path: of the file.
        absent: what is said when it is not there.

    Raises:
        SettingsError: it cannot be read.
    """
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise SettingsError(path, [Problem(0, "file", absent)]) from error
    except OSError as error:
        raise SettingsError(path, [Problem(0, "file", f"cannot be read: {error.strerror}")]) from error
    except UnicodeDecodeError as error:
        raise SettingsError(path, [Problem(0, "file", "is not UTF-8 text")]) from error


def tables(text: str, path: Path) -> dict[str, Any]:
    """Parse the text.

    Raises:
        SettingsError: it is no TOML.
    """
    try:
        return tomllib.loads(_plain(text))
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(path, [Problem(_line_in(str(error)), "TOML", str(error))]) from error
    except RecursionError as error:
        raise SettingsError(path, [Problem(0, "TOML", "tables or arrays are nested too deep")]) from error
    except ValueError as error:  # Python refuses to read whole numbers of thousands of digits
        raise SettingsError(path, [Problem(0, "TOML", "holds a number of too many digits")]) from error


def refusal(path: Path, text: str, found: Iterable[Mistake]) -> SettingsError:
    """Make one error of all mistakes, in the order of their lines; what stands on none comes last."""
    lines = key_lines(_plain(text))
    problems = [Problem(_line_of(where, lines), _name(where), what) for where, what in found]
    return SettingsError(path, sorted(problems, key=lambda p: (p.line == 0, p.line)))


def _plain(text: str) -> str:
    """Take off the mark that some editors put before the first letter."""
    return text.removeprefix("\ufeff")


def _line_in(message: str) -> int:
    words = message.replace(",", "").replace(")", "").split()
    return int(words[words.index("line") + 1]) if "line" in words else 0


def _line_of(where: Where, lines: dict[Where, int]) -> int:
    while where:
        if where in lines:
            return lines[where]
        where = where[:-1]
    return 0


def _name(where: Where) -> str:
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in where)
