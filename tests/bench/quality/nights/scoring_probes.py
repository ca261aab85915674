"""Probes that lie: when their error began to matter, when coldside knew, and which sound probes it accused."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from tests.bench.quality.nights.engine_adapter import PlayedNight
from tests.bench.quality.nights.episodes import episodes
from tests.bench.quality.nights.night_files import Array, Night, read_stream

__all__ = ["accusations", "judged_faults", "score_probes"]

LIES = ("open", "short", "stuck", "spike", "swap", "silent")
"""What should be found within 20 min; a slow decalibration is counted apart."""
ERROR_F, FOUND_MINUTES, DECALIBRATION_MINUTES = 9.0, 20.0, 45.0
WILD_F = 25.0
ACCUSED_SECONDS, FIRST_JUDGED_SECONDS = 300.0, 600.0
CHAMBER = ("grate", "top")


def _first_wild(night: Night, fault: dict[str, Any], site: Array) -> float | None:
    """Find the first reading of a fault that is no value of its place, s from the start."""
    for r in read_stream(night.folder):
        at = r["rx"] - night.probes["start_epoch"]
        if r["id"] == fault["probe"] and fault["start"] <= at < fault["end"] and r["value"] is not None:
            value = r["value"] if r["unit"] == "F" else r["value"] * 1.8 + 32.0
            if abs(value - np.interp(at, night.truth["t"], site)) > WILD_F:
                return float(at)
    return None


def _matters_from(night: Night, fault: dict[str, Any]) -> float | None:
    """Tell from when on an error of 9 °F stands; None when it never does."""
    t, kind, name = night.truth["t"], fault["type"], fault["probe"]
    sites = {str(i): night.truth["sites"][:, k] for k, i in enumerate(night.truth["site_ids"])}
    during = (t >= fault["start"]) & (t < fault["end"])
    if kind == "decal":
        return float(fault["start"] + ERROR_F / abs(fault["param"]) * 3600.0)
    if kind == "spike":
        return _first_wild(night, fault, sites[name])
    if kind in ("swap", "stuck"):
        true = sites[name][during]
        error = np.abs((sites[fault["param"]][during] if kind == "swap" else true[:1]) - true)
        if not (error > ERROR_F).any() or (kind == "swap" and np.median(error) < ERROR_F):
            return None
        return float(t[during][np.argmax(error > ERROR_F)])
    return float(fault["start"])


def _known_at(played: PlayedNight, fault: dict[str, Any], names: list[str], begin: float) -> float | None:
    """Find when coldside knew of a fault: an alarm for the probe, or the probe left out for a reason."""
    moments: list[float] = []
    for name in names:
        moments += [
            a.raised
            for a in played.alarms
            if a.rule in ("probe-lying", "probe-silent")
            and a.subject == name
            and a.cleared > begin
            and fault["start"] <= a.raised < fault["end"]
        ]
        i = played.probes.index(name)
        during = (played.t > fault["start"]) & (played.t < fault["end"])
        if fault["type"] == "spike":
            doubted = played.bad[:, i]
        else:
            doubted = played.blamed[:, i] if fault["type"] in ("stuck", "decal", "swap") else ~played.used[:, i]
        moments += [float(played.t[k]) for k in np.flatnonzero(during & doubted)[:1]]
    return min(moments, default=None)


def judged_faults(night: Night, played: PlayedNight) -> Iterator[tuple[str, str, float, float]]:
    """Give each lie of a chamber probe: type, probe, when it began to matter, and minutes until it was known."""
    kind = night.probe_kind()
    for fault in night.labels["faults"]:
        if fault["type"] not in (*LIES, "decal"):
            continue
        names = [fault["probe"]] + ([fault["param"]] if fault["type"] == "swap" else [])
        judged = [name for name in names if name in played.probes and kind[name] in CHAMBER]
        begin = _matters_from(night, fault) if judged else None
        if begin is None or begin >= fault["end"]:
            continue
        known = _known_at(played, fault, judged, begin)
        yield fault["type"], fault["probe"], begin, np.inf if known is None else max(0.0, known - begin) / 60.0


def score_probes(night: Night, played: PlayedNight) -> dict[str, list[float]]:
    """Score what coldside made of the faults of a night and of its sound probes."""
    kind = night.probe_kind()
    out: dict[str, list[float]] = {"lie_found": [], "decalibration_found": [], "clock_unused": []}
    for fault in night.labels["faults"]:
        if fault["type"] == "clock":
            behind = _behind(night, fault)
            during = (played.t >= fault["start"] + 300) & (played.t < fault["end"])
            placed = [played.probes.index(p) for p in played.probes if p in behind and kind[p] in CHAMBER]
            if placed and during.any():
                out["clock_unused"].append(float((~played.used[during][:, placed]).mean()))
    for type_, _, _, minutes in judged_faults(night, played):
        if type_ == "decal":
            out["decalibration_found"].append(float(minutes <= DECALIBRATION_MINUTES))
        else:
            out["lie_found"].append(float(minutes <= FOUND_MINUTES))
    return out | {"accused": [float(len({name for name, _, _ in accusations(night, played)}))]}


def _behind(night: Night, fault: dict[str, Any]) -> set[str]:
    """Name the probes whose readings come by the gateway of a fault."""
    return {p["id"] for p in night.probes["probes"] if p["transport"] == fault["probe"]}


def _touched(night: Night) -> set[str]:
    """Name the probes that a fault of the night is in, or the clock of whose gateway is wrong."""
    touched: set[str] = set()
    for fault in night.labels["faults"]:
        touched |= {fault["probe"]} | ({fault["param"]} if fault["type"] == "swap" else set())
        touched |= _behind(night, fault) if fault["type"] == "clock" else set()
    return touched


def accusations(night: Night, played: PlayedNight) -> Iterator[tuple[str, float, float]]:
    """Give each sound chamber probe that was called a liar, or left out for 5 min though heard, with from and until."""
    kind, touched = night.probe_kind(), _touched(night)
    for i, name in enumerate(played.probes):
        if name in touched or kind[name] not in CHAMBER:
            continue
        out = ~played.used[:, i] & ~played.silent[:, i] & (played.t > FIRST_JUDGED_SECONDS)
        for start, end in episodes(out, played.t, 0.0):
            if end - start > ACCUSED_SECONDS:
                yield name, start, end
        for alarm in played.alarms:
            if alarm.rule == "probe-lying" and alarm.subject == name:
                yield name, alarm.raised, alarm.cleared
