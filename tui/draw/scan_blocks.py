"""Which devices of a scan become tables of a config, and how each is read there."""

from collections.abc import Sequence

from adapters.ble.recognise import Recognised
from adapters.decode.candidates import Candidate
from adapters.decode.number_types import SIZES
from tui.draw.blocks import Block, Names, layout_of, layout_word, match_of
from tui.draw.scan import Heard, reading_words

__all__ = ["alike", "layout_block", "scan_blocks"]


def scan_blocks(heard: Sequence[Heard], names: Names, *, guess: bool) -> tuple[list[Block], list[str]]:
    """Make the blocks of all devices that can be read.

    Args:
        heard: the devices.
        names: gives names to sources and probes.
        guess: whether a device that follows no standard gets a layout of its best candidate.

    Returns:
        The blocks, and a remark on each device that got none.
    """
    blocks: list[Block] = []
    remarks: list[str] = []
    for one in heard:
        if one.source:
            remarks.append(f"{one.device.address} is in your config already: source {one.source}")
            continue
        standard = next((r for r in one.recognised if r.packet is not None and r.packet.values), None)
        locked = next((r for r in one.recognised if r.encrypted and r.packet is None), None)
        if (readable := standard or locked) is not None:
            blocks.append(_standard_block(one, readable, names))
            continue
        best = _best(one)
        if best is None:
            continue
        place, candidate = best
        others = alike(candidate, [c for c in place.findings.candidates if c.moves]) if candidate.moves else []
        if not guess:
            remarks.append(
                f"{one.device.address} follows no standard; `coldside scan --two-point --toml --address "
                f"{one.device.address}` finds out how to read it"
            )
            continue
        note = f"a guess, not proven: {reading_words(candidate)}; `coldside scan --two-point` proves it"
        blocks.append(layout_block(one, place, candidate, others, names, (note,)))
    return blocks, remarks


def _best(heard: Heard) -> tuple[Recognised, Candidate] | None:
    found = [(r, c) for r in heard.recognised if r.packet is None for c in r.findings.candidates[:1]]
    return min(found, key=lambda pair: pair[1].doubt) if found else None


def _standard_block(heard: Heard, one: Recognised, names: Names) -> Block:
    keys, notes = match_of(heard.device, one.group.place)
    source = names.unique(heard.device.name or "box")
    channels = [value.key for value in one.packet.values] if one.packet is not None else ["temperature"]
    hints = ('bind_key_file = "box.key" # it encrypts: the file holds 32 hexadecimal digits',) if one.encrypted else ()
    return Block(
        source,
        (("kind", "ble"), *keys, ("read", "adverts")),
        tuple((names.unique(f"{source} {key}"), key) for key in channels),
        notes=notes,
        hints=hints,
    )


def layout_block(
    heard: Heard,
    one: Recognised,
    chosen: Candidate,
    others: Sequence[Candidate],
    names: Names,
    notes: tuple[str, ...] = (),
    *,
    service: bool = False,
) -> Block:
    """Make the block of a device that is read by a layout; `service`: name that of the characteristic too."""
    place = one.group.place
    keys, remarks = match_of(heard.device, place)
    source = names.unique(heard.device.name or "box")
    layout = layout_of(place, one.findings, chosen, others, service=service)
    word = layout_word(source)
    keyed = [name for value in layout.value for name in value.names]
    return Block(
        source,
        (("kind", "ble"), *keys, ("layout", word)),
        tuple((names.unique(f"{source} {key}"), key) for key in keyed),
        word,
        layout,
        (*notes, *remarks),
    )


def alike(chosen: Candidate, candidates: Sequence[Candidate]) -> list[Candidate]:
    """Pick those that are read just as the chosen one, at other places that do not overlap."""
    taken = set(range(chosen.at, chosen.at + SIZES[chosen.type]))
    found = []
    for candidate in candidates:
        how = (candidate.type, candidate.endian, candidate.scale, candidate.unit)
        bytes_of = range(candidate.at, candidate.at + SIZES[candidate.type])
        if how == (chosen.type, chosen.endian, chosen.scale, chosen.unit) and taken.isdisjoint(bytes_of):
            taken.update(bytes_of)
            found.append(candidate)
    return found
