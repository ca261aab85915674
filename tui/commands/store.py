"""`coldside store`: is it sound, a copy of it in the night, what of a damaged one can be read, old cooks let go."""

import argparse
import contextlib
import time
from pathlib import Path

from tui.commands.options import add_config, add_json, add_store, known_settings, named_store
from tui.commands.progress import Progress
from tui.exit_codes import Exit

__all__ = ["add_options", "run"]

DAY_SECONDS = 86400.0


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `store`."""
    actions = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    look = actions.add_parser("check", help="look through all of it, also while a collector writes")
    copy = actions.add_parser("backup", help="copy it as it is at this moment, also while a collector writes")
    copy.add_argument("to", type=Path, metavar="FILE", help="the copy; replaced once the new one is sound")
    salvage = actions.add_parser("salvage", help="write all that can be read of a damaged store to a fresh one")
    salvage.add_argument(
        "path", type=Path, nargs="?", metavar="PATH", help="the damaged file; only read (default: the store)"
    )
    salvage.add_argument("--to", type=Path, metavar="FILE", help="the fresh one (default: PATH.salvaged)")
    clock = actions.add_parser("clock", help="list leaps of the clock that were followed, take a wrong one back")
    clock.add_argument(
        "--back", type=int, metavar="NUMBER", help="date back what was written since; no collector may run"
    )
    seal = actions.add_parser("seal", help="press ended cooks to a tenth, as a collector does by itself; none may run")
    small = actions.add_parser("compact", help="give unused room back; no collector may run")
    trim = actions.add_parser("trim", help="delete cooks that ended long ago; no collector may run")
    trim.add_argument("--days", type=_days, required=True, metavar="N", help="older than so many days")
    trim.add_argument("--dry-run", action="store_true", help="only say which")
    listed = actions.add_parser(
        "pits", help="list the pits that a server holds: --store postgresql://USER@HOST/DATABASE"
    )
    fresh = actions.add_parser("renew", help="after it was put back from a copy: a store of its own to the server")
    for sub in (look, copy, salvage, clock, seal, small, trim, listed, fresh):
        add_config(sub)
        add_store(sub)
        add_json(sub)


def run(options: argparse.Namespace) -> int:
    """Do what is asked with the store."""
    jobs = {
        "check": _check, "backup": _back_up, "salvage": _salvage, "seal": _seal, "compact": _compact, "trim": _trim,
        "pits": _pits, "renew": _renew, "clock": _clock,
    }  # fmt: skip
    return jobs[options.what](options)


def _clock(options: argparse.Namespace) -> int:
    import msgspec

    from tui.commands.store_clock import date_back, leap_lines, leaps_of

    path = _path(options)
    if options.back is None:
        leaps = leaps_of(path)
        _say(options, {"leaps": [msgspec.structs.asdict(leap) for leap in leaps]}, *leap_lines(leaps))
    else:
        done = date_back(path, options.back)
        _say(options, {"done": done}, done)
    return Exit.OK


def _days(text: str) -> float:
    try:
        days = float(text)
    except ValueError:
        days = -1.0
    if not 0 < days < 1e5:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of days")
    return days


def _path(options: argparse.Namespace) -> Path:
    from collector.errors import StoreError
    from collector.kitchen.address import is_address
    from collector.paths import store_file

    named = named_store(options)
    if is_address(named):
        raise StoreError("this is done to a file; a server is looked after by PostgreSQL's own programs, as pg_dump")
    return store_file(named)


def _say(options: argparse.Namespace, document: dict[str, object], *lines: str) -> None:
    if options.json:
        import msgspec

        print(msgspec.json.encode({"schema": 1, **document}).decode())
        return
    for line in lines:
        print(line)


def _check(options: argparse.Namespace) -> int:
    from collector.store.upkeep import check

    path = _path(options)
    found = check(path)
    spare = f", of these {_size(found.free_bytes)} unused" if found.free_bytes else ""
    _say(
        options,
        {"store": str(path), "sound": not found.complaints, **{f: getattr(found, f) for f in found.__struct_fields__}},
        f"{path}: {found.cooks} cooks, {found.readings} readings, {_size(found.bytes)}{spare}, version {found.version}",
        *(f"  {complaint}" for complaint in found.complaints),
        "it is damaged: `coldside store salvage` reads all of it that can be read; a collector does so when it starts"
        if found.complaints else "it is sound",
    )  # fmt: skip
    return Exit.STORE if found.complaints else Exit.OK


def _back_up(options: argparse.Namespace) -> int:
    from collector.store.upkeep import back_up

    with Progress(quiet=options.json) as progress:
        progress.begin(f"copying to {options.to}")
        copied = back_up(
            _path(options), options.to, progress=lambda share: progress.follow(f"copied {100 * share:.0f} %")
        )
    _say(options, {"copy": str(options.to), "bytes": copied}, f"{options.to}: {_size(copied)}, looked through: sound")
    return Exit.OK


def _salvage(options: argparse.Namespace) -> int:
    """Read a damaged store; the set-up for cooks that lost theirs is the config's, where there is one."""
    import msgspec

    from collector.errors import StoreError
    from collector.store.database import hold
    from collector.store.salvage import said_of, salvage

    path = options.path or _path(options)
    if not path.is_file():
        raise StoreError(f"{path}: there is no file")
    to = options.to or path.with_name(path.name + ".salvaged")
    settings = known_settings(options)
    plan_json = "" if settings is None else msgspec.json.encode(settings.plan).decode()
    held = hold(path) if Path(f"{path}.lock").exists() else contextlib.nullcontext()
    with held:
        found = salvage(path, to, plan_json=plan_json)
    first, *rest = said_of(found)
    _say(
        options, {"store": str(path), "fresh": str(to), **msgspec.to_builtins(found)},
        f"{to}: {first}", *(f"  {line}" for line in rest),
    )  # fmt: skip
    return Exit.OK


