"""Options that several commands share, and the config they name."""

import argparse
import math
from typing import TYPE_CHECKING, Any

from tui.commands.ways import way_of, ways_of

if TYPE_CHECKING:
    from collector.settings.load import Settings

__all__ = [
    "add_config",
    "add_json",
    "add_look",
    "add_pits",
    "add_socket",
    "add_store",
    "add_way",
    "chosen_unit",
    "dashboard_look",
    "known_settings",
    "load_settings",
    "metres",
    "named_store",
    "pascal",
    "speed",
    "text",
    "way_of",
    "ways_of",
]


def add_config(parser: argparse.ArgumentParser) -> None:
    """Add `-c FILE`."""
    parser.add_argument("-c", "--config", metavar="FILE", help="the config (default: see `coldside paths`)")


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add `--json`."""
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of text")


def add_socket(parser: argparse.ArgumentParser) -> None:
    """Add `--socket PATH`."""
    parser.add_argument("--socket", metavar="PATH", help="the collector's socket (default: see `coldside paths`)")


def add_way(parser: argparse.ArgumentParser) -> None:
    """Add how to reach a collector: by its socket, on another machine, or by its name in the file of pits."""
    add_socket(parser)
    parser.add_argument(
        "--at", type=_place, action="append", metavar="HOST[:PORT]",
        help="a collector on another machine, over TLS (http://127.0.0.1:PORT: where an ssh -L ends)",
    )  # fmt: skip
    parser.add_argument(
        "--token-file",
        metavar="FILE",
        help="with --at: the token (default: $COLDSIDE_TOKEN_FILE, else it is asked for)",
    )
    verified = parser.add_mutually_exclusive_group()
    verified.add_argument("--ca", metavar="FILE", help="with --at: whom to believe its certificate, or that itself")
    verified.add_argument(
        "--fingerprint",
        type=_fingerprint,
        metavar="SHA256",
        help="with --at: its certificate's, as its collector logs it",
    )
    parser.add_argument("--pit", type=text, metavar="NAME", help="the pit of this name in the file of pits")
    add_pits(parser)


def add_pits(parser: argparse.ArgumentParser) -> None:
    """Add `--pits FILE`."""
    parser.add_argument("--pits", metavar="FILE", help="the file of pits (default: see `coldside paths`)")


def _place(words: str) -> tuple[str, int, bool]:
    from tui.remote_way import parse_at

    try:
        return parse_at(words)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def _fingerprint(words: str) -> bytes:
    from tui.remote_way import parse_fingerprint

    try:
        return parse_fingerprint(words)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def add_store(parser: argparse.ArgumentParser) -> None:
    """Add `--store WHERE`."""
    parser.add_argument(
        "--store", metavar="WHERE",
        help="the store: a file, or to read postgresql://USER@HOST/DATABASE#PIT (default: see `coldside paths`)",
    )  # fmt: skip


def named_store(options: argparse.Namespace) -> str:
    """Give the store that is meant: the option's, else the config's; empty: the usual place.

    A config that is not there, or cannot be used, names none.
    """
    from collector.errors import SettingsError
    from collector.paths import config_file

    if options.store or not config_file(options.config).exists():
        return str(options.store or "")
    try:
        return load_settings(options).config.store.path
    except SettingsError:
        return ""


def add_look(parser: argparse.ArgumentParser) -> None:
    """Add how the dashboard looks."""
    parser.add_argument("--unit", choices=("C", "F"), help="temperature unit on screen")
    parser.add_argument("--theme", choices=("dark", "light", "high-contrast"), help="colours of the dashboard")
    parser.add_argument("--ascii", action="store_true", help="plain ASCII characters only")
    parser.add_argument("--bell", action="store_true", help="ring the terminal's bell at a new alarm")
    parser.add_argument("--no-mouse", action="store_true", help="leave the mouse to the terminal")


def speed(text: str) -> float:
    """Read a speed, as an option's type."""
    try:
        times = float(text.lstrip("x×"))
    except ValueError:
        times = 0.0
    if not 0.1 <= times <= 5000:
        raise argparse.ArgumentTypeError(f"{text!r} is no speed; a number from 0.1 to 5000")
    return times


FOOT = 0.3048


def metres(text: str) -> float:
    """Read a height above the sea, as an option's type."""
    words = text.strip()
    number, scale = (words[:-2], FOOT) if words.endswith("ft") else (words.removesuffix("m"), 1.0)
    try:
        height = float(number) * scale
    except ValueError:
        height = math.nan
    if height == height and number == words:  # of a thousand metres and a thousand feet one is 4 °F off
        raise argparse.ArgumentTypeError(f"{text!r} has no unit: write '{number} m' or '{number} ft'")
    if not -500.0 <= height <= 9000.0:
        raise argparse.ArgumentTypeError(f"{text!r} is no height to cook at; '-500 m' to '9000 m', or '5280 ft'")
    return height


PRESSURE_UNITS = {"hPa": 100.0, "mbar": 100.0, "kPa": 1000.0, "inHg": 3386.389}
"""Pascals; inches of mercury are the conventional ones, of mercury at 0 °C."""


def pascal(text: str) -> float:
    """Read an air pressure, as an option's type."""
    number, scale = next(
        ((text.removesuffix(unit), scale) for unit, scale in PRESSURE_UNITS.items() if text.endswith(unit)), ("", 0.0)
    )
    try:
        pressure = float(number) * scale
    except ValueError:
        pressure = math.nan
    if not 30_000.0 <= pressure <= 110_000.0:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no pressure where people cook; '1013 hPa' or '29.92 inHg' is one"
        )
    return pressure


def text(words: str) -> str:
    """Read a text to be put on record, as an option's type."""
    try:
        words.encode()
    except UnicodeEncodeError as error:  # bytes of the command line that are not UTF-8
        raise argparse.ArgumentTypeError(f"{words!r} is not UTF-8 text") from error
    if not words.strip():
        raise argparse.ArgumentTypeError("an empty text says nothing")
    return words


def load_settings(options: argparse.Namespace) -> "Settings":
    """Load the config that the options name.

    Raises:
        SettingsError: it cannot be read or holds mistakes.
    """
    from collector.paths import config_file
    from collector.settings.load import load

    return load(config_file(options.config))


def known_settings(options: argparse.Namespace) -> "Settings | None":
    """Load the config where there is a good one, for a command that can do without; a named one must be good.

    Raises:
        SettingsError: a config was named, and it cannot be read or holds mistakes.
    """
    from collector.errors import SettingsError
    from collector.paths import config_file

    try:
        if not options.config and not config_file().exists():
            return None
        return load_settings(options)
    except (SettingsError, OSError):
        if options.config:
            raise
        return None


def chosen_unit(options: argparse.Namespace) -> str:
    """Give the unit of the options, else of the config, else F.

    Raises:
        SettingsError: a config was named, and it cannot be read or holds mistakes.
    """
    if options.unit is not None:
        return str(options.unit)
    settings = known_settings(options)
    return settings.config.display.unit if settings is not None else "F"


def dashboard_look(options: argparse.Namespace, settings: "Settings | None") -> dict[str, Any]:
    """Put together how the dashboard looks: the options first, then the config."""
    from collector.settings.display import Display

    display = settings.config.display if settings is not None else Display()
    return {
        "fahrenheit": (options.unit or display.unit) == "F",
        "theme": options.theme or display.theme,
        "ascii_only": options.ascii or display.ascii,
        "keys": dict(display.keys),
        "bell": options.bell or display.bell,
        "mouse": display.mouse and not options.no_mouse,
    }
