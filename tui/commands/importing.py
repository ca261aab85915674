"""`coldside import`: a cook recorded elsewhere, put on record."""

import argparse
import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tui.commands.options import add_config, add_json, add_store, load_settings, named_store, text
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from adapters.reading import Reading
    from collector.importing.csv_file import CsvFile
    from collector.importing.senml_file import SenmlFile
    from collector.importing.shape import CsvMap
    from collector.importing.who import Who
    from collector.model.plan import Plan

__all__ = ["add_options", "run"]

SENML_ENDS = (".sensml", ".senml", ".json", ".cbor", ".senmlc")
OF_CSV = {
    "time_column": "time", "date_column": "date", "time_format": "time_format", "timezone": "timezone", "fold": "fold",
    "unit": "unit", "delimiter": "delimiter", "decimal": "decimal", "probe_column": "probe", "value_column": "value",
    "skip_lines": "skip_lines",
}  # fmt: skip
"""Options, and the key of a mapping that each stands for."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `import`."""
    parser.add_argument(
        "file", type=Path, metavar="FILE",
        help="a zip of `export`; CSV, an export's or any by a mapping; SensML, or SenML as JSON or CBOR; .gz, .xz too",
    )  # fmt: skip
    parser.add_argument("--name", type=text, metavar="NAME", help="of the cook (default: the one it had, or its day)")
    parser.add_argument("--dry-run", action="store_true", help="only say what would come in")
    parser.add_argument(
        "--no-places", action="store_true",
        help="without the config's places: curves and screening, and no zones, map or alarms of the chamber",
    )  # fmt: skip
    parser.add_argument(
        "--probe", action="append", type=_pair, default=[], metavar="COLUMN=NAME",
        help="this column, or name in the file, is that probe of the config; only those named are taken",
    )  # fmt: skip
    parser.add_argument("--sort", action="store_true", help="take the readings by their times, however they stand")
    parser.add_argument("--sure", action="store_true", help="the unit is right, whatever the values look like")
    of_csv = parser.add_argument_group("CSV from elsewhere")
    of_csv.add_argument("--map", type=Path, metavar="FILE.toml", help="the options below, written down")
    of_csv.add_argument("--time-column", metavar="COLUMN")
    of_csv.add_argument("--date-column", metavar="COLUMN", help="of a date that stands apart from the time")
    of_csv.add_argument("--time-format", metavar="FORM", help="as of strptime (default: ISO 8601, or Unix time)")
    of_csv.add_argument("--timezone", metavar="ZONE", help="of times that tell none: America/Chicago, UTC")
    of_csv.add_argument("--fold", choices=("earlier", "later", "order"), help="which, where clocks were set back")
    of_csv.add_argument("--unit", choices=("C", "F", "K"), help="of the values, where the columns do not say it")
    of_csv.add_argument("--delimiter", metavar="CHARACTER", help="(default: what the header holds most of , ; TAB |)")
    of_csv.add_argument("--decimal", choices=(".", ","))
    of_csv.add_argument("--probe-column", metavar="COLUMN", help="one reading a line: the column that names the probe")
    of_csv.add_argument("--value-column", metavar="COLUMN", help="one reading a line: the column of the values")
    of_csv.add_argument("--skip-lines", type=int, metavar="N", help="lines before the header")
    add_config(parser)
    add_store(parser)
    add_json(parser)


def _pair(words: str) -> tuple[str, str]:
    label, equals, name = words.rpartition("=")
    if not equals or not label.strip() or not name.strip():
        raise argparse.ArgumentTypeError(f"{words!r} is not COLUMN=NAME")
    return text(label.strip()), text(name.strip())


def run(options: argparse.Namespace) -> int:
    """Look through the file, then put it on record."""
    from collector.errors import EditError
    from collector.kitchen.address import is_address
    from collector.paths import store_file

    named = named_store(options)
    if is_address(named):
        raise EditError("the server's copy follows the pit's own record: import on the pit's machine, into its file")
    store = store_file(named)
    if options.file.suffix == ".zip":
        return _whole_cook(options, store)
    return _readings(options, store)


def _say(options: argparse.Namespace, cook: str, count: int, first: float, last: float, **more: object) -> None:
    """Say what came in, or would."""
    if options.json:
        import msgspec

        document = {"schema": 1, "cook": cook, "readings": count, "first_unix": first, "last_unix": last,
                    "imported": not options.dry_run, **more}  # fmt: skip
        print(msgspec.json.encode(document).decode())
        return
    began, ended = (dt.datetime.fromtimestamp(unix, dt.UTC).astimezone() for unix in (first, last))
    word = "would be imported" if options.dry_run else "imported"
    print(f"{word} as {cook}: {_count(count)}, {began:%Y-%m-%d %H:%M} to {ended:%Y-%m-%d %H:%M %Z}")


def _count(readings: int) -> str:
    return f"{readings:,} reading{'' if readings == 1 else 's'}"


