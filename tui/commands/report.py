"""`coldside report`: a cook on one page, or as PDF, picture or JSON."""

import argparse
import json
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from tui.commands.moment import moment_of
from tui.commands.options import add_config, add_json, add_store, chosen_unit, named_store, text
from tui.commands.progress import Progress
from tui.errors import TuiError
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.report.played import Played

__all__ = ["add_options", "check_report_libraries", "run"]

FORMATS = ("html", "pdf", "png", "json")
MOST_MAPS = 24


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `report`."""
    parser.add_argument("cook", metavar="COOK", help="name of the cook; 'last' for the newest")
    parser.add_argument("--format", choices=FORMATS, default="html", help="page, sheets, the one picture, or numbers")
    parser.add_argument(
        "--at", type=text, action="append", default=[], metavar="TIME",
        help="a map of this moment, '02:00' or '2026-10-09T02:00', local time; may be given again "
        "(default: four over the steady stretch, and the coldest)",
    )  # fmt: skip
    parser.add_argument(
        "--reference", choices=("level", "target"), default="level",
        help="what the survey's deviations are from: the mean of the grate (default), or the target",
    )  # fmt: skip
    parser.add_argument("--unit", choices=("C", "F"), help="temperature unit (default: the config's)")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="of --format pdf")
    parser.add_argument(
        "-o", "--output", metavar="FILE", help="where to (default: COOK.FORMAT here; '-': standard output)"
    )
    parser.add_argument("--overwrite", action="store_true", help="write over the file where it is there already")
    add_config(parser)
    add_store(parser)
    add_json(parser)


def run(options: argparse.Namespace) -> int:
    """Write the report."""
    if options.json and options.output == "-":
        print("coldside: --json tells of a file that was written: name it with -o FILE", file=sys.stderr)
        return Exit.USAGE
    if len(options.at) > MOST_MAPS:
        raise TuiError(f"--at was given {len(options.at)} times; a report has at most {MOST_MAPS} maps of moments")
    from collector.records import open_record
    from collector.report.played import play

    if options.format != "json":
        check_report_libraries()
    unit = chosen_unit(options)
    with Progress() as progress:
        with open_record(named_store(options)) as record:
            cook = record.cook(options.cook)
            file = Path(options.output or f"{_file_name(cook.name)}.{options.format}")
            if options.output != "-" and file.exists() and not options.overwrite:
                raise FileExistsError(17, "File exists", str(file))
            if options.output != "-" and not file.parent.is_dir():
                raise FileNotFoundError(2, "there is no such folder", str(file.parent))
            at = [_unix(moment, cook.started_unix, record.alive_unix(cook)) for moment in options.at]
            played = play(record, cook, lambda share: progress.follow(f"{cook.name}: read {100 * share:.0f} %"))
        progress.begin(f"{cook.name}: drawing")
        written = _written(options, played, at, fahrenheit=unit == "F")
    if options.output == "-":
        sys.stdout.buffer.write(written)
        sys.stdout.buffer.flush()
        return Exit.OK
    _put(written, file, overwrite=options.overwrite)
    if options.json:
        print(json.dumps({"schema": 1, "cook": cook.name, "file": str(file), "bytes": len(written)}))
    else:
        print(f"{cook.name}: {file}", file=sys.stderr)
    return Exit.OK


def _put(written: bytes, file: Path, *, overwrite: bool) -> None:
    """Write a file whole or not at all; one that is there is kept until its successor is whole."""
    target = file.with_name(f".{file.name}.new") if overwrite else file
    with target.open("wb" if overwrite else "xb") as out:
        try:
            out.write(written)
            out.flush()
        except OSError:
            target.unlink(missing_ok=True)
            raise
    if overwrite:
        target.replace(file)


def check_report_libraries(what: str = "a report", otherwise: str = "--format json does without") -> None:
    """Say which extra is missing before anything is worked out.

    Args:
        what: is to be made.
        otherwise: what can be had all the same.

    Raises:
        TuiError: one is.
    """
    from importlib.util import find_spec

    if find_spec("matplotlib") is None or find_spec("jinja2") is None:
        raise TuiError(f"{what} needs the extra: pip install 'coldside[report]'; {otherwise}")


def _written(options: argparse.Namespace, played: "Played", at_unix: "Sequence[float]", *, fahrenheit: bool) -> bytes:
    """Make the bytes of the format that is asked for."""
    from collector.report.facts import tell
    from collector.report.wording import Words

    words = Words(fahrenheit=fahrenheit)
    told = tell(played, options.reference, at_unix)
    if options.format == "json":
        from collector.report.document import document_of

        return document_of(told.facts)
    if options.format == "pdf":
        from collector.report.sheets import pdf_of

        return pdf_of(told, words, options.paper)
    if options.format == "png":
        from collector.report.picture import picture_sketch
        from collector.report.style import WIDE, png_of

        return png_of(picture_sketch(told, words, WIDE, f"{told.facts.cook.name} – {told.facts.cook.pit}"))
    from collector.report.page import page_of

    return page_of(told, words)


def _unix(at: str, started_unix: float, ended_unix: float) -> float:
    """Find a moment within the cook.

    Raises:
        TuiError: it is none.
    """
    try:
        return moment_of(at, started_unix, ended_unix)
    except ValueError as error:
        raise TuiError(f"--at: {error}") from error


def _file_name(cook: str) -> str:
    """Make a file's name of a cook's: what a path or a shell would take otherwise becomes a hyphen."""
    return re.sub(r"[^\w.\-]+", "-", cook).strip(".-") or "cook"
