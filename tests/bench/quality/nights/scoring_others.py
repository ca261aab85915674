"""Door openings, the load of alarms, and the meat's arrival."""

import numpy as np

from tests.bench.quality.nights.engine_adapter import PlayedNight
from tests.bench.quality.nights.night_files import Night

__all__ = ["score_doors", "score_load", "score_meat"]

STAGES = (0.5, 0.75, 0.9)
DONE_F = "203"
FIRST_JUDGED_SECONDS = 5460.0


def score_doors(night: Night, played: PlayedNight) -> dict[str, list[float]]:
    """Score the door openings seen, and how much of the night was held for open without one."""
    openings = [(start, end) for start, end, _ in night.labels["lid"]]
    seen = played.doors_seen
    found = [float(any(start - 30 <= t <= end + 180 for t in seen)) for start, end in openings]
    false = [t for t in seen if not any(start - 60 <= t <= end + 600 for start, end in openings)]
    near = np.zeros(len(played.t), bool)
    for start, end in openings:
        near |= (played.t >= start - 60) & (played.t <= end + 900)
    held = float(np.mean(played.door_open & ~near))
    out = {"door_seen": found, "door_false": [float(len(false))], "door_held": [held]}
    if night.kind.startswith("wind"):
        out |= {"door_false_wind": [float(len(false))], "door_held_wind": [held]}
    return out


def score_load(night: Night, played: PlayedNight) -> dict[str, list[float]]:
    """Count the alarms that were raised: those that call a person, and all."""
    calls = float(sum(alarm.calls for alarm in played.alarms))
    out = {"calls": [calls], "raised": [float(len(played.alarms))]}
    out["calls_quiet" if night.kind.startswith("quiet") else "calls_bad"] = [calls]
    for alarm in played.alarms:
        key = f"rule {alarm.rule}"
        out[key] = [out.get(key, [0.0])[0] + 1.0]
    return out


def score_meat(night: Night, played: PlayedNight) -> dict[str, list[float]]:
    """Score the forecast of the arrival at 203 °F when 50, 75 and 90 % of the way there are over."""
    out: dict[str, list[float]] = {}
    for part, reaches in night.labels["meat_reaches_s"].items():
        end = reaches[DONE_F]
        if end is None:
            continue
        start = night.probes["meat_on_s"]
        for stage in STAGES:
            now = start + (end - start) * stage
            if now < FIRST_JUDGED_SECONDS:
                continue
            at = int(np.argmin(np.abs(played.t - now)))
            forecast = next((f for f in played.meat[at] if f.part == part), None)
            if forecast is None or not np.isfinite(forecast.median):
                continue
            name = f"{100 * stage:.0f}"
            out.setdefault(f"meat_error_{name}", []).append(abs(forecast.median - end) / 60.0)
            out.setdefault(f"meat_cover_{name}", []).append(float(forecast.low <= end <= forecast.high))
    return out
