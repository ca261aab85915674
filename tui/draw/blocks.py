"""What a scan found as tables of a config, ready to be pasted: source, probes and, where it takes one, a layout."""

import itertools
import re
from collections.abc import Sequence
from typing import Any

import msgspec

from adapters.ble.survey import Device, Place
from adapters.decode.candidates import Candidate, Findings
from adapters.decode.layout import Count, Layout, LayoutValue
from adapters.text import is_clean
from tui.draw.clean import clean
from tui.draw.scan import random_words, short_uuid

__all__ = ["Block", "Names", "block_text", "glob_of", "layout_of", "match_of", "toml_key", "toml_value"]

_BARE = re.compile(r"[A-Za-z0-9_-]+\Z")
_WORD = re.compile(r"[^a-z0-9]+")


class Block(msgspec.Struct, frozen=True):
    """One source with its probes."""

    name: str
    """Of the source."""
    settings: tuple[tuple[str, Any], ...]
    """Keys of the source beside its name, in order."""
    channels: tuple[tuple[str, str], ...]
    """Probe name and key of each channel."""
    layout_name: str = ""
    layout: Layout | None = None
    notes: tuple[str, ...] = ()
    """Remarks, put before it as comments."""
    subscriptions: tuple[tuple[tuple[str, Any], ...], ...] = ()
    """Of a broker."""
    hints: tuple[str, ...] = ()
    """Keys of the source that are likely needed, put behind it as comments."""


class Names:
    """Gives names that nothing else carries."""

    def __init__(self, taken: Sequence[str] = ()) -> None:
        self._taken = set(taken)

    def unique(self, base: str) -> str:
        """Make a name of a base, with a number where it is taken."""
        base = clean(base, 40) or "box"
        name, number = base, 2
        while name in self._taken:
            name, number = f"{base} {number}", number + 1
        self._taken.add(name)
        return name


def layout_word(name: str) -> str:
    """Make a word for a layout out of a name."""
    return _WORD.sub("_", name.lower()).strip("_")[:40] or "box"


def block_text(block: Block) -> str:
    """Write a block as TOML."""
    lines = [f"# {clean(note, 200)}" for note in block.notes]
    lines += ["[[source]]", f"name = {toml_value(block.name)}"]
    lines += [f"{key} = {toml_value(value)}" for key, value in block.settings]
    lines += [f"# {hint}" for hint in block.hints]
    for subscription in block.subscriptions:
        lines += ["", "[[source.subscribe]]", *(f"{key} = {toml_value(value)}" for key, value in subscription)]
    for name, key in block.channels:
        lines += [
            "", "[[probe]]", f"name = {toml_value(name)}", f"source = {toml_value(block.name)}",
            f"key = {toml_value(key)}",
            'duty = "ambient"         # or "meat"; for a chamber probe take this line out and give its place:',
            "# x =                    # from the fire end",
            "# y =                    # from the back to the door",
        ]  # fmt: skip
    if block.layout is not None:
        lines += ["", *_layout_lines(block.layout_name, block.layout)]
    return "\n".join(lines) + "\n"


def _layout_lines(name: str, layout: Layout) -> list[str]:
    lines = [f"[layout.{toml_key(name)}]"]
    lines += [f"{key} = {toml_value(v, key)}" for key, v in _given(layout).items() if key != "value"]
    for value in layout.value:
        lines += ["", f"[[layout.{toml_key(name)}.value]]"]
        lines += [f"{key} = {toml_value(v, key)}" for key, v in _given(value).items()]
    return lines


def _given(table: msgspec.Struct) -> dict[str, Any]:
    """Give the keys of a table that are not as they would be anyway."""
    found = {}
    for field in msgspec.structs.fields(type(table)):
        value = getattr(table, field.name)
        if field.required or value != field.default:
            found[field.encode_name] = value
    return found


def toml_key(text: str) -> str:
    """Write a key."""
    return text if _BARE.match(text) else toml_value(text)


def toml_value(value: Any, key: str = "") -> str:
    """Write a value."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, msgspec.Struct):
        return "{ " + ", ".join(f"{k} = {toml_value(v)}" for k, v in _given(value).items()) + " }"
    if isinstance(value, str):
        return '"' + "".join(_escaped(c) for c in value) + '"'
    if isinstance(value, int):
        return f"0x{value:04x}" if key == "company" else str(value)
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return "[" + ", ".join(toml_value(v) for v in value) + "]"


def _escaped(character: str) -> str:
    if character in '"\\':
        return "\\" + character
    if character.isprintable():
        return character
    return f"\\u{ord(character):04x}" if ord(character) < 0x10000 else f"\\U{ord(character):08x}"


def glob_of(name: str) -> str:
    """Write a device's name so that it matches itself, with `?` for what may not go to a screen."""
    shown = "".join(c if is_clean(c) and (c == " " or not c.isspace()) else "?" for c in name[:120])
    return "".join(f"[{c}]" if c in "*[" else c for c in shown)


def match_of(device: Device, place: Place | None = None) -> tuple[tuple[tuple[str, Any], ...], tuple[str, ...]]:
    """Choose how a device is told from others, and what to say about it.

    Returns:
        Keys of the source, and remarks.
    """
    if not device.random_address:
        return (("address", device.address),), ()
    keys: list[tuple[str, Any]] = []
    if device.name:
        keys.append(("device", glob_of(device.name)))
    if place is not None and place.company is not None:
        keys.append(("company", place.company))
    elif place is not None and place.source == "service_data":
        keys.append(("service", short_uuid(place.uuid)))
    elif device.services and not device.name:
        keys.append(("service", short_uuid(device.services[0])))
    if not keys:
        return (("address", device.address),), (random_words(device.address).replace(": match", "; try to match"),)
    return tuple(keys), (f"heard from {device.address}, a {random_words(device.address).partition(':')[0]}",)


def layout_of(
    place: Place, findings: Findings, chosen: Candidate, others: Sequence[Candidate] = (), *, service: bool = False
) -> Layout:
    """Make the layout of a place from the way chosen to read it.

    Args:
        place: where the payload stands.
        findings: of that place.
        chosen: the way to read the first channel.
        others: the same way at other positions.
        service: whether the characteristic's service must be named.
    """
    same = [chosen, *others]
    names = ("temperature",) if len(same) == 1 else tuple(f"probe {n}" for n in range(1, len(same) + 1))
    values = tuple(c.layout_value((name,)) for c, name in zip(sorted(same, key=lambda c: c.at), names, strict=True))
    return Layout(
        source=place.source,  # type: ignore[arg-type]
        uuid=short_uuid(place.uuid) if place.uuid else "",
        company=place.company,
        service=short_uuid(place.service) if service else "",
        length=(findings.length, findings.length),
        counter=_count(findings),
        value=_row(values),
    )


def _count(findings: Findings) -> Count | None:
    if not findings.counters:
        return None
    counter = findings.counters[0]
    kind = {1: "uint8", 2: "uint16", 4: "uint32"}[counter.size]
    return Count(at=counter.at, type=kind, endian=counter.endian)  # type: ignore[arg-type]


def _row(values: tuple[LayoutValue, ...]) -> tuple[LayoutValue, ...]:
    """Write channels at equal distances as one row."""
    steps = {b.at - a.at for a, b in itertools.pairwise(values)}
    if len(values) < 2 or len(steps) != 1:
        return values
    names = tuple(value.names[0] for value in values)
    return (msgspec.structs.replace(values[0], names=names, repeat=len(values), stride=steps.pop()),)
