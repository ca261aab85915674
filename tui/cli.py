"""The `coldside` command: reads the command line and hands over. Imports nothing heavy until it knows what for."""

import argparse
import importlib
import io
import os
import sys
from collections.abc import Sequence

from tui.exit_codes import Exit

__all__ = ["build_parser", "main"]

TYPE_CHECKING = False
"""Type checkers know the name: `typing` itself would be a tenth of what `--help` costs."""
if TYPE_CHECKING:
    from typing import Protocol

    class Command(Protocol):
        """What a module of `tui.commands` offers."""

        def add_options(self, parser: argparse.ArgumentParser) -> None:
            """Add the command's own options."""

        def run(self, options: argparse.Namespace) -> int:
            """Do it; return the exit code."""


COMMANDS: dict[str, str] = {
    "demo": "watch a recorded night: no config, broker or hardware needed",
    "init": "write a commented config to start from",
    "check": "check a config and say every mistake in it",
    "scan": "hear what is in the air or on a broker, and turn it into config",
    "decode": "replay a recorded scan through the decoders, offline",
    "rehearse": "run a simulated pit against your config, with faults on command",
    "collect": "collect from the probes, record, judge and raise alarms",
    "service": "run the collector unattended, by the service manager",
    "watch": "open the dashboard of the running collector",
    "status": "say in plain lines how the cook stands",
    "alarms": "list every alarm rule, shelve or acknowledge one, read the journal and its measures",
    "calibrate": "calibrate probes in ice water, boiling water or side by side",
    "token": "let dashboards and phones on other machines in: tokens, and a certificate",
    "meat": "pieces of meat: forecast, phases, readings by hand",
    "mark": "put something you did or saw on the record",
    "cooks": "list the recorded cooks, or those of some words, tags or days",
    "cook": "tags, notes and photos of a cook; rename, merge, split or delete it; all that is known of it",
    "export": "write a cook to a file in an open format",
    "import": "put a cook on record that was recorded elsewhere: CSV, SensML, or a whole cook of an export",
    "report": "report a cook on one page, or as PDF, picture or JSON",
    "compare": "tell whether a change of the pit did something, or how many cooks it takes to tell",
    "usual": "say what is usual in this pit, zone by zone, and what the weather does to it",
    "draught": "estimate what a taller, lower or wider stack does to the draw",
    "store": "look through the record, copy it, give room back",
    "paths": "say where config, store and socket are",
    "completion": "print a completion script for your shell",
}

FOR_PROGRAMS = ("export", "completion")
"""Commands whose output is data and leaves as it is on record."""

EPILOG = """\
exit codes: 0 done, 1 failed, 2 wrong usage, 3 an alarm waits (status, alarms), 69 no collector answers,
            74 the store cannot be used, 78 the config holds mistakes

coldside advises; it does not replace a thermometer you trust, a carbon monoxide alarm, or somebody who
minds the fire. Local code and the licensed authority decide what is safe to serve."""


def build_parser(only: str | None = None, *, alone: bool = False) -> argparse.ArgumentParser:
    """Build the parser; with `only`, load the options of that command alone.

    Args:
        only: the command that is meant; None for all.
        alone: leave the others out altogether, for nothing else can be meant: they cost a collector 6 ms at its start.
    """
    parser = argparse.ArgumentParser(
        prog="coldside",
        description="Watches a wood-fired offset through an overnight cook.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="store_true", help="print the version")
    parser.add_argument("-v", "--verbose", action="count", default=0, help="log more (twice: everything)")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for name, says in COMMANDS.items():
        if alone and name != only:
            continue
        sub = commands.add_parser(
            name, help=says, description=says[0].upper() + says[1:] + ".",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )  # fmt: skip
        sub.set_defaults(refuse=sub.error)
        if only is None or only == name:
            module(name).add_options(sub)
    return parser


def module(name: str) -> "Command":
    """Load the module of a command."""
    found: Command = importlib.import_module(f"tui.commands.{'importing' if name == 'import' else name}")
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Run `coldside`; return its exit code."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a file name need not be text; printing it is no reason to fail
            stream.reconfigure(errors="backslashreplace")
    command = next((w for w in words if w in COMMANDS), "")
    if command:
        _check_packages()
    parser = build_parser(command, alone=bool(command) and words[0] == command)
    options, strange = parser.parse_known_args(words)
    if strange:
        mend = "; a config is named by -c FILE" if any(word.endswith(".toml") for word in strange) else ""
        getattr(options, "refuse", parser.error)(f"not understood: {' '.join(strange)}{mend}")
    if options.version:
        from collector.version import VERSION

        print(f"coldside {VERSION}")
        return Exit.OK
    if options.command is None:
        parser.print_help()
        return Exit.USAGE
    try:
        if options.command in FOR_PROGRAMS or getattr(options, "json", False):
            return module(options.command).run(options)
        from tui.printable import printable_output

        with printable_output():
            return module(options.command).run(options)
    except KeyboardInterrupt:
        return Exit.INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return Exit.OK
    except Exception as error:  # noqa: BLE001 - the one place that turns errors into lines; others go on
        return _tell(error, options)


def _tell(error: Exception, options: argparse.Namespace) -> int:
    """Say in clear lines what went wrong; an error nobody foresaw goes on with its traceback."""
    from adapters.errors import AdapterError
    from adapters.text import printable
    from collector.errors import CollectorError, SettingsError, StoreError, UnknownCookError
    from tui.errors import TuiError

    if not isinstance(error, CollectorError | AdapterError | TuiError | OSError):
        raise error
    code = Exit.FAILED
    if isinstance(error, SettingsError):
        code = Exit.CONFIG
    elif isinstance(error, StoreError) and not isinstance(error, UnknownCookError):
        code = Exit.STORE
    elif isinstance(error, ConnectionError):
        code = Exit.NO_COLLECTOR
    if getattr(options, "json", False):
        import json

        print(json.dumps({"error": _sentence(error), "exit": int(code)}))
    else:
        said = str(error) if isinstance(error, SettingsError) else f"coldside: {_sentence(error)}"
        print(printable(said), file=sys.stderr)
    return code


def _sentence(error: Exception) -> str:
    """Say an error without the system's numbers for it."""
    if isinstance(error, FileExistsError) and error.filename:
        return f"{error.filename} is there already; it is left as it is"
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename}: {error.strerror}" if error.filename else error.strerror
    said = str(error)
    return f"{said}; make room on that disk" if "disk is full" in said else said


def _check_packages() -> None:
    """Say it plainly when another distribution has put its own `adapters` or `collector` over ours."""
    try:
        importlib.import_module("adapters.errors")
        importlib.import_module("collector.errors")
    except ImportError as error:
        print(
            f"coldside: another package named {error.name or 'adapters'} is in this environment; "
            "install coldside in one of its own (uv tool install, or a venv)",
            file=sys.stderr,
        )
        raise SystemExit(Exit.FAILED) from error


if __name__ == "__main__":
    sys.exit(main())
