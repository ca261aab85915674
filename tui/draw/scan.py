"""What a scan heard, in lines: each device, its payloads under a byte ruler, and what they may mean."""

from collections.abc import Sequence

import msgspec

from adapters.ble.recognise import Recognised
from adapters.ble.survey import Device, Place
from adapters.decode.candidates import Candidate, Findings
from adapters.decode.counters import CountingByte
from adapters.decode.number_types import SIZES
from adapters.decode.value import Packet, Value
from adapters.reading import Quality
from tui.draw.clean import clean
from tui.draw.line import Line
from tui.draw.meat import REASON_WORDS
from tui.draw.view import View
from tui.draw.words import degree, difference_number, temperature_number

__all__ = [
    "Heard",
    "candidate_lines",
    "candidate_words",
    "counter_words",
    "device_lines",
    "exact_temperature",
    "packet_lines",
    "payload_lines",
    "place_words",
    "scan_lines",
    "seconds_words",
    "short_uuid",
]

BYTES_A_ROW = 16
MOST_BYTES = 64
"""Of a payload on screen; `--json` has all."""
MOST_DEVICES = 40
NAME_CELLS = 26
_BASE = "-0000-1000-8000-00805f9b34fb"


class Heard(msgspec.Struct, frozen=True):
    """One device with what was made of its payloads."""

    device: Device
    recognised: tuple[Recognised, ...]
    source: str = ""
    """Name of the config's source that means this device."""

    @property
    def standard(self) -> bool:
        """Whether a temperature of it is read without a layout."""
        return any(r.packet is not None and r.packet.values for r in self.recognised)


def scan_lines(heard: Sequence[Heard], view: View, *, most_candidates: int = 3) -> list[Line]:
    """Draw all devices: those with payloads in full, the silent ones a line each."""
    speaking = [h for h in heard if h.device.groups]
    silent = [h for h in heard if not h.device.groups]
    lines: list[Line] = []
    for one in speaking[:MOST_DEVICES]:
        lines += [*device_lines(one, view, most_candidates), ()]
    if lines and not silent:
        lines.pop()
    if silent:
        lines.append(((f"{_count(len(silent), 'device')} without a payload (a connection may tell more)", "plain"),))
        for one in silent[: max(0, MOST_DEVICES - len(speaking))]:
            lines += [_head(one.device, view), *_remarks(one, view)]
    left = len(heard) - min(len(speaking), MOST_DEVICES) - min(len(silent), max(0, MOST_DEVICES - len(speaking)))
    if left:
        lines.append(((f"and {_count(left, 'weaker device')}; --json tells of all", "faint"),))
    return lines


def device_lines(heard: Heard, view: View, most_candidates: int = 3) -> list[Line]:
    """Draw one device."""
    device = heard.device
    lines = [_head(device, view), *_remarks(heard, view)]
    if device.heard > 1 and device.interval_median is not None and device.interval_longest is not None:
        often = f"  heard {device.heard} times, every {seconds_words(device.interval_median)}, "
        lines.append(((f"{often}at most {seconds_words(device.interval_longest)} apart", "faint"),))
    if device.services:
        shown = ", ".join(short_uuid(uuid) for uuid in device.services[:6])
        more = f" and {len(device.services) - 6} more" if len(device.services) > 6 else ""
        lines.append(((f"  services {shown}{more}", "faint"),))
    for one in heard.recognised:
        lines += _recognised_lines(one, view, most_candidates)
    return lines


def _head(device: Device, view: View) -> Line:
    name = clean(device.name, NAME_CELLS, ascii_only=view.ascii_only) or "no name"
    strength = "connected" if device.rssi_last is None else f"{device.rssi_last:4d} dBm"
    if device.rssi_min is not None and device.rssi_min != device.rssi_max:
        strength += f"  ({device.rssi_min} to {device.rssi_max})"
    address = clean(device.address, 36, ascii_only=True)
    return ((address, "strong"), (f"  {name:{NAME_CELLS}}  {strength}", "plain"))


def _remarks(heard: Heard, view: View) -> list[Line]:
    lines: list[Line] = []
    if heard.source:
        lines.append(((f"  in your config: source {clean(heard.source, 60, ascii_only=view.ascii_only)}", "good"),))
    if heard.device.random_address:
        lines.append(((f"  ! {random_words(heard.device.address)}", "warn"),))
    return lines


def random_words(address: str) -> str:
    """Say what kind of random address this is (Core Specification, vol 6, part B, 1.3.2)."""
    static = address[:1].upper() in "CDEF" and len(address) == 17
    when = "with a new battery" if static else "every few minutes"
    return f"random address, may change {when}: match it by name or service"


def _recognised_lines(one: Recognised, view: View, most: int) -> list[Line]:
    group = one.group
    sizes = " or ".join(str(n) for n in group.lengths[:4]) + (" or more" if len(group.lengths) > 4 else "")
    said = f"  {place_words(group.place)}: {sizes} bytes, {group.different} different of {group.heard}"
    lines: list[Line] = [((said, "plain"),), *payload_lines(group.last, group.changed)]
    if one.packet is not None:
        lock = ", encrypted" if one.encrypted else ""
        lines.append(((f"    {one.standard}{lock}: no layout needed", "good"),))
        lines += packet_lines(one.packet, view)
        return lines
    if one.trouble:
        lines.append(((f"    {one.standard}, but {clean(one.trouble, 200, ascii_only=view.ascii_only)}", "warn"),))
    lines += [((counter_words(c), "faint"),) for c in one.findings.counters]
    return lines + candidate_lines(one.findings, view, most)


