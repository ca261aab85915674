"""The file of the pits that one kitchen looks after: how each collector is reached."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from collector.settings.check import Mistake, Where, mistakes
from collector.settings.document import read_text, refusal, tables
from collector.settings.shape import File, Host, Name
from tui.draw.clean import clean
from tui.errors import WayError
from tui.pit_entry import PitEntry
from tui.remote_way import authorities, parse_at, parse_fingerprint
from tui.token_file import token_in

__all__ = ["PitTable", "PitsFile", "load_pits"]

MOST_PITS = 64


class PitTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One pit; its collector is on this machine (`socket`) or on another (`at`)."""

    name: Name
    at: Host | None = None
    socket: File | None = None
    token_file: File | None = None
    """With `at`. None: as without a file of pits, `$COLDSIDE_TOKEN_FILE` or asked for."""
    ca: File | None = None
    fingerprint: Annotated[str, Meta(min_length=1, max_length=200)] | None = None


class PitsFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The whole file."""

    pit: Annotated[tuple[PitTable, ...], Meta(min_length=1, max_length=MOST_PITS)]


def load_pits(path: Path, only: str | None = None) -> tuple[PitEntry, ...]:
    """Read a file of pits.

    Args:
        path: of the file; relative files in it are taken from beside it.
        only: the name of the one pit that is wanted: tokens and certificates of the others are not looked at.

    Raises:
        SettingsError: it cannot be read, or holds mistakes; all of them are in it.
    """
    text = read_text(path, 'is not there; write one: a [[pit]] with name = "north" and at = "pit.local" for each')
    document = tables(text, path)
    found = mistakes(document, PitsFile)
    found += _meant(document, [where for where, _ in found], path.parent, only)
    if found:
        raise refusal(path, text, found)
    entries = tuple(_entry(table, path.parent) for table in msgspec.convert(document, PitsFile).pit)
    if only is not None and all(entry.name != only for entry in entries):
        there = ", ".join(entry.name for entry in entries)
        raise WayError(f"{path}: there is no pit {only!r}; there is {there}")
    return entries


def _entry(table: PitTable, folder: Path) -> PitEntry:
    return PitEntry(
        table.name,
        parse_at(table.at) if table.at is not None else None,
        _beside(folder, table.socket),
        _beside(folder, table.token_file),
        _beside(folder, table.ca),
        parse_fingerprint(table.fingerprint) if table.fingerprint is not None else None,
    )


def _beside(folder: Path, file: str | None) -> Path | None:
    return None if file is None else folder / Path(file).expanduser()


def _meant(document: Mapping[str, Any], broken: Sequence[Where], folder: Path, only: str | None) -> Iterator[Mistake]:
    """Find what the shape allows and yet does not hold together, in every table that is one."""
    listed = document.get("pit")
    pits = [(i, pit) for i, pit in enumerate(listed) if isinstance(pit, dict)] if isinstance(listed, list) else []
    for i, pit in pits[:MOST_PITS]:
        told = {key for key in pit if ("pit", i, key) not in broken}
        sound = {key: value for key, value in pit.items() if key in told and isinstance(value, str)}
        for key, what in (*_place_mistakes(set(pit), sound), *_way_mistakes(set(pit), sound)):
            yield (("pit", i, key) if key else ("pit", i)), what
        if only is None or sound.get("name") == only:
            for key, what in _file_mistakes(sound, folder):
                yield ("pit", i, key), what
    names = [(i, pit["name"]) for i, pit in pits if isinstance(pit.get("name"), str)]
    first = {name: i for i, name in reversed(names)}
    for i, name in names:
        if first[name] != i:
            yield ("pit", i, "name"), f"the pit at number {first[name] + 1} is named so too"
        elif name and clean(name, 60) != name:
            yield ("pit", i, "name"), "holds what no screen shows as it is: spaces at an end, controls, too many marks"


def _place_mistakes(given: set[str], sound: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Say what is wrong with where a pit is."""
    if "at" in given and "socket" in given:
        yield "socket", "is on this machine, `at` on another: take one of them out"
    elif not given & {"at", "socket"}:
        yield "", 'says no place; add at = "pit.local", or socket = "/run/coldside/collector.sock"'
    try:
        if "at" in sound:
            parse_at(sound["at"])
    except ValueError as error:
        yield "at", str(error)


def _way_mistakes(given: set[str], sound: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Say what is wrong with how a pit is verified."""
    verified = [key for key in ("token_file", "ca", "fingerprint") if key in given]
    if "socket" in given and "at" not in given:
        for key in verified:
            yield key, "goes with `at`: nothing of the kind is needed on this machine"
    if "ca" in given and "fingerprint" in given:
        yield "fingerprint", "and ca both say how it is verified: take one of them out"
    if sound.get("at", "").startswith("http://"):
        for key in verified:
            if key != "token_file":
                yield key, "is for TLS, and http:// is without it"
    try:
        if "fingerprint" in sound:
            parse_fingerprint(sound["fingerprint"])
    except ValueError as error:
        yield "fingerprint", str(error)


def _file_mistakes(sound: Mapping[str, str], folder: Path) -> Iterator[tuple[str, str]]:
    """Say which files of a pit cannot be used; the token is only looked at here."""
    for key, looked_at in (("token_file", token_in), ("ca", authorities)):
        file = _beside(folder, sound.get(key))
        try:
            if file is not None:
                looked_at(file)
        except WayError as error:
            yield key, str(error)
