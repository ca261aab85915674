"""A scan as one document for other programs: nothing is cut, texts stand as they were sent, escaped by JSON."""

import math
from collections.abc import Sequence
from typing import Any

from adapters.ble.recognise import Recognised
from adapters.decode.candidates import Candidate
from adapters.decode.value import Packet
from tui.draw.scan import Heard

__all__ = ["candidate_document", "device_document", "packet_document", "scan_document"]

MOST_CANDIDATES = 20


def scan_document(heard: Sequence[Heard], adapter: str, seconds: float) -> dict[str, Any]:
    """Put a whole scan into one document."""
    return {
        "schema": 1, "adapter": adapter, "seconds": round(seconds, 1),
        "devices": [device_document(one) for one in heard],
    }  # fmt: skip


def device_document(heard: Heard) -> dict[str, Any]:
    """Put one device into a document."""
    device = heard.device
    return {
        "address": device.address,
        "random": device.random_address,
        "name": device.name,
        "rssi": {"last": device.rssi_last, "min": device.rssi_min, "max": device.rssi_max},
        "heard": device.heard,
        "interval_seconds": {"median": device.interval_median, "longest": device.interval_longest},
        "services": list(device.services),
        "source": heard.source or None,
        "payloads": [_recognised(one) for one in heard.recognised],
    }


def _recognised(one: Recognised) -> dict[str, Any]:
    group, place = one.group, one.group.place
    return {
        "source": place.source, "uuid": place.uuid or None, "company": place.company, "service": place.service or None,
        "heard": group.heard, "different": group.different, "lengths": list(group.lengths), "hex": group.last.hex(),
        "changed": list(group.changed), "standard": one.standard or None, "encrypted": one.encrypted,
        "packet": packet_document(one.packet) if one.packet is not None else None, "trouble": one.trouble or None,
        "counters": [{"at": c.at, "size": c.size, "endian": c.endian, "step": c.step} for c in one.findings.counters],
        "candidates": [candidate_document(c) for c in one.findings.candidates[:MOST_CANDIDATES]],
        "candidates_in_all": len(one.findings.candidates),
    }  # fmt: skip


def packet_document(packet: Packet) -> dict[str, Any]:
    """Put a packet into a document."""
    return {
        "values": [
            {
                "key": value.key,
                "celsius": value.celsius if math.isfinite(value.celsius) else None,
                "unit": str(value.unit),
                "quality": value.quality.name.lower(),
                "reason": value.reason.name.lower(),
            }
            for value in packet.values
        ],
        "battery_percent": packet.battery_percent,
        "counter": packet.counter,
        "rejected": list(packet.rejected),
    }


def candidate_document(candidate: Candidate) -> dict[str, Any]:
    """Put a candidate into a document."""
    return {
        "at": candidate.at, "type": candidate.type, "endian": candidate.endian,
        "multiplier": candidate.scale.multiplier, "exponent": candidate.scale.exponent,
        "binary_exponent": candidate.scale.binary_exponent, "unit": candidate.layout_value().unit,
        "celsius": candidate.celsius, "low": candidate.low, "high": candidate.high, "moves": candidate.moves,
    }  # fmt: skip
