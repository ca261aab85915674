"""What is published of a cook: one retained JSON document a topic, each with its own time, quality and unit.

Topics, under a base that the config names:

- `availability`: `online` only while good values come in, alarms are judged, the store is written and messages go out,
  else `offline`, no JSON; `offline` is also the last will, for when the collector is gone;
- `probe/NAME`, `zone/NAME`: a temperature; `grate`: its level, target and band; `spread`: hottest zone less coldest;
- `alarm/RULE/SUBJECT`: one alarm rule as it stands, also when all is well, once it has been an alarm in this run;
- `meat/NAME`: a piece of meat: phase, its parts with the times they are expected at, its clocks, by whose limits it is
  cooled, and the caution that goes with all of it;
- `trouble/KEY`: what is wrong, once for all its alarms; gone when it is over;
- `cook`: name, start, phase of the fire.

Names are written into topics with `slug`. Temperatures are °C, differences K, times Unix seconds UTC; a value that is
not known is `null`.
"""

import math
import re
import unicodedata
from collections.abc import Iterable
from functools import partial
from typing import Any

import msgspec

from adapters.reading import Quality, Reason
from collector.faults import FaultBook
from collector.model.meat.backwards import lateness
from collector.model.meat.cooling import LIMITS, CoolingRule
from collector.model.meat.safety import CAUTION
from collector.snapshot import AlarmView, ArrivalView, PartView, Snapshot

__all__ = ["SCHEMA", "documents", "slug"]

SCHEMA = 1
"""Of the documents; it changes when a field changes its meaning or goes."""

_encode = msgspec.json.Encoder().encode


