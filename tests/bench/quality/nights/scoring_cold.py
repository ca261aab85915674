"""Cold spots: which were alarmed for, how late, and which alarms were false."""

import numpy as np
from numpy.typing import NDArray

from tests.bench.quality.nights.engine_adapter import PlayedNight
from tests.bench.quality.nights.episodes import episodes, true_deficits
from tests.bench.quality.nights.night_files import Array, Night

__all__ = ["LIMIT_F", "cold_states", "score_cold"]

LIMIT_F = 15.0
MERGE_SECONDS = 600.0
FIRST_JUDGED_SECONDS = 3600.0
"""Delays count from here on: a zone that is cold from the start has no moment at which it became cold."""
TIERS = {"clear": (5.0, 1200.0, 5.0), "tight": (2.0, 600.0, 2.0)}
"""A spot is needed whose peak is this far above the limit and which lasts this long; an alarm is false while the truth
stays this far below the limit."""


def cold_states(night: Night, played: PlayedNight, t: Array) -> NDArray[np.bool_]:
    """Tell when coldside's cold-spot alarms stood, shape (times, zones)."""
    on = np.zeros((len(t), len(night.zones)), bool)
    for alarm in played.alarms:
        if alarm.rule.startswith("cold-spot") and alarm.subject in night.zones:
            on[(t >= alarm.raised) & (t < alarm.cleared), night.zones.index(alarm.subject)] = True
    return on


def score_cold(
    night: Night, t: Array, on: NDArray[np.bool_], watched: NDArray[np.bool_] | None = None, looks: Array | None = None
) -> dict[str, list[float]]:
    """Score alarm states against the true cold spots.

    Args:
        night: the night.
        t: times of the states, shape (steps,).
        on: states, shape (steps, zones).
        watched: whether each zone is said to be watched, shape (looks, zones).
        looks: times of `watched`.
    """
    truth_t, deficit = night.truth["t"], true_deficits(night)
    probed = night.zones_with_probes()
    out: dict[str, list[float]] = {
        name: []
        for name in (
            "clear_missed",
            "tight_missed",
            "clear_delay",
            "clear_in_10",
            "clear_in_30",
            "every_zone_missed",
            "no_probe_seen",
            "no_probe_said",
        )
    }
    false = dict.fromkeys(TIERS, 0)
    for j, zone in enumerate(night.zones):
        spells = episodes(on[:, j], t, MERGE_SECONDS)
        for spot in night.labels["cold"]:
            if spot["zone"] != zone or spot["D"] != LIMIT_F:
                continue
            hit = next((s for s, e in spells if s <= spot["end"] + 300 and e >= spot["start"]), None)
            for tier, (peak, length, _) in TIERS.items():
                if spot["peak"] < LIMIT_F + peak or spot["end"] - spot["start"] < length:
                    continue
                missed = float(hit is None)
                if tier == "clear":
                    out["every_zone_missed"].append(missed)
                if zone not in probed:
                    if tier == "clear":
                        out["no_probe_seen"].append(1.0 - missed)
                        if watched is not None and looks is not None:
                            within = (looks >= spot["start"]) & (looks <= spot["end"])
                            out["no_probe_said"].append(float(not watched[within, j].any()))
                    continue
                out[f"{tier}_missed"].append(missed)
                if tier == "clear" and spot["start"] > FIRST_JUDGED_SECONDS:
                    delay = np.inf if hit is None else max(0.0, hit - spot["start"]) / 60.0
                    out["clear_delay"].append(delay)
                    out["clear_in_10"].append(float(delay <= 10.0))
                    out["clear_in_30"].append(float(delay <= 30.0))
        for tier, (_, _, below) in TIERS.items():
            for start, end in spells:
                near = (truth_t >= start - 600) & (truth_t <= end + 300)
                false[tier] += bool(deficit[near, j].max(initial=-np.inf) < LIMIT_F - below)
    return out | {f"{tier}_false": [float(count)] for tier, count in false.items()}