def candidate_lines(findings: Findings, view: View, most: int) -> list[Line]:
    """Draw the best candidates of a place."""
    found = findings.candidates
    moving = [c for c in found if c.moves]
    # What stands still could be anything, so it is shown only where nothing moves, and less of it.
    shown = _apart(moving, most) or _apart(found, max(1, most - 2))
    lines: list[Line] = [((candidate_words(c, view), "plain"),) for c in shown]
    if len(moving) > len(shown):
        lines.append(((f"    and {len(moving) - len(shown)} more ways to read it; --two-point narrows them", "faint"),))
    return lines


def _apart(candidates: Sequence[Candidate], most: int) -> list[Candidate]:
    """Pick the best ones that do not overlap, in the order of their places."""
    shown: list[Candidate] = []
    taken: set[int] = set()
    for candidate in candidates:
        place = range(candidate.at, candidate.at + SIZES[candidate.type])
        if taken.isdisjoint(place) and len(shown) < most:
            taken.update(place)
            shown.append(candidate)
    return sorted(shown, key=lambda c: c.at)


def packet_lines(packet: Packet, view: View) -> list[Line]:
    """Draw the values of a packet."""
    lines: list[Line] = [((f"    {_value_words(value, view)}", "strong"),) for value in packet.values]
    if packet.battery_percent is not None:
        lines.append(((f"    battery {packet.battery_percent:.0f} %", "plain"),))
    lines += [((f"    {clean(why, 74, ascii_only=view.ascii_only)}", "warn"),) for why in packet.rejected]
    return lines


def _value_words(value: Value, view: View) -> str:
    key = clean(value.key, 40, ascii_only=view.ascii_only)
    doubt = "" if value.quality is Quality.GOOD else f"  ({REASON_WORDS[value.reason]})"
    return f"{key} {exact_temperature(value.celsius, view)}{doubt}"


def exact_temperature(celsius: float, view: View) -> str:
    """Write a temperature to a tenth of a degree, with its unit."""
    return f"{temperature_number(celsius, view):.1f} {degree(view)}" if celsius == celsius else "no value"


def counter_words(counter: CountingByte) -> str:
    """Name a counter."""
    where = f"byte {counter.at} counts" if counter.size == 1 else (
        f"bytes {counter.at} to {counter.at + counter.size - 1} count ({counter.endian})"
    )  # fmt: skip
    return f"    {where}, by {counter.step}: a counter, no temperature"


def candidate_words(candidate: Candidate, view: View) -> str:
    """Say one way to read a payload, and what it gives."""
    moved = difference_number(candidate.high - candidate.low, view)
    how = f"moved {moved:.1f}" if candidate.moves else "does not move"
    return f"    maybe {exact_temperature(candidate.celsius, view):>9}  {reading_words(candidate)}, {how}"


def reading_words(candidate: Candidate) -> str:
    """Say how a candidate is read, in the words of a layout."""
    scale = candidate.scale
    parts = [f"at {candidate.at}", candidate.type]
    if candidate.endian == "big":
        parts.append("big")
    factor = scale.factor
    times = f" x {factor:.6g}" if factor != 1.0 else ""
    return f"{' '.join(parts)}{times} {candidate.layout_value().unit}"


def payload_lines(payload: bytes, changed: Sequence[int] = ()) -> list[Line]:
    """Draw a payload in hexadecimal under a byte ruler, with a sign under each byte that ever changed."""
    lines: list[Line] = []
    marked = set(changed)
    for start in range(0, min(len(payload), MOST_BYTES), BYTES_A_ROW):
        row = range(start, min(start + BYTES_A_ROW, len(payload), MOST_BYTES))
        lines.append((("    at  ", "faint"), (" ".join(f"{at:2d}" for at in row), "faint")))
        parts = [(f"{payload[at]:02x}" + " " * (at != row[-1]), "strong" if at in marked else "plain") for at in row]
        lines.append((("    hex ", "faint"), *parts))  # type: ignore[arg-type]
        if marked.intersection(row):
            lines.append((("        " + " ".join("^^" if at in marked else "  " for at in row).rstrip(), "strong"),))
    if len(payload) > MOST_BYTES:
        lines.append(((f"    and {len(payload) - MOST_BYTES} bytes more", "faint"),))
    return lines


def place_words(place: Place) -> str:
    """Say where a payload stands."""
    if place.source == "manufacturer_data":
        return f"manufacturer data, company 0x{place.company or 0:04x}"
    if place.source == "service_data":
        return f"service data {short_uuid(place.uuid)}"
    return f"characteristic {short_uuid(place.uuid)} ({place.source})"


def short_uuid(uuid: str) -> str:
    """Write a UUID as short as it goes."""
    return uuid[4:8] if uuid.startswith("0000") and uuid.endswith(_BASE) else clean(uuid, 36, ascii_only=True)


def seconds_words(seconds: float) -> str:
    """Write a time between two packets."""
    return f"{seconds:.0f} s" if seconds >= 10 else f"{seconds:.1f} s" if seconds >= 0.1 else f"{seconds * 1000:.0f} ms"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
