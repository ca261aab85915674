"""How the probes fared: readings and why they were doubted, silences, signal, battery, disagreement. Pure."""

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct

from adapters.reading import Quality, Reason
from collector.model.chamber import model_of
from collector.model.field import Array
from collector.model.plan import Plan, Probe
from collector.model.vitals import DeviceVitals
from collector.report.quantities import Kelvin, Seconds, Share, Unix, UnixOrNone, known
from collector.snapshot import Snapshot
from collector.words import REASON_WORDS

__all__ = ["Absence", "Gap", "ProbeHealth", "gaps_of", "health_of", "left_out"]

MOST_GAPS = 12
"""Silences of one probe that are listed one by one, the longest."""
ABSENT_SHARE = 0.9
"""A silence of which so much is the collector's own absence is not the probe's."""


class Gap(Struct, frozen=True):
    """A silence of a probe longer than its own limit."""

    probe: str
    start_unix: Unix
    end_unix: Unix
    seconds: Seconds
    whole: bool
    """It was never heard at all."""


class Absence(Struct, frozen=True):
    """A time in which the collector itself did not listen."""

    start_unix: Unix
    end_unix: Unix
    text: str


class Doubt(Struct, frozen=True):
    """Why readings were not held to be good."""

    why: str
    readings: int


class ProbeHealth(Struct, frozen=True):
    """One probe over the cook."""

    name: str
    duty: str
    source: str
    readings: int
    good_share: Share
    uncertain_share: Share
    bad_share: Share
    doubts: tuple[Doubt, ...]
    residual_kelvin: Kelvin
    """Median of what it said less what its neighbours say of its place (leave-one-out), in the steady stretch."""
    residual_sd_kelvin: Kelvin
    """How far that may be off, one standard deviation."""
    sd_kelvin: Kelvin
    """Of what it may be off by, as the config or its calibration says."""
    calibrated_unix: UnixOrNone
    silences: int
    silent_seconds: Seconds
    longest_silence_seconds: Seconds
    battery_first_percent: float | None
    battery_last_percent: float | None
    rssi_median_dbm: float | None
    rssi_least_dbm: float | None
    lies: int
    """How often it was called a liar."""


def gaps_of(
    probe: Probe, heard_unix: Array, start_unix: float, end_unix: float, absences: Sequence[Absence]
) -> tuple[Gap, ...]:
    """List the silences of a probe beyond its own limit, oldest first; those of an absent collector are not its own.

    Args:
        probe: whose.
        heard_unix: when it was heard, shape (n,), ascending.
        start_unix: when the cook began.
        end_unix: when its record ends.
        absences: when the collector did not listen.
    """
    edges = np.concatenate([[start_unix], heard_unix, [max(end_unix, start_unix)]])
    found = []
    for k in np.flatnonzero(np.diff(edges) > probe.stale_seconds):
        begin, end = float(edges[k]), float(edges[k + 1])
        absent = sum(max(0.0, min(end, a.end_unix) - max(begin, a.start_unix)) for a in absences)
        if end - begin - absent > probe.stale_seconds and absent < ABSENT_SHARE * (end - begin):
            found.append(Gap(probe.name, begin, end, known(end - begin - absent, 0), heard_unix.size == 0))
    return tuple(found)


def left_out(moments: Sequence[Snapshot], plan: Plan) -> Mapping[str, tuple[float, float]]:
    """Give the median leave-one-out residual of each probe and its deviation, kelvin, over some moments.

    Probes that are not believed are left out at that moment: the map does not rest on what they say.
    """
    found: dict[str, list[tuple[float, float]]] = {}
    levels = plan.chamber.levels
    for moment in moments:
        if not moment.fields:
            continue
        field = moment.fields[0]
        residual, deviation = model_of(field, moment.chamber).leave_one_out(np.array(field.celsius))
        at = {(x, y, level): k for k, (x, y, level) in enumerate(zip(field.x_m, field.y_m, field.levels, strict=True))}
        for probe in moment.probes:
            if probe.duty != "chamber" or not probe.used or probe.level not in levels:
                continue
            k = at.get((probe.x_m or 0.0, probe.y_m or 0.0, levels.index(probe.level)))
            if k is not None and np.isfinite(residual[k]):
                found.setdefault(probe.name, []).append((float(residual[k]), float(deviation[k])))
    return {
        name: (float(np.median([r for r, _ in v])), float(np.median([d for _, d in v]))) for name, v in found.items()
    }


def health_of(
    probe: Probe,
    verdicts: Mapping[tuple[Quality, Reason], int],
    gaps: Sequence[Gap],
    vitals: Sequence[DeviceVitals],
    residual: tuple[float, float] | None,
    lies: int,
) -> ProbeHealth:
    """Sum up one probe.

    Args:
        probe: whose.
        verdicts: its readings by what the screening said.
        gaps: its silences.
        vitals: of its source, oldest first.
        residual: median leave-one-out residual and its deviation, kelvin.
        lies: how often it was called a liar.
    """
    count = sum(verdicts.values())
    by_quality: Counter[Quality] = Counter()
    reasons: Counter[Reason] = Counter()
    for (quality, reason), n in verdicts.items():
        by_quality[quality] += n
        if quality is not Quality.GOOD:
            reasons[reason] += n
    good, uncertain, bad = (
        known(by_quality[q] / count, 5) if count else None for q in (Quality.GOOD, Quality.UNCERTAIN, Quality.BAD)
    )
    batteries = [v.battery_percent for v in vitals if v.battery_percent is not None]
    rssi = [v.rssi_dbm for v in vitals if v.rssi_dbm is not None]
    silent = [g.seconds or 0.0 for g in gaps]
    return ProbeHealth(
        probe.name, probe.duty, probe.source, count, good, uncertain, bad,
        tuple(Doubt(REASON_WORDS[r], n) for r, n in sorted(reasons.items(), key=lambda kv: (-kv[1], kv[0]))),
        None if residual is None else known(residual[0]), None if residual is None else known(residual[1]),
        known(probe.tolerance_kelvin), None if probe.line is None else probe.line.time_unix,
        len(gaps), sum(silent) if silent else 0.0, max(silent, default=0.0),
        batteries[0] if batteries else None, batteries[-1] if batteries else None,
        float(np.median(rssi)) if rssi else None, float(min(rssi)) if rssi else None, lies,
    )  # fmt: skip