def _seal(options: argparse.Namespace) -> int:
    """Seal all that has ended; what it gives back is used again, and `compact` gives it to the disk."""
    from collector.store.archive import Archive
    from collector.store.database import Database

    Archive(_path(options)).close()  # a store that is not there is not made
    database = Database(_path(options))
    hours = readings = sealed = 0
    try:
        while (hour := database.seal(time.time())) is not None:
            hours, readings, sealed = hours + 1, readings + hour.readings, sealed + hour.bytes
    finally:
        database.close()
    each = f", {sealed / readings:.1f} bytes a reading" if readings else ""
    _say(
        options, {"hours": hours, "readings": readings, "bytes": sealed},
        f"{database.path}: {hours} hours sealed, {readings} readings in {_size(sealed)}{each}",
    )  # fmt: skip
    return Exit.OK


def _compact(options: argparse.Namespace) -> int:
    from collector.store.database import Database

    database = Database(_path(options))
    try:
        before, after = database.compact()
    finally:
        database.close()
    _say(
        options, {"before": before, "after": after},
        f"{database.path}: {_size(before)} before, {_size(after)} now",
    )  # fmt: skip
    return Exit.OK


def _trim(options: argparse.Namespace) -> int:
    from collector.store.archive import Archive
    from collector.store.database import Database

    path = _path(options)
    before = time.time() - options.days * DAY_SECONDS
    if options.dry_run:
        with Archive(path) as archive:
            old, gone = archive.ended_before(before), 0
    else:
        database = Database(path)
        try:
            with Archive(path) as archive:
                old = archive.ended_before(before)
            gone = database.forget(old)
        finally:
            database.close()
    names = [cook.name for cook in old]
    word = "would go" if options.dry_run else "deleted"
    _say(
        options, {"cooks": names, "readings": gone, "deleted": not options.dry_run},
        *(f"{word}: {name}" for name in names),
        "no cook is that old" if not names else
        f"{len(names)} cooks {word}" if options.dry_run else
        f"{gone} readings deleted; `coldside store compact` gives their room back to the disk",
    )  # fmt: skip
    return Exit.OK


def _pits(options: argparse.Namespace) -> int:
    from collector.errors import StoreError
    from collector.kitchen.address import is_address
    from collector.kitchen.archive import pits

    if not is_address(options.store or ""):
        raise StoreError("name the server: --store postgresql://USER@HOST/DATABASE")
    found = pits(options.store)
    _say(
        options, {"pits": [{"number": p.number, "name": p.name, "since": p.since, "cooks": p.cooks} for p in found]},
        *(f"{p.number:4}  {p.name:24} since {p.since.astimezone():%Y-%m-%d}  {p.cooks} cooks" for p in found),
        *(() if found else ("no pit yet",)),
    )  # fmt: skip
    return Exit.OK


def _renew(options: argparse.Namespace) -> int:
    from collector.store.database import Database

    database = Database(_path(options))
    try:
        identity = database.renew()
    finally:
        database.close()
    _say(
        options, {"store": str(database.path), "identity": identity},
        f"{database.path}: a store of its own from here on; the next collector brings all of it to the server",
    )  # fmt: skip
    return Exit.OK


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{count / 1e3:.0f} kB"
