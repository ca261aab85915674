"""A connected device as tables of a config and as a document for other programs."""

from typing import Any

from adapters.ble.recognise import Recognised
from adapters.ble.survey import Device
from adapters.ble.tree import Characteristic, Tree
from adapters.decode.candidates import Candidate
from tui.draw.blocks import Block, Names, match_of
from tui.draw.scan import Heard, reading_words
from tui.draw.scan_blocks import alike, layout_block
from tui.draw.scan_document import candidate_document, packet_document
from tui.draw.tree import findings_of

__all__ = ["tree_block", "tree_document", "twice"]


def tree_block(device: Device, tree: Tree, names: Names) -> Block | None:
    """Make the block of a device: by the standards, else by a layout of its best candidate; None without either."""
    standard = list(dict.fromkeys(c.key for _, c in tree.characteristics() if c.key))
    if standard:
        keys, notes = match_of(device)
        source = names.unique(device.name or "box")
        channels = tuple((names.unique(f"{source} {key}"), key) for key in standard)
        return Block(source, (("kind", "ble"), *keys, ("read", "connection")), channels, notes=notes)
    best = _best(tree)
    if best is None:
        return None
    characteristic, candidate = best
    assert characteristic.group is not None
    one = Recognised(characteristic.group, findings=findings_of(characteristic))
    note = f"a guess, not proven: {reading_words(candidate)}; add --two-point to prove it"
    named_twice = twice(tree, characteristic)
    others = alike(candidate, [c for c in one.findings.candidates if c.moves]) if candidate.moves else []
    return layout_block(Heard(device, ()), one, candidate, others, names, (note,), service=named_twice)


def twice(tree: Tree, characteristic: Characteristic) -> bool:
    """Tell whether the UUID of a characteristic occurs again on the device, so that its service must be named."""
    return sum(c.uuid == characteristic.uuid for _, c in tree.characteristics()) > 1


def _best(tree: Tree) -> tuple[Characteristic, Candidate] | None:
    found = [(c, candidate) for _, c in tree.characteristics() for candidate in findings_of(c).candidates[:1]]
    return min(found, key=lambda pair: pair[1].doubt) if found else None


def tree_document(device: Device, tree: Tree) -> dict[str, Any]:
    """Put a device and its tree into one document."""
    return {
        "schema": 1,
        "address": device.address,
        "random": device.random_address,
        "name": device.name,
        "lost": tree.lost or None,
        "services": [
            {"uuid": service.uuid, "characteristics": [_document(c) for c in service.characteristics]}
            for service in tree.services
        ],
    }


def _document(one: Characteristic) -> dict[str, Any]:
    group = one.group
    heard = None if group is None else {
        "source": group.place.source, "count": group.heard, "different": group.different, "hex": group.last.hex(),
        "changed": list(group.changed),
    }  # fmt: skip
    return {
        "uuid": one.uuid, "properties": list(one.properties), "key": one.key or None,
        "description": one.description or None, "hex": None if one.value is None else one.value.hex(),
        "packet": None if one.packet is None else packet_document(one.packet), "trouble": one.trouble or None,
        "heard": heard, "candidates": [candidate_document(c) for c in findings_of(one).candidates[:20]],
    }  # fmt: skip