def _origin(options: argparse.Namespace, **more: object) -> str:
    import hashlib

    import msgspec

    with options.file.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return msgspec.json.encode({"file": options.file.name, "sha256": digest, **more}).decode()


def _whole_cook(options: argparse.Namespace, store: Path) -> int:
    """Take a zip as it is: with its plans, alarms and all."""
    from collector.importing.cook_file import CookFile

    file = CookFile(options.file)
    count, first, last = file.survey()
    document = file.document
    extra = {"tags": document.tags, "notes": len(document.notes), "photos": len(document.photos)}
    name = _make_sure(store, first, last, options.name or document.name)
    if options.dry_run:
        _say(options, name, count, first, last, **extra)
        return Exit.OK
    origin = _origin(options, edits=document.edits, name=document.name)
    cook = file.take_in(store, name=options.name or "", origin=origin)
    _say(options, cook.name, cook.readings, first, last, **extra, alarms=cook.alarms)
    return Exit.OK


def _make_sure(store: Path, first: float, last: float, name: str) -> str:
    """Make sure that there is room on record; give the name it would get."""
    import time

    from collector.importing.intake import free_name, make_sure_of_room
    from collector.store.archive import Archive

    if not store.exists():
        make_sure_of_room(None, first, last, time.time())
        return free_name(None, first, name)
    with Archive(store) as archive:
        make_sure_of_room(archive, first, last, time.time())
        return free_name(archive, first, name)


def _readings(options: argparse.Namespace, store: Path) -> int:
    """Judge readings by the config's plan, or by none, and put them on record."""
    from collector.errors import IntakeError
    from collector.importing.intake import take_in
    from collector.importing.survey import in_order, survey
    from collector.importing.who import UnknownProbeError, Who, placeless

    mapping = _mapping(options)
    plan = _plan(options)
    try:
        who = Who(plan, {**mapping.probes, **dict(options.probe)})
        source = _source(options, mapping, who)
    except UnknownProbeError as error:
        raise IntakeError(options.file.name, str(error)) from error
    strict = options.file.suffix not in SENML_ENDS and not source.own

    def readings() -> "Iterator[Reading]":
        told = source.readings()
        if options.sort:
            told = iter(sorted(told, key=lambda reading: reading.received_unix))
        return in_order(options.file.name, told, strict=strict, line=lambda: 0 if options.sort else source.line)

    duties = {}
    for probe in plan.probes if plan else ():
        duties[probe.source, probe.key] = probe.duty if probe.duty != "chamber" else probe.level or ""
    sure = options.sure or source.own or not strict
    found = survey(options.file.name, readings(), duties, sure=sure)
    probes: list[dict[str, Any]] = [
        {"name": name, "source": source_, "key": key, "readings": found.counts.get((source_, key), 0)}
        for (source_, key), name in who.found.items()
    ]
    extra = {"probes": probes, "ignored": source.ignored}
    if not options.json:
        for told in probes:
            print(f"  {told['name']}: {_count(told['readings'])}")
        if source.ignored:
            print(f"  not taken: {', '.join(source.ignored)}")
    name = _make_sure(store, found.first_unix, found.last_unix, options.name or "")
    if options.dry_run:
        _say(options, name, found.readings, found.first_unix, found.last_unix, **extra)
        return Exit.OK
    cook = take_in(
        store, plan or placeless(who.found), readings(), found, name=options.name or "", origin=_origin(options),
        as_raw=source.own,
    )  # fmt: skip
    _say(options, cook.name, cook.readings, found.first_unix, found.last_unix, **extra, alarms=cook.alarms)
    return Exit.OK


def _mapping(options: argparse.Namespace) -> "CsvMap":
    """Put the mapping together: the options first, then the file."""
    import msgspec

    from collector.importing.shape import CsvMap, read_map

    mapping = read_map(options.map) if options.map else CsvMap()
    given = {key: getattr(options, name) for name, key in OF_CSV.items() if getattr(options, name) is not None}
    return msgspec.structs.replace(mapping, **given)


def _plan(options: argparse.Namespace) -> "Plan | None":
    """Give the plan of the config; None where the probes are to lie nowhere.

    Raises:
        IntakeError: there is no config.
    """
    from collector.errors import IntakeError
    from collector.paths import config_file

    if options.no_places:
        return None
    path = config_file(options.config)
    if not options.config and not path.exists():
        raise IntakeError(
            options.file.name,
            f"where do its probes lie? There is no config at {path}: name one that places them (-c FILE), or take "
            "their curves alone: --no-places",
        )
    return load_settings(options).plan


def _source(options: argparse.Namespace, mapping: "CsvMap", who: "Who") -> "CsvFile | SenmlFile":
    from collector.importing.csv_file import CsvFile
    from collector.importing.senml_file import SenmlFile

    ends = [end for end in options.file.suffixes if end not in (".gz", ".xz")]
    if ends and ends[-1].lower() in SENML_ENDS:
        return SenmlFile(options.file, who)
    return CsvFile(options.file, mapping, who)
