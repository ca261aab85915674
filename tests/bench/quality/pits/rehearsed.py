"""The project's own drawn nights (`adapters/rehearsal`) in the format of the others, for the same scorer.

They are what the product was tuned on, so they are a source to compare with, never evidence.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from adapters.rehearsal.drawn import NightKind, draw_night, steady_seconds
from adapters.rehearsal.night import FaultKind, Night
from tests.bench.quality.nights.night_files import write_night
from tests.bench.quality.pits.labels import cold_labels, drift_labels
from tests.bench.quality.recorded import CELLS, Recorded, record
from tests.bench.quality.truth import truth_of

__all__ = ["KINDS", "build_rehearsed"]

Array = NDArray[np.float64]
KINDS = tuple(kind.value for kind in NightKind)
FAULTS = {FaultKind.DRIFT: "decal", FaultKind.SWAPPED: "swap"}
"""Kinds of fault that are called otherwise here."""
COARSE = (12, 6)
REACHES_F = (165, 195, 203)


def build_rehearsed(folder: Path, kind: str, seed: int, zones: tuple[str, ...]) -> None:
    """Draw a night and write it from the moment at which its fire is steady."""
    recorded = record(draw_night(NightKind(kind), seed))
    night, run = recorded.night, recorded.truth
    start = float(np.ceil(steady_seconds(night, run) / 60.0) * 60.0)
    end = night.duration_seconds - start
    t = np.arange(int(end // 60)) * 60.0 + 30.0
    grid, places = _grid(recorded, t + start)
    third = np.minimum((3 * places[:, 0] / night.pit.length_m).astype(int), 2)
    zone = 2 * third + (places[:, 1] >= 0)
    of_zones = np.stack([grid[:, zone == k].mean(1) for k in range(len(zones))], 1)
    doors = [(lid.start - start, lid.start + lid.seconds - start, lid.why) for lid in night.lids]
    doors = [door for door in doors if door[1] > 0.0]
    openings = [(begin, close) for begin, close, _ in doors]
    trouble = truth_of(recorded).fire
    causes = []
    if trouble is not None and trouble.start > start:
        grows = trouble.what == "heaped up"
        name = "runaway" if grows else "fire dying"
        causes = [{"cause": name, "start": trouble.start - start, "direction": 1 if grows else -1}]
    labels = {
        "kind": kind,
        "cold": cold_labels(t, of_zones, zones, openings),
        "drift": drift_labels(t, of_zones, openings, causes),
        "causes": causes,
        "lid": [list(door) for door in doors],
        "faults": list(_faults(night, start, end)),
        "events": [],
        "meat_reaches_s": _arrivals(recorded, start),
        "done_s": {"wrap": None},
    }
    sited = [k for k, probe in enumerate(night.probes) if probe.duty == "chamber"]
    tips = np.stack([np.interp(t + start, run.seconds, run.probe_celsius[:, k]) for k in sited], 1) * 1.8 + 32.0
    truth = {"t": t, "zones": of_zones, "grid": grid, "grid_xyz": places, "sites": tips}
    compact = {name: x.astype("f4") for name, x in truth.items()}
    compact["site_ids"] = np.array([night.probes[k].key for k in sited])
    write_night(folder, _probes(night, start, end, zones), labels, compact, _lines(recorded, start))


def _grid(recorded: Recorded, seconds: Array) -> tuple[Array, Array]:
    """Give the true grid in coarse cells, °F, shape (times, 72), and the middles of these cells."""
    run, pit = recorded.truth, recorded.night.pit
    columns, rows = COARSE
    fine = run.map_celsius[:, ::-1, :].transpose(0, 2, 1)  # by column, from the door to the back
    across = (np.arange(CELLS[1]) + 0.5) / CELLS[1]
    wanted = (np.arange(rows) + 0.5) / rows
    pairs = fine.reshape(len(fine), columns, CELLS[0] // columns, CELLS[1]).mean(2)
    coarse = np.stack([np.stack([np.interp(wanted, across, column) for column in one]) for one in pairs])
    flat = coarse.reshape(len(coarse), -1)
    grid = np.stack([np.interp(seconds, run.map_seconds, flat[:, k]) for k in range(flat.shape[1])], 1) * 1.8 + 32.0
    x, y = np.meshgrid((np.arange(columns) + 0.5) / columns * pit.length_m, (wanted - 0.5) * pit.width_m, indexing="ij")
    return grid, np.column_stack([x.ravel(), y.ravel(), np.full(x.size, pit.width_m / 2.0)])


def _faults(night: Night, start: float, end: float) -> Iterator[dict[str, Any]]:
    for fault in night.faults:
        begin, stop = fault.start - start, min(fault.end - start, end)
        if stop > 0.0:
            kind = FAULTS.get(fault.kind, fault.kind.value)
            param = {"decal": fault.kelvin_per_hour * 1.8, "swap": fault.other}.get(kind)
            yield {"type": kind, "probe": fault.key, "start": max(begin, 0.0), "end": stop, "param": param}


def _arrivals(recorded: Recorded, start: float) -> dict[str, dict[str, float | None]]:
    out: dict[str, dict[str, float | None]] = {}
    for k, probe in enumerate(recorded.night.probes):
        if probe.duty == "meat":
            tip = recorded.truth.probe_celsius[:, k] * 1.8 + 32.0
            firsts = {level: np.flatnonzero(tip >= level) for level in REACHES_F}
            at = {level: float(recorded.truth.seconds[found[0]]) for level, found in firsts.items() if len(found)}
            out[probe.key] = {
                str(level): at[level] - start if at.get(level, 0.0) > start else None for level in REACHES_F
            }
    return out


def _probes(night: Night, start: float, end: float, zones: tuple[str, ...]) -> dict[str, Any]:
    pit, out = night.pit, []
    for probe in night.probes:
        kind = probe.level if probe.duty == "chamber" else probe.duty
        place = [probe.x_m, pit.width_m / 2.0 - probe.y_m, pit.width_m / 2.0] if probe.duty == "chamber" else None
        zone = kind
        if kind == "grate" and place is not None:
            zone = zones[2 * min(int(3 * place[0] / pit.length_m), 2) + (place[1] >= 0)]
        out.append(
            {
                "id": probe.key,
                "kind": kind,
                "transport": "mqtt",
                "unit": "C",
                "period_s": 1.0,
                "quantum": 0.1,
                "position": place,
                "zone": zone,
            }
        )
    on = min((lid.start for lid in night.lids if "goes on" in lid.why), default=start)
    return {
        "start_epoch": night.start_unix + start,
        "target_F": round(night.habit.target_celsius * 1.8 + 32.0, 1),
        "hours": end // 60 / 60.0,
        "meat_on_s": on - start,
        "zones": list(zones),
        "chamber": {"length_m": pit.length_m, "diameter_m": pit.width_m, "grate_z_m": pit.width_m / 2.0},
        "probes": out,
    }


def _lines(recorded: Recorded, start: float) -> Iterator[bytes]:
    keys = [probe.key for probe in recorded.night.probes]
    columns = (recorded.sent_seconds.tolist(), recorded.sent_probe.tolist(), recorded.sent_celsius.tolist())
    for seconds, row, celsius in zip(*columns, strict=True):
        if seconds >= start:
            at = recorded.night.start_unix + seconds
            reading = {"rx": round(at, 2), "t": round(at, 2), "id": keys[row], "value": celsius, "unit": "C"}
            yield json.dumps(reading).encode()
