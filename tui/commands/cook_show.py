"""`coldside cook show`: all that is known of a cook."""

import argparse
import datetime as dt
import sys
from typing import TYPE_CHECKING

from tui.commands.options import named_store
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.store.record import Cook, Record

__all__ = ["show"]


def show(options: argparse.Namespace) -> int:
    """Say all that is known of a cook, or give out one of its photos."""
    from collector.records import open_record

    if (options.photo is None) is not (options.output is None):
        print("coldside: a photo is given out by --photo N -o FILE", file=sys.stderr)
        return Exit.USAGE
    with open_record(named_store(options)) as record:
        cook = record.cook(options.cook)
        if options.photo is not None:
            return _give_out(options, record, cook)
        if options.json:
            import msgspec

            print(msgspec.json.encode(_document(record, cook)).decode())
        else:
            for line in _lines(record, cook):
                print(line)
    return Exit.OK


def _give_out(options: argparse.Namespace, record: "Record", cook: "Cook") -> int:
    from collector.errors import EditError

    photos = record.photos(cook)
    if not 1 <= options.photo <= len(photos):
        raise EditError(f"there is no photo {options.photo} of the cook {cook.name!r}; it has {len(photos)}")
    content = record.picture(photos[options.photo - 1])
    with open(options.output, "xb") as file:  # noqa: PTH123 - "x": nothing is written over
        file.write(content)
    print(f"photo {options.photo} of {cook.name} to {options.output}: {len(content):,} bytes", file=sys.stderr)
    return Exit.OK


def _document(record: "Record", cook: "Cook") -> dict[str, object]:
    return {
        "schema": 1,
        "cook": cook,
        "marks": record.marks(cook),
        "notes": record.notes(cook),
        "photos": record.photos(cook),
        "edits": record.edits(cook),
        "origin": record.origin(cook),
    }


def _lines(record: "Record", cook: "Cook") -> list[str]:
    """Write it as a page of text."""
    began = _local(cook.started_unix)
    ended = "still open" if cook.ended_unix is None else f"ended {_local(cook.ended_unix)}"
    plan = record.plans(cook)[-1][1] if record.plans(cook) else None
    lines = [
        cook.name,
        f"  began {began}, {ended}, recorded by coldside {cook.coldside}",
        f"  {cook.readings:,} readings, the last {_local(cook.last_unix)}; {cook.alarms} alarms",
    ]
    if plan is not None:
        lines.append(f"  {len(plan.probes)} probes, {len(plan.zones)} zones: {plan.chamber.name}")
    if cook.tags:
        lines.append(f"  tags: {', '.join(cook.tags)}")
    lines += _listed("notes", [f"{_local(n.time_unix)}  {n.text}" for n in record.notes(cook)])
    lines += _listed(
        "photos, given out by --photo N -o FILE",
        [f"{k}  {_local(p.time_unix)}  {p.name}, {p.bytes:,} bytes  {p.text}".rstrip()
         for k, p in enumerate(record.photos(cook), 1)],
    )  # fmt: skip
    lines += _listed("marks", [f"{_local(m.time_unix)}  {m.kind} {m.text}".rstrip() for m in record.marks(cook)])
    lines += _listed(
        "edits", [f"{_local(e.time_unix)}  {e.kind} of {e.name}: {_short(e.text)}" for e in record.edits(cook)]
    )
    return lines


def _listed(title: str, entries: list[str]) -> list[str]:
    return [f"  {title}:", *(f"    {line}" for entry in entries for line in entry.splitlines())] if entries else []


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 60 else line[:59] + "…"


def _local(unix: float) -> str:
    return f"{dt.datetime.fromtimestamp(unix, dt.UTC).astimezone():%Y-%m-%d %H:%M}"
