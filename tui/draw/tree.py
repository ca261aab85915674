"""A connected device in lines: its services, what each characteristic holds and says, and what it may mean."""

from collections.abc import Sequence

from adapters.ble.tree import Characteristic, Tree
from adapters.decode.candidates import Findings, find
from tui.draw.clean import clean
from tui.draw.line import Line
from tui.draw.scan import candidate_lines, counter_words, packet_lines, payload_lines, short_uuid
from tui.draw.view import View

__all__ = ["findings_of", "tree_lines"]

_SERVICES = {
    "1800": "Generic Access", "1801": "Generic Attribute", "1809": "Health Thermometer", "180a": "Device Information",
    "180f": "Battery", "181a": "Environmental Sensing",
}  # fmt: skip
_CHARACTERISTICS = {
    "2a00": "Device Name", "2a19": "Battery Level", "2a1c": "Temperature Measurement",
    "2a1e": "Intermediate Temperature", "2a24": "Model Number", "2a25": "Serial Number", "2a26": "Firmware Revision",
    "2a27": "Hardware Revision", "2a28": "Software Revision", "2a29": "Manufacturer Name", "2a6e": "Temperature",
    "2bdf": "High Temperature",
}  # fmt: skip
"""Assigned Numbers, those that matter here."""


def tree_lines(tree: Tree, view: View, *, most_candidates: int = 3) -> list[Line]:
    """Draw all services."""
    lines: list[Line] = []
    for service in tree.services:
        lines.append(((f"service {_named(service.uuid, _SERVICES)}", "strong"),))
        for characteristic in service.characteristics:
            lines += _characteristic_lines(characteristic, view, most_candidates)
        lines.append(())
    if tree.left_out:
        lines.append(((f"and {tree.left_out} more characteristics, not looked at", "faint"),))
    if tree.lost:
        lines.append(((f"! {clean(tree.lost, 200, ascii_only=view.ascii_only)}", "warn"),))
    return lines


def findings_of(characteristic: Characteristic) -> Findings:
    """Look for candidates in what a characteristic sent, where nothing says what it is."""
    if characteristic.packet is not None or characteristic.text or characteristic.group is None:
        return Findings(0)
    return find(characteristic.group.history)


def _named(uuid: str, names: dict[str, str]) -> str:
    short = short_uuid(uuid)
    return f"{short} {names[short]}" if short in names else short


def _characteristic_lines(one: Characteristic, view: View, most: int) -> list[Line]:
    says = f'  "{clean(one.description, 40, ascii_only=view.ascii_only)}"' if one.description else ""
    allows = ", ".join(clean(word, 30, ascii_only=True) for word in one.properties[:8])
    lines: list[Line] = [((f"  {_named(one.uuid, _CHARACTERISTICS)}{says}  ", "plain"), (f"({allows})", "faint"))]
    if one.text:
        lines.append(((f"    {clean(one.text, 60, ascii_only=view.ascii_only)}", "plain"),))
    elif one.group is not None:
        group = one.group
        lines.append(((f"    {_told(one)}: {group.heard}, {group.different} different", "plain"),))
        lines += payload_lines(group.last, group.changed)
    elif one.value is not None:
        lines += payload_lines(one.value) if one.value else [(("    empty", "faint"),)]
    if one.packet is not None:
        if one.packet.values:
            how = "its presentation format" if one.format is not None and one.format.unit is not None else "a standard"
            lines.append(((f"    by {how}: no layout needed", "good"),))
        lines += packet_lines(one.packet, view)
    findings = findings_of(one)
    lines += [((counter_words(c), "faint"),) for c in findings.counters]
    lines += candidate_lines(findings, view, most)
    if one.trouble:
        lines.append(((f"    ! {clean(one.trouble, 120, ascii_only=view.ascii_only)}", "warn"),))
    elif one.group is None and _can_notify(one.properties) and one.packet is None:
        lines.append((("    nothing was sent while we listened", "faint"),))
    return lines


def _told(one: Characteristic) -> str:
    return "sent" if one.group is not None and one.group.place.source == "notify" else "read"


def _can_notify(properties: Sequence[str]) -> bool:
    return bool({"notify", "indicate"} & set(properties))
