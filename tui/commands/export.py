"""`coldside export`: a cook in an open format."""

import argparse
import contextlib
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING

from tui.commands.options import add_config, add_json, add_store, named_store
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.store.record import Cook, Record

__all__ = ["add_options", "run"]

BINARY = ("parquet", "zip")
PARTS = {"actions": "actions", "alarms": "alarm_log", "marks": "marks", "vitals": "vitals"}


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `export`."""
    parser.add_argument("cook", metavar="COOK", help="name of the cook; 'last' for the newest")
    parser.add_argument(
        "--format", choices=("csv", "sensml", "json", *BINARY), default="csv",
        help="csv, sensml (RFC 8428), parquet: its readings; json: its report in numbers, with a schema; "
        "zip: the whole cook, which `import` takes without loss",
    )  # fmt: skip
    parser.add_argument(
        "--part", choices=("readings", *PARTS), default="readings", help="of csv: what of it (default: readings)"
    )
    parser.add_argument(
        "--for-spreadsheet", action="store_true",
        help="of csv: put ' before each text that a spreadsheet would run as a formula; names and notes may come from "
        "strangers. Such a file cannot be imported again without loss",
    )  # fmt: skip
    parser.add_argument("-o", "--output", metavar="FILE", help="where to (default: standard output)")
    add_config(parser)
    add_store(parser)
    add_json(parser)


def run(options: argparse.Namespace) -> int:
    """Write the cook, raw, in the order it came; a file that is there is left as it is."""
    from collector.records import open_record

    if options.json and not options.output:
        return _wrong("--json tells of a file that was written: name it with -o FILE")
    if options.format in BINARY and not options.output:
        return _wrong(f"a {options.format} file is not for a terminal: name it with -o FILE")
    if options.part != "readings" and options.format != "csv":
        return _wrong("--part is of --format csv; a zip holds all parts")
    if options.for_spreadsheet and options.format != "csv":
        return _wrong("--for-spreadsheet is of --format csv")
    with open_record(named_store(options)) as archive:
        cook = archive.cook(options.cook)
        with _whole_or_none(options.output):
            count = _write(options, archive, cook)
    what = options.part
    if options.json:
        print(json.dumps({"schema": 1, "cook": cook.name, what: count, "file": options.output}))
    else:
        print(f"{cook.name}: {count:,} {what}{f' to {options.output}' if options.output else ''}", file=sys.stderr)
    return Exit.OK


def _wrong(words: str) -> int:
    print(f"coldside: {words}", file=sys.stderr)
    return Exit.USAGE


@contextlib.contextmanager
def _whole_or_none(output: str | None) -> Iterator[None]:
    """Leave no half of a file behind; one that was there before is not touched."""
    if output is None:
        yield
        return
    if Path(output).exists():
        raise FileExistsError(17, "File exists", output)
    try:
        yield
    except FileExistsError:  # somebody made it in the meantime
        raise
    except BaseException:
        Path(output).unlink(missing_ok=True)
        raise


def _write(options: argparse.Namespace, archive: "Record", cook: "Cook") -> int:
    """Write what is asked for; return how many lines of it."""
    if options.format == "parquet":
        from collector.formats.parquet import write_parquet

        return write_parquet(archive, cook, Path(options.output))
    if options.format == "zip":
        from collector.formats.cook_file import write_cook_file

        return write_cook_file(archive, cook, Path(options.output))
    if options.output is None:
        return _write_text(options, archive, cook, sys.stdout)
    with open(options.output, "x", encoding="utf-8", newline="") as file:  # noqa: PTH123 - "x" and newline
        return _write_text(options, archive, cook, file)


def _write_text(options: argparse.Namespace, archive: "Record", cook: "Cook", file: IO[str]) -> int:
    if options.format == "sensml":
        from collector.formats.sensml import write_sensml

        return write_sensml(archive, cook, file)
    if options.format == "json":
        from collector.report.document import document_of
        from collector.report.facts import tell
        from collector.report.played import play

        file.write(document_of(tell(play(archive, cook)).facts).decode())
        return cook.readings
    if options.part in PARTS:
        from collector.formats.tables_csv import TABLES, write_table

        table = TABLES[PARTS[options.part]]
        return write_table(table, archive, cook, file, for_spreadsheet=options.for_spreadsheet)
    from collector.formats.readings_csv import write_readings

    return write_readings(archive, cook, file, for_spreadsheet=options.for_spreadsheet)
