"""`coldside decode`: a recorded scan through the same decoders again, offline."""

import argparse
import json
import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tui.commands.options import add_config, add_json, known_settings, load_settings
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from adapters.ble.replay import Replay, Replayed
    from collector.settings.load import Settings
    from tui.draw.view import View

__all__ = ["add_options", "run"]

MOST_SAID = 20
"""Malformed lines that are told of one by one."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `decode`."""
    parser.add_argument("file", metavar="FILE", help="what `coldside scan --record FILE` wrote")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--layout", metavar="NAME", help="by this layout of the config")
    how.add_argument("--bthome", action="store_true", help="as BTHome alone")
    how.add_argument("--standard", action="store_true", help="by the standards (default)")
    parser.add_argument("--bind-key-file", metavar="F", help="file with the key of encrypted BTHome, 32 digits")
    parser.add_argument("--unit", choices=("C", "F"), help="temperature unit")
    parser.add_argument("--ascii", action="store_true", help="plain ASCII characters only")
    add_config(parser)
    add_json(parser)


def run(options: argparse.Namespace) -> int:
    """Replay the file."""
    from adapters.ble.replay import read_lines
    from adapters.errors import DecodeError

    replay, view = _prepare(options)
    counts: Counter[str] = Counter()
    packets: list[dict[str, Any]] = []
    malformed: list[str] = []
    with Path(options.file).open("rb") as file:
        for line in read_lines(file):
            if isinstance(line, DecodeError):
                counts["malformed"] += 1
                malformed.append(str(line)) if len(malformed) < MOST_SAID else None
                if not options.json and counts["malformed"] <= MOST_SAID:
                    print(f"coldside: {_clean(str(line), view)}", file=sys.stderr)
                continue
            found = replay.read(line)
            if found is None:
                counts["bare" if line.source == "none" else "other"] += 1
                continue
            counts["read" if found.packet is not None else "unreadable"] += 1
            if options.json:
                packets.append(_document(found))
            else:
                print(_words(found, view))
    return _end(options, counts, packets, malformed)


def _prepare(options: argparse.Namespace) -> "tuple[Replay, View]":
    """Make the decoder that the options ask for."""
    from adapters.ble.replay import Replay
    from adapters.decode.described import Described
    from adapters.errors import SourceConfigError
    from tui.commands.scan import view_of

    described = None
    settings: Settings | None
    if options.layout:
        settings = load_settings(options)
        layouts = settings.config.layout
        if options.layout not in layouts:
            there = ", ".join(layouts) or "none"
            raise SourceConfigError(f"{settings.path} has no [layout.{options.layout}]; there is {there}")
        described = Described(options.layout, layouts[options.layout])
    else:
        settings = known_settings(options)
    key = None
    if options.bind_key_file:
        try:
            key = bytes.fromhex(Path(options.bind_key_file).read_text(encoding="utf-8").strip())
        except ValueError:
            key = b""
        if len(key) != 16:
            raise SourceConfigError(f"{options.bind_key_file} holds no bind key; a key is 32 hexadecimal digits")
    return Replay(described, bthome_only=options.bthome, bind_key=key), view_of(options, settings)


def _clean(text: str, view: "View", cells: int = 200) -> str:
    from tui.draw.clean import clean

    return clean(text, cells, ascii_only=view.ascii_only)


def _words(found: "Replayed", view: "View") -> str:
    """Say one packet in a line."""
    from adapters.reading import Quality
    from tui.draw.meat import REASON_WORDS
    from tui.draw.scan import exact_temperature
    from tui.draw.words import clock_seconds

    head = f"{clock_seconds(found.line.unix, view)}  {_clean(found.line.address, view, 36)}  "
    if found.packet is None:
        return f"{head}cannot be read: {_clean(found.why, view)}"
    parts = []
    for value in found.packet.values:
        doubt = "" if value.quality is Quality.GOOD else f" ({REASON_WORDS[value.reason]})"
        parts.append(f"{_clean(value.key, view, 40)} = {exact_temperature(value.celsius, view)}{doubt}")
    if found.packet.battery_percent is not None:
        parts.append(f"battery = {found.packet.battery_percent:.0f} %")
    parts += [_clean(why, view) for why in found.packet.rejected]
    return head + (", ".join(parts) or "no temperature")


def _document(found: "Replayed") -> dict[str, Any]:
    from tui.draw.scan_document import packet_document

    line = found.line
    return {
        "t": line.unix, "address": line.address, "source": line.source, "uuid": line.uuid or None,
        "company": line.company, "hex": line.payload.hex(),
        "packet": packet_document(found.packet) if found.packet is not None else None, "why": found.why or None,
    }  # fmt: skip


def _end(options: argparse.Namespace, counts: Counter[str], packets: list[dict[str, Any]], malformed: list[str]) -> int:
    """Print the summary, and the whole as one document where that is asked for."""
    code = Exit.OK if counts["read"] else Exit.FAILED
    names = ("read", "unreadable", "other", "bare", "malformed")
    if options.json:
        summary = {name: counts[name] for name in names}
        document = {"schema": 1, "packets": packets, "malformed": malformed, "summary": summary, "exit": int(code)}
        print(json.dumps(document))
        return code
    how = f"layout {options.layout}" if options.layout else "BTHome" if options.bthome else "the standards"
    said = [f"{counts['read']} read by {how}"]
    said += [f"{counts['unreadable']} not readable"] if counts["unreadable"] else []
    said += [f"{counts['other']} of another kind"] if counts["other"] else []
    said += [f"{counts['malformed']} malformed"] if counts["malformed"] else []
    print(", ".join(said))
    if not counts["read"] and counts["other"] and not options.layout:
        print("  a layout may read them: `coldside scan --two-point --toml` finds one", file=sys.stderr)
    return code
