"""Every miss and every false alarm of a night in a line, with what coldside saw, to look for causes."""

from collections.abc import Iterator

import numpy as np

from tests.bench.quality.nights.engine_adapter import PlayedNight
from tests.bench.quality.nights.episodes import episodes, true_deficits, true_level
from tests.bench.quality.nights.night_files import Array, Night
from tests.bench.quality.nights.scoring_cold import LIMIT_F, MERGE_SECONDS, TIERS, cold_states
from tests.bench.quality.nights.scoring_drift import BAND_F, drift_states, leaves_band, minutes_of
from tests.bench.quality.nights.scoring_probes import accusations, judged_faults

__all__ = ["explain"]

LATE_SECONDS = 1500.0


def clock(seconds: float) -> str:
    """Write seconds from the start as hours and minutes."""
    return f"{int(seconds // 3600)}:{int(seconds % 3600 // 60):02d}" if np.isfinite(seconds) else "--:--"


def explain(night: Night, played: PlayedNight) -> Iterator[str]:
    """List what went wrong in a night."""
    yield from _cold(night, played)
    yield from _drift(night, played)
    for kind, probe, begin, minutes in judged_faults(night, played):
        if minutes > 20.0:
            found = "never found" if np.isinf(minutes) else f"found after {minutes:.0f} min"
            near = _around(night, begin, begin + 3600.0)
            yield f"LIE {night.name} {kind} of {probe} from {clock(begin)}: {found}; {near}"
    for probe, start, end in accusations(night, played):
        yield f"ACCUSED {night.name} {probe} {clock(start)}-{clock(end)}, a sound probe; {_around(night, start, start)}"


def _around(night: Night, start: float, end: float) -> str:
    """Say what else was going on."""
    labels, found = night.labels, list[str]()
    found += [f"door {clock(s)}" for s, e, _ in labels["lid"] if start - 1800 < s < end + 600]
    found += [
        f"{f['type']} {f['probe']} {clock(f['start'])}-{clock(f['end'])}"
        for f in labels["faults"]
        if f["start"] < end and f["end"] > start - 3600
    ]
    found += [f"{c['cause']} {clock(c['start'])}" for c in labels["causes"] if start - 4 * 3600 < c["start"] < end]
    return ", ".join(found) or "nothing else"


def _during(played: PlayedNight, start: float, end: float) -> Array:
    return (played.t >= start) & (played.t <= end)


def _cold(night: Night, played: PlayedNight) -> Iterator[str]:
    t = np.arange(30.0, night.seconds + 1.0, 30.0)
    on, deficit, truth_t = cold_states(night, played, t), true_deficits(night), night.truth["t"]
    peak, least, below = TIERS["clear"]
    for j, zone in enumerate(night.zones):
        probes = [p["id"] for p in night.probes["probes"] if p["kind"] == "grate" and p["zone"] == zone]
        spells = episodes(on[:, j], t, MERGE_SECONDS)
        for spot in night.labels["cold"]:
            start, end = spot["start"], spot["end"]
            if spot["zone"] != zone or spot["D"] != LIMIT_F or spot["peak"] < LIMIT_F + peak or end - start < least:
                continue
            hit = next((s for s, e in spells if s <= end + 300 and e >= start), None)
            if hit is not None and (start <= 1800.0 or hit - start <= LATE_SECONDS):
                continue
            k = _during(played, start, end)
            true = np.interp(played.t[k], truth_t, deficit[:, j]).mean()
            said = (
                f"map said {played.deficit[k, j].mean():.0f} of {true:.0f} °F"
                f", steady {100 * played.steady[k].mean():.0f} %, watched {100 * played.watched[k, j].mean():.0f} %"
            )
            word = "MISSED" if hit is None else f"LATE {(hit - start) / 60:.0f} min"
            yield (
                f"{word} cold {night.name} {zone} {clock(start)}-{clock(end)} peak {spot['peak']}, probes {probes}; "
                f"{said}; {_around(night, start, end)}"
            )
        for start, end in spells:
            most = deficit[(truth_t >= start - 600) & (truth_t <= end + 300), j].max(initial=-np.inf)
            if most < LIMIT_F - below:
                k = _during(played, start, end)
                said = f"map said {played.deficit[k, j].mean():.0f}" if k.any() else ""
                yield (
                    f"FALSE cold {night.name} {zone} {clock(start)}-{clock(end)}: true at most {most:.0f} °F, {said}, "
                    f"probes {probes}; {_around(night, start, end)}"
                )


def _drift(night: Night, played: PlayedNight) -> Iterator[str]:
    t, truth_t, target = minutes_of(night), night.truth["t"], night.probes["target_F"]
    slow, quick = true_level(night, 45) - target, true_level(night, 15) - target
    for way, on in drift_states(night, played).items():
        word, spells = ("hot" if way > 0 else "cold"), episodes(on, t, 900.0)
        for drift in night.labels["drift"]:
            start, end = drift["start"], drift["end"]
            if drift["direction"] != way or drift["size"] != "major":
                continue
            before, after = np.interp([start, end], truth_t, slow)
            if (leaves_band(before, after, way) or drift["cause"]) and not any(
                s <= end + 1800 and e >= start for s, e in spells
            ):
                yield (
                    f"MISSED drift {night.name} {word} {clock(start)}-{clock(end)} {drift['excursion_F']} °F, "
                    f"{drift['cause']}: {before:.0f} to {after:.0f} °F off the target; {_around(night, start, end)}"
                )
        for start, end in spells:
            near = (truth_t >= start - 600) & (truth_t <= max(end, start + 60))
            outside = bool(near.any()) and (way * quick[near]).max() > BAND_F - 3.0
            real = any(
                d["direction"] == way and start <= d["end"] + 2700 and end >= d["start"] - 900
                for d in night.labels["drift"]
            )
            if not outside and not real:
                most = (way * quick[near]).max() if near.any() else np.nan
                yield (
                    f"FALSE drift {night.name} {word} {clock(start)}-{clock(end)}: the true level is at most "
                    f"{most:.0f} °F off; {_around(night, start, end)}"
                )
