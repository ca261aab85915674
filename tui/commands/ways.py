"""Which collectors the options mean: one for a command that acts, all of a kitchen for one that shows."""

import argparse
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

from tui.errors import WayError

if TYPE_CHECKING:
    from tui.pit_entry import PitEntry
    from tui.way import Way

__all__ = ["way_of", "ways_of"]


def way_of(options: argparse.Namespace) -> "Way":
    """Give the way to the one collector that the options mean; a token that is needed may be asked for.

    Raises:
        WayError: they mean several, do not go together, or the token cannot be had.
        SettingsError: the file of pits holds mistakes.
    """
    entries = _entries(options)
    if len(entries) > 1:
        named = ", ".join(entry.name for entry in entries)
        mend = "give --at once" if options.at else "add --pit NAME, or --socket PATH for the collector of this machine"
        raise WayError(f"which pit ({named})? {mend}")
    return entries[0].way(options.token_file)


def ways_of(options: argparse.Namespace) -> dict[str, "Way"]:
    """Give the ways to all collectors that the options mean, by the pit's name; the one of this machine has none.

    Raises:
        WayError: they do not go together, or a token cannot be had.
        SettingsError: the file of pits holds mistakes.
    """
    return {entry.name: entry.way(options.token_file) for entry in _entries(options)}


def _entries(options: argparse.Namespace) -> "tuple[PitEntry, ...]":
    from collector.paths import pits_file, runtime_socket
    from tui.pit_entry import PitEntry

    _refuse_strange(options)
    if options.at:
        return _at(options)
    file = pits_file(options.pits)
    if options.socket or not (options.pits or options.pit or file.exists()):
        return (PitEntry("", socket=runtime_socket(options.socket)),)
    from tui.pits_file import load_pits

    entries = load_pits(file, options.pit)
    return tuple(entry for entry in entries if options.pit in (None, entry.name))


def _refuse_strange(options: argparse.Namespace) -> None:
    """Refuse options of which one makes another meaningless."""
    of_pits = options.pit or options.pits
    if options.socket and options.at:
        raise WayError("--socket is on this machine, --at on another: give one of them")
    if of_pits and (options.socket or (options.pit and options.at)):
        raise WayError("--pit and --pits name a collector by the file of pits; leave out --socket and --at")
    if not options.at and (options.ca or options.fingerprint or (options.token_file and not of_pits)):
        raise WayError("--token-file, --ca and --fingerprint go with --at HOST")
    if options.at and len(options.at) > 1 and options.fingerprint:
        raise WayError("--fingerprint is of one certificate: with several --at, name each in the file of pits")
    if (options.ca or options.fingerprint) and not all(tls for _, _, tls in options.at or ()):
        raise WayError("--ca and --fingerprint are for TLS, http:// is without it")


def _at(options: argparse.Namespace) -> "tuple[PitEntry, ...]":
    """Name the collectors on other machines; what the file of pits knows of one is taken from there."""
    from collector.paths import pits_file
    from tui.pit_entry import PitEntry
    from tui.pits_file import load_pits

    file = pits_file(options.pits)
    told = options.token_file or options.ca or options.fingerprint
    known = load_pits(file) if options.pits or (not told and file.exists()) else ()
    entries: list[PitEntry] = []
    for place in options.at:
        entry = next((e for e in known if e.place == place), None)
        if entry is None or told:
            host, port, _ = place
            name = entry.name if entry is not None else f"{host}:{port}" if _twice(options.at, host) else host
            ca = Path(options.ca) if options.ca else None
            token_file = Path(options.token_file) if options.token_file else None
            entry = PitEntry(name, place, token_file=token_file, ca=ca, fingerprint=options.fingerprint)
        entries.append(entry)
    counted = Counter(entry.name for entry in entries)
    if twice := [name for name, count in counted.items() if count > 1]:
        raise WayError(f"{twice[0]} is meant by several --at: give each pit once")
    return tuple(entries)


def _twice(places: list[tuple[str, int, bool]], host: str) -> bool:
    return sum(one == host for one, _, _ in places) > 1
