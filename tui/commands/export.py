"""`coldside export`: a cook in an open format."""

import argparse
import csv
import datetime as dt
import sys
from typing import IO, TYPE_CHECKING

from tui.commands.options import add_config, add_json, add_store, named_store
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.store.record import Cook, Record

__all__ = ["add_options", "run"]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `export`."""
    parser.add_argument("cook", metavar="COOK", help="name of the cook; 'last' for the newest")
    parser.add_argument("--format", choices=("csv", "sensml"), default="csv")
    parser.add_argument("-o", "--output", metavar="FILE", help="where to (default: standard output)")
    add_config(parser)
    add_store(parser)
    add_json(parser)


def run(options: argparse.Namespace) -> int:
    """Write the cook's readings, raw, in the order they came."""
    import json

    from collector.records import open_record

    if options.json and not options.output:
        print("coldside: --json tells of a file that was written: name it with -o FILE", file=sys.stderr)
        return Exit.USAGE
    with open_record(named_store(options)) as archive:
        cook = archive.cook(options.cook)
        write = _write_csv if options.format == "csv" else _write_sensml
        if options.output:
            with open(options.output, "x", encoding="utf-8", newline="") as file:  # noqa: PTH123 - "x" and newline
                count = write(archive, cook, file)
        else:
            count = write(archive, cook, sys.stdout)
    if options.json and options.output:
        print(json.dumps({"schema": 1, "cook": cook.name, "readings": count, "file": options.output}))
    else:
        print(
            f"{cook.name}: {count:,} readings{f' to {options.output}' if options.output else ''}",
            file=sys.stderr,
        )
    return Exit.OK


def _write_csv(archive: "Record", cook: "Cook", file: IO[str]) -> int:
    """Write one line a reading; the header says the units."""
    from collector.store.row import reading_of, verdict_of

    names = {(p.source, p.key): p.name for _, plan in archive.plans(cook) for p in plan.probes}
    series = archive.series()
    out = csv.writer(file, lineterminator="\n")
    out.writerow(["time_utc", "probe", "source", "key", "raw_celsius", "quality", "reason", "source_time_utc"])
    count = 0
    for row in archive.rows(cook):
        source, key = series[row[1]]
        reading = reading_of(row, source, key)
        quality, reason = verdict_of(row[3])
        out.writerow(
            [
                _iso(reading.received_unix), names.get((source, key), ""), source, key,
                "" if row[2] is None else f"{reading.celsius:.3f}", quality.name.lower(), reason.name.lower(),
                "" if reading.source_unix is None else _iso(reading.source_unix),
            ]
        )  # fmt: skip
        count += 1
    return count


def _iso(unix: float) -> str:
    return dt.datetime.fromtimestamp(unix, dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _write_sensml(archive: "Record", cook: "Cook", file: IO[str]) -> int:
    """Write SensML (RFC 8428): what `coldside` can play again. A reading without a value is left out: it has none."""
    from adapters.decode.senml import encode_record
    from collector.store.row import unix_of

    series = archive.series()
    count = 0
    base = None
    for row in archive.rows(cook):
        if row[2] is None:
            continue
        time_unix = unix_of(row[0])
        if base is None:
            base = time_unix
            line = encode_record(series[row[1]][1], row[2] / 1000, 0.0, base_unix=base, base_unit="Cel")
        else:
            line = encode_record(series[row[1]][1], row[2] / 1000, round(time_unix - base, 3))
        text = line.decode() if isinstance(line, bytes) else line
        file.write(f"{'[' if not count else ','}{chr(10) if count else ''}{text}")
        count += 1
    file.write("\n]\n" if count else "[]\n")
    return count
