"""Drifts of the fire: those that leave the band and those with a cause must be alarmed for, the others need not."""

import numpy as np
from numpy.typing import NDArray

from tests.bench.quality.nights.engine_adapter import PlayedNight, alarm_direction
from tests.bench.quality.nights.episodes import episodes, true_level
from tests.bench.quality.nights.night_files import Array, Night

__all__ = ["drift_states", "leaves_band", "minutes_of", "score_drift", "turned_round"]

BAND_F = 25.0
MERGE_SECONDS = 900.0
CAUSES = ("fire dying", "runaway")


def minutes_of(night: Night) -> Array:
    """Times of the states, one a minute."""
    return (np.arange(int(night.seconds // 60)) + 1) * 60.0


def drift_states(night: Night, played: PlayedNight) -> dict[int, NDArray[np.bool_]]:
    """Tell when coldside alarmed for a fire that gains (1) and one that fades (-1), each minute.

    An alarm counts for the direction that it says when it is raised and, while it stands, at each look. What it says
    while the door is open does not count here: `turned_round` does.
    """
    t = minutes_of(night)
    out = {1: np.zeros(len(t), bool), -1: np.zeros(len(t), bool)}
    for alarm in played.alarms:
        if not (way := alarm_direction(alarm.rule, alarm.message)):
            continue
        later = (played.t > alarm.raised) & (played.t < alarm.cleared) & (played.direction != 0) & ~played.door_open
        at = np.concatenate([[alarm.raised], played.t[later]])
        said = np.concatenate([[way], played.direction[later]])
        if alarm.rule != "drift":  # an alarm of one direction cannot turn round
            at, said = at[:1], said[:1]
        for k in np.flatnonzero((t >= alarm.raised) & (t < alarm.cleared)):
            out[int(said[np.searchsorted(at, t[k], "right") - 1])][k] = True
    return out


def turned_round(played: PlayedNight) -> float:
    """Count drift alarms that said the other direction while they stood."""
    count = 0
    for alarm in played.alarms:
        if alarm.rule == "drift":
            way = alarm_direction(alarm.rule, alarm.message)
            stood = (played.t > alarm.raised) & (played.t < alarm.cleared)
            count += bool((played.direction[stood] == -way).any())
    return float(count)


def leaves_band(before: float, after: float, way: int) -> bool:
    """Tell whether a drift ends outside the band on the side to which it went; °F above the target."""
    return way * after > BAND_F and abs(after) > abs(before)


def score_drift(night: Night, on: dict[int, NDArray[np.bool_]]) -> dict[str, list[float]]:
    """Score alarm states, one a minute for each direction, against the true drifts."""
    t, truth_t, target = minutes_of(night), night.truth["t"], night.probes["target_F"]
    slow, quick = true_level(night, 45) - target, true_level(night, 15) - target
    drifts = night.labels["drift"]
    first_of: dict[object, float] = {}
    for drift in drifts:
        first_of.setdefault(drift["cause_start"], drift["start"])
    out: dict[str, list[float]] = {"drift_missed": [], "fire_missed": [], "fire_delay": []}
    false = 0
    for way in (1, -1):
        spells = episodes(on[way], t, MERGE_SECONDS)
        for drift in drifts:
            if drift["direction"] != way or drift["size"] != "major" or drift["moved_10F"] is None:
                continue
            hit = next((s for s, e in spells if s <= drift["end"] + 1800 and e >= drift["start"]), None)
            before, after = np.interp([drift["start"], drift["end"]], truth_t, slow)
            if leaves_band(before, after, way):
                out["drift_missed"].append(float(hit is None))
            if drift["cause"] in CAUSES and first_of[drift["cause_start"]] == drift["start"]:
                out["fire_missed"].append(float(hit is None))
                raised = np.inf if hit is None else max(hit, drift["start"])
                out["fire_delay"].append((raised - drift["cause_start"]) / 60.0)
        for start, end in spells:
            near = (truth_t >= start - 600) & (truth_t <= max(end, start + 60))
            outside = bool(near.any()) and float((way * quick[near]).max()) > BAND_F - 3.0
            real = any(d["direction"] == way and start <= d["end"] + 2700 and end >= d["start"] - 900 for d in drifts)
            false += not outside and not real
    return out | {"drift_false": [float(false)]}
