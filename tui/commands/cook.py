"""`coldside cook`: what is added to a cook afterwards, and what is changed of it; all that is known of it."""

import argparse
import datetime as dt
import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from tui.commands.options import add_config, add_json, add_store, named_store, text
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.store.editor import Editor
    from collector.store.record import Cook

__all__ = ["add_options", "run"]

MOST_FILE_BYTES = 64_000_000
"""Nothing larger is read to see what it is."""
FAR_APART_SECONDS = 6 * 3600.0
"""A night does not wait so long for its next split: two cooks further apart are hardly one."""
LONG_SILENT_SECONDS = 600.0


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what can be done to a cook."""
    what = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    tag = what.add_parser("tag", help="give it tags: kind of wood, what was changed of the pit")
    untag = what.add_parser("untag", help="take tags away")
    for sub in (tag, untag):
        _add_cook(sub)
        sub.add_argument("tags", nargs="+", type=text, metavar="TAG")
    note = what.add_parser("note", help="write something about it")
    _add_cook(note)
    note.add_argument("text", type=text, metavar="TEXT")
    photo = what.add_parser("photo", help="keep a photo with it, a JPEG or PNG of at most 8 MB")
    _add_cook(photo)
    photo.add_argument("file", type=Path, metavar="FILE")
    photo.add_argument("--text", default="", metavar="TEXT", help="what is to be seen")
    rename = what.add_parser("rename", help="give it another name")
    _add_cook(rename)
    rename.add_argument("name", type=text, metavar="NAME")
    end = what.add_parser("end", help="end a cook that no collector goes on with")
    _add_cook(end)
    delete = what.add_parser("delete", help="delete it with all that was recorded in it")
    _add_cook(delete)
    delete.add_argument("--yes", action="store_true", help="do not ask")
    merge = what.add_parser("merge", help="make one cook of two neighbours; the earlier one's name stays")
    _add_cook(merge)
    merge.add_argument("other", type=text, metavar="COOK")
    split = what.add_parser("split", help="make a cook of its own of what it holds from a time on")
    _add_cook(split)
    split.add_argument("--at", required=True, metavar="TIME", help="03:15 in its night, or 2026-11-26T03:15")
    split.add_argument("--name", type=text, default=None, metavar="NAME", help="of the new cook (default: COOK-2)")
    show = what.add_parser("show", help="say all that is known of it, or give out one of its photos")
    _add_cook(show)
    show.add_argument("--photo", type=int, metavar="N", help="this photo, with -o")
    show.add_argument("-o", "--output", metavar="FILE", help="where the photo goes; nothing is written over")
    for sub in (tag, untag, note, photo, rename, end, delete, merge, split, show):
        add_config(sub)
        add_store(sub)
        add_json(sub)


def _add_cook(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("cook", type=text, metavar="COOK", help="name of the cook; 'last' for the newest")


def run(options: argparse.Namespace) -> int:
    """Do it, or show the cook."""
    if options.what == "show":
        from tui.commands.cook_show import show

        return show(options)
    from collector.errors import EditError
    from collector.kitchen.address import is_address
    from collector.paths import store_file
    from collector.store.editor import Editor

    named = named_store(options)
    if is_address(named):
        raise EditError("the server's copy follows the pit's own record: do this on the pit's machine, with its file")
    with Editor(store_file(named)) as editor:
        editor.sweep()
        cook = editor.record.cook(options.cook)
        jobs = {
            "tag": _tag, "untag": _untag, "note": _note, "photo": _photo, "rename": _rename, "end": _end,
            "delete": _delete, "merge": _merge, "split": _split,
        }  # fmt: skip
        return jobs[options.what](options, editor, cook)


def _say(options: argparse.Namespace, words: str, **more: object) -> int:
    if options.json:
        import msgspec

        print(msgspec.json.encode({"schema": 1, "done": options.what, **more}).decode())
    else:
        print(words)
    return Exit.OK


def _tag(options: argparse.Namespace, editor: "Editor", cook: "Cook") -> int:
    for tag in options.tags:
        editor.tag(cook, tag)
        cook = editor.record.cook(cook.name)
    return _say(options, f"{cook.name}: {', '.join(cook.tags)}", cook=cook.name, tags=cook.tags)


def _untag(options: argparse.Namespace, editor: "Editor", cook: "Cook") -> int:
    for tag in options.tags:
        editor.untag(cook, tag)
        cook = editor.record.cook(cook.name)
    return _say(options, f"{cook.name}: {', '.join(cook.tags) or 'no tags'}", cook=cook.name, tags=cook.tags)


def _note(options: argparse.Namespace, editor: "Editor", cook: "Cook") -> int:
    editor.note(cook, options.text)
    return _say(options, f"{cook.name}: noted", cook=cook.name)


def _photo(options: argparse.Namespace, editor: "Editor", cook: "Cook") -> int:
    with options.file.open("rb") as file:
        content = file.read(MOST_FILE_BYTES)
    size = editor.photo(cook, options.file.name, content, options.text)
    photo = editor.record.photos(cook)[-1]
    return _say(
        options, f"{cook.name}: photo {cook.photos + 1}, a {photo.kind.upper()} of {size:,} bytes",
        cook=cook.name, kind=photo.kind, bytes=size,
    )  # fmt: skip


def _rename(options: argparse.Namespace, editor: "Editor", cook: "Cook") -> int:
    name = editor.rename(cook, options.name)
    return _say(options, f"{cook.name} is called {name} now", cook=name, before=cook.name)


def _end(options: argparse.Namespace, editor: "Editor", cook: "Cook") -> int:
    ended = editor.end(cook)
    return _say(options, f"{cook.name} ended {_local(ended)}", cook=cook.name, ended_unix=ended)


def _delete(options: argparse.Namespace, editor: "Editor", cook: "Cook") -> int:
    """Say what goes, make sure that it is meant, and delete."""
    goes = {
        "readings": cook.readings, "alarms": cook.alarms, "marks": len(editor.record.marks(cook)),
        "notes": len(cook.notes), "photos": cook.photos,
    }  # fmt: skip
    told = ", ".join(f"{count:,} {what if count != 1 else what[:-1]}" for what, count in goes.items())
    if not options.yes and cook.ended_unix is not None:
        if options.json or not sys.stdin.isatty():
            print(f"coldside: {cook.name}: {told} would go for good; say --yes if that is meant", file=sys.stderr)
            return Exit.USAGE
        print(f"{cook.name}: {told} go for good. Type the cook's name to delete it:")
        if sys.stdin.readline().strip() != cook.name:
            print("nothing was deleted")
            return Exit.FAILED
    gone = editor.delete(cook)
    return _say(
        options, f"deleted {cook.name}: {told}; `coldside store compact` gives their room back to the disk",
        cook=cook.name, **{**goes, "readings": gone},
    )  # fmt: skip


def _merge(options: argparse.Namespace, editor: "Editor", cook: "Cook") -> int:
    other = editor.record.cook(options.other)
    merged = editor.merge(cook, other)
    gone = other.name if merged.name == cook.name else cook.name
    first, second = sorted((cook, other), key=lambda c: c.started_unix)
    apart = max(0.0, second.started_unix - (first.ended_unix or first.last_unix))
    words = f"{gone} is part of {merged.name} now: {merged.readings:,} readings"
    if apart > FAR_APART_SECONDS:
        begins = dt.datetime.fromtimestamp(second.started_unix, dt.UTC).isoformat(timespec="milliseconds")
        words += (
            f". {_span(apart)} lie between them: if they were no one cook, part them again by "
            f"`coldside cook split {shlex.quote(merged.name)} --at {begins} --name {shlex.quote(gone)}`"
        )
    return _say(
        options, words, cook=merged.name, merged=gone, readings=merged.readings, apart_seconds=round(apart)
    )  # fmt: skip


def _span(seconds: float) -> str:
    return f"{seconds / 86_400:.0f} days" if seconds >= 2 * 86_400 else f"{seconds / 3600:.0f} hours"


def _split(options: argparse.Namespace, editor: "Editor", cook: "Cook") -> int:
    from collector.errors import EditError
    from tui.commands.moment import moment_of

    try:
        at = moment_of(options.at, cook.started_unix, max(cook.last_unix, cook.ended_unix or 0.0))
    except ValueError as error:
        raise EditError(str(error)) from error
    later = editor.split(cook, at, options.name or "")
    ended = editor.record.cook(cook.name).ended_unix or at
    words = f"from {_local(at)} on {cook.name} is {later.name}: {later.readings:,} readings"
    if at - ended > LONG_SILENT_SECONDS:
        words += (
            f". Nothing was recorded just before that, so {cook.name} ends {_local(ended)}, where it was last heard"
        )
    return _say(
        options, words, cook=cook.name, later=later.name, at_unix=at, ended_unix=ended, readings=later.readings
    )  # fmt: skip


def _local(unix: float) -> str:
    return f"{dt.datetime.fromtimestamp(unix, dt.UTC).astimezone():%Y-%m-%d %H:%M}"
