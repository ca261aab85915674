"""`coldside cooks`: what is on record, searched by words, tags and days; a cook replayed."""

import argparse
import datetime as dt
import shutil
import sys
from typing import TYPE_CHECKING

from tui.commands.moment import day_of
from tui.commands.options import add_config, add_json, add_store, named_store, text
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.store.record import Cook, Record

__all__ = ["add_options", "run"]

NAME_COLUMNS = 24
HEAD = f"{'cook':{NAME_COLUMNS}}  began             hours   readings  alarms  tags"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `cooks`."""
    parser.add_argument(
        "words", nargs="*", type=text, default=[], metavar="WORDS",
        help="only cooks in whose name, notes, tags or marks each of them occurs",
    )  # fmt: skip
    parser.add_argument("--tag", action="append", type=text, default=[], metavar="TAG", help="only cooks of this tag")
    parser.add_argument("--since", type=_day, metavar="DAY", help="only cooks that ended on this day or later")
    parser.add_argument("--until", type=_last_day, metavar="DAY", help="only cooks that began on this day or before")
    add_config(parser)
    add_store(parser)
    add_json(parser)
    parser.add_argument(
        "--replay",
        metavar="COOK",
        help="run a cook through the engine again and compare its alarm log ('last': newest)",
    )


def _day(words: str) -> float:
    try:
        return day_of(words)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def _last_day(words: str) -> float:
    try:
        return day_of(words, end=True)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def run(options: argparse.Namespace) -> int:
    """List the cooks, or replay one."""
    from collector.records import open_record

    with open_record(named_store(options)) as archive:
        if options.replay:
            return _replay(options, archive)
        every = archive.cooks()
        cooks = [cook for cook in every if _is_meant(options, archive, cook)]
    if options.json:
        import msgspec

        print(msgspec.json.encode({"schema": 1, "cooks": cooks}).decode())
        return Exit.OK
    if not cooks:
        print("no cook is like that" if every else "no cooks yet")
    else:
        columns = shutil.get_terminal_size().columns if sys.stdout.isatty() else 80
        print(HEAD)
        for cook in cooks:
            for line in _lines(cook, columns):
                print(line)
    return Exit.OK


def _is_meant(options: argparse.Namespace, archive: "Record", cook: "Cook") -> bool:
    """Tell whether a cook is one of those that were asked for."""
    if options.since is not None and max(cook.last_unix, cook.ended_unix or 0.0) < options.since:
        return False
    if options.until is not None and cook.started_unix >= options.until:
        return False
    tags = [tag.casefold() for tag in cook.tags]
    if not all(tag.strip().casefold() in tags for tag in options.tag):
        return False
    if not options.words:
        return True
    told = [cook.name, *cook.notes, *cook.tags, *(f"{m.kind} {m.text}" for m in archive.marks(cook))]
    everything = "\n".join(told).casefold()
    return all(word.casefold() in everything for word in options.words)


def _lines(cook: "Cook", columns: int) -> list[str]:
    """Write a cook as one line; a long name, and tags that do not fit, get lines of their own."""
    began = dt.datetime.fromtimestamp(cook.started_unix, dt.UTC).astimezone()
    hours = (cook.last_unix - cook.started_unix) / 3600
    name = [cook.name] if len(cook.name) > NAME_COLUMNS else []
    numbers = (
        f"{'' if name else cook.name:{NAME_COLUMNS}}  {began:%Y-%m-%d %H:%M}  {hours:5.1f}  {cook.readings:9,}  "
        f"{cook.alarms:6}"
    )
    words = ", ".join((*(["(open)"] if cook.ended_unix is None else []), *cook.tags))
    if len(numbers) + 2 + len(words) <= columns:
        return [*name, f"{numbers}  {words}".rstrip()]
    return [*name, numbers, f"    {words}"]


def _replay(options: argparse.Namespace, archive: "Record") -> int:
    """Run a cook through the engine once more; of one that was edited say what could be compared."""
    import msgspec

    from collector.replay import cut_off, differences
    from collector.store.row import unix_of

    cook = archive.cook(options.replay)
    found = differences(archive, cook)
    lost = [(unix_of(part.from_id), unix_of(part.until_id)) for part in cut_off(archive, cook)]
    parts = len(archive.parts(cook))
    steps = len(archive.alarm_log(cook))
    if options.json:
        document = {
            "schema": 1, "cook": cook.name, "readings": cook.readings, "steps": steps, "differences": found,
            "stretches": parts, "not_comparable_from_unix": [since for since, _ in lost],
        }  # fmt: skip
        print(msgspec.json.encode(document).decode())
        return Exit.FAILED if found else Exit.OK
    same = f"{len(found)} differ" if found else "the replay gives the same alarm log"
    if len(lost) == parts:
        same = "nothing of it can be compared"
    print(f"{cook.name}: {cook.readings} readings, {steps} alarm steps, {same}")
    for line in found:
        print(f"  {line}")
    if parts > 1:
        print(f"  it was put together of {parts} stretches; each is compared as it was recorded")
    for since, _ in lost:
        began = dt.datetime.fromtimestamp(since, dt.UTC).astimezone()
        print(
            f"  from {began:%Y-%m-%d %H:%M} on it was split off a cook whose beginning is no longer on record: what "
            "rang there stays as it rang, and a replay cannot tell it again"
        )
    return Exit.FAILED if found else Exit.OK