def slug(name: str) -> str:
    """Write a name as one level of a topic: small letters, digits and hyphens.

    >>> slug("Flat side, 2")
    'flat-side-2'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "unnamed"


Documents = dict[str, dict[str, Any]]


def documents(snapshot: Snapshot, faults: FaultBook | None = None) -> dict[str, bytes]:
    """Write all documents of a cook as it stands, by topic below the base; equal slugs are numbered apart.

    Args:
        snapshot: the cook.
        faults: contains a kind of document that cannot be written; the others are written all the same.
    """
    faults = faults or FaultBook()
    found: Documents = {}
    for write in (_of_cook, _of_probes, _of_zones, _of_meat, _of_alarms, _of_troubles):
        part = f"MQTT documents of {write.__name__.removeprefix('_of_')}"
        found |= faults.attempt(part, snapshot.now_unix, partial(write, snapshot), dict, lasting=False)
    return {topic: _encode({"schema": SCHEMA, **_known(fields)}) for topic, fields in found.items()}


def _of_cook(snapshot: Snapshot) -> Documents:
    now = snapshot.now_unix
    return {
        "cook": {
            "name": snapshot.cook, "started": snapshot.started_unix, "fire": str(snapshot.fire.phase), "time": now,
        },
        "grate": {
            "value": snapshot.fire.level_celsius, "unit": "C", "target": snapshot.target_celsius,
            "low": snapshot.low_celsius, "high": snapshot.high_celsius,
            "slope_kelvin_per_hour": snapshot.fire.slope_kelvin_per_hour, "time": now,
        },
        "spread": {"value": snapshot.evenness.spread_kelvin, "unit": "K", "time": now},
    }  # fmt: skip


def _of_probes(snapshot: Snapshot) -> Documents:
    found: Documents = {}
    for topic, probe in _numbered("probe", snapshot.probes):
        quality = Quality.BAD if probe.silent else probe.quality
        found[topic] = {
            "name": probe.name, "duty": probe.duty, "value": probe.celsius, "unit": "C",
            "quality": quality.name.lower(),
            "reason": "silent" if probe.silent else "" if probe.reason is Reason.NONE else probe.reason.name.lower(),
            "used": probe.used, "sd_kelvin": probe.sd_kelvin, "time": probe.heard_unix,
        }  # fmt: skip
    return found


def _of_zones(snapshot: Snapshot) -> Documents:
    found: Documents = {}
    for topic, zone in _numbered("zone", snapshot.zones):
        known = zone.celsius == zone.celsius
        quality = Quality.BAD if not known else Quality.GOOD if zone.probes else Quality.UNCERTAIN
        found[topic] = {
            "name": zone.name, "level": zone.level, "value": zone.celsius, "unit": "C", "sd_kelvin": zone.sd_kelvin,
            "from_level_kelvin": zone.deviation_kelvin, "quality": quality.name.lower(), "probes": zone.probes,
            "watched": zone.watched, "time": snapshot.now_unix,
        }  # fmt: skip
    return found


def _of_meat(snapshot: Snapshot) -> Documents:
    found: Documents = {}
    for topic, meat in _numbered("meat", snapshot.meat):
        found[topic] = {
            "name": meat.name, "cut": meat.cut, "phase": meat.phase, "on": meat.on_unix, "serve": meat.serve_unix,
            "late_seconds": meat.late_seconds, "in_time": lateness(meat.late_seconds) or None,
            "held_seconds": meat.held_seconds, **_arrival(meat.done), "cool_by": meat.cool_due_unix,
            "cooling_limits": LIMITS[CoolingRule(meat.cooling)].title, "caution": CAUTION, "time": snapshot.now_unix,
            "parts": [_known(_part(part)) for part in meat.parts],
        }  # fmt: skip
    return found


def _of_alarms(snapshot: Snapshot) -> Documents:
    return {
        _alarm_topic(alarm): {
            "key": alarm.key, "state": str(alarm.state), "active": alarm.active,
            "priority": alarm.priority.name.lower(), "value": alarm.value, "limit": alarm.limit, "unit": alarm.unit,
            "message": alarm.message,
            "since": alarm.since_unix, "raised": alarm.raised_unix, "time": snapshot.now_unix,
        }
        for alarm in snapshot.alarms
    }  # fmt: skip


def _of_troubles(snapshot: Snapshot) -> Documents:
    return {
        f"trouble/{'/'.join(slug(part) for part in trouble.key.split('/', 1))}": {
            "key": trouble.key, "state": str(trouble.state), "active": trouble.active,
            "priority": trouble.priority.name.lower(), "title": trouble.title, "what": trouble.what,
            "value": trouble.value, "limit": trouble.limit, "unit": trouble.unit, "since": trouble.since_unix,
            "alarms": trouble.alarms, "time": snapshot.now_unix,
        }
        for trouble in snapshot.troubles
    }  # fmt: skip


def _part(part: PartView) -> dict[str, Any]:
    return {
        "name": part.name, "probe": part.probe, "value": part.celsius, "unit": "C", "target": part.done_celsius,
        "stalled_since": part.stall_began_unix if part.stall_ended_unix is None else None,
        "danger_seconds": part.danger_seconds, **_arrival(part.done),
    }  # fmt: skip


def _arrival(arrival: ArrivalView) -> dict[str, Any]:
    """Tell when something is expected, and the times a tenth and nine tenths of such cooks are there by."""
    return {"done": arrival.median_unix, "done_low": arrival.low_unix, "done_high": arrival.high_unix}


def _known(fields: dict[str, Any]) -> dict[str, Any]:
    """Write what is not a number as null: JSON has no other word for it."""
    return {k: None if isinstance(v, float) and not math.isfinite(v) else v for k, v in fields.items()}


def _alarm_topic(alarm: AlarmView) -> str:
    return f"alarm/{slug(alarm.rule)}/{slug(alarm.subject)}"


def _numbered(kind: str, named: Iterable[Any]) -> Iterable[tuple[str, Any]]:
    """Give each its topic; a second of the same slug is number 2."""
    times: dict[str, int] = {}
    for one in named:
        name = slug(one.name)
        times[name] = times.get(name, 0) + 1
        yield f"{kind}/{name}" + (f"-{times[name]}" if times[name] > 1 else ""), one
