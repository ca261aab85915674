"""Nights on disk: what a user knows of a pit, the readings in order of arrival, and the truth.

A folder KIND/NUMBER holds `probes.json` (what the user knows), `stream.jsonl.gz` (one reading a line, in order of
arrival), `labels.json` (what was true, seconds from the start, °F) and `truth.npz` (true temperatures, °F).
"""

import gzip
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Gridded", "Night", "find_nights", "grid_readings", "read_night", "read_stream", "write_night"]

Array = NDArray[np.float64]
GRID_SECONDS = 30.0
NEEDED = ("probes.json", "labels.json", "truth.npz", "stream.jsonl.gz")


@dataclass(frozen=True, slots=True)
class Night:
    """One night without its readings."""

    folder: Path
    probes: dict[str, Any]
    """`probes.json`: start, target, chamber, zones, probes."""
    labels: dict[str, Any]
    truth: dict[str, Array]
    """`t` (T,), `zones` (T, Z), `grid` (T, 72), `grid_xyz` (72, 3), `sites` (T, P), `site_ids` (P,)."""

    @property
    def kind(self) -> str:
        """What sort of night it is."""
        return self.folder.parent.name

    @property
    def name(self) -> str:
        """Kind and number."""
        return f"{self.folder.parent.name}/{self.folder.name}"

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return float(self.probes["hours"]) * 3600.0

    @property
    def zones(self) -> list[str]:
        """Names of the zones, in the order of the truth."""
        return list(self.probes["zones"])

    def probe_kind(self) -> dict[str, str]:
        """Give the kind of each probe: grate, top, flue, ambient, meat."""
        return {probe["id"]: probe["kind"] for probe in self.probes["probes"]}

    def zones_with_probes(self) -> set[str]:
        """Name the zones that hold a grate probe."""
        return {probe["zone"] for probe in self.probes["probes"] if probe["kind"] == "grate"}


@dataclass(frozen=True, slots=True)
class Gridded:
    """Readings on a grid of 30 s, °F, shape (steps, probes), NaN where there is none."""

    t: Array
    last: Array
    """The newest value."""
    age: Array
    """Seconds since it came; infinite before the first."""
    mean: Array
    """Mean of what came within the step."""
    ids: list[str]
    kinds: NDArray[np.str_]
    zones: NDArray[np.int64]
    """Index of the zone of a grate probe, else -1."""

    @property
    def grate(self) -> NDArray[np.int64]:
        """Columns of the grate probes."""
        return np.flatnonzero(self.kinds == "grate")


def find_nights(folder: Path, kinds: Iterable[str] = (), numbers: Iterable[int] = ()) -> list[Path]:
    """List the nights below a folder, by kind and number.

    Args:
        folder: what holds KIND/NUMBER folders.
        kinds: only these; all where empty.
        numbers: only nights whose name begins with one of these as three digits; all where empty.
    """
    wanted, starts = set(kinds), {f"{number:03d}" for number in numbers}
    return sorted(
        path.parent
        for path in folder.glob("*/*/stream.jsonl.gz")
        if (not wanted or path.parent.parent.name in wanted) and (not starts or path.parent.name[:3] in starts)
    )


def read_night(folder: Path) -> Night:
    """Read a night without its readings.

    Raises:
        FileNotFoundError: a file of it is missing; the message names it.
    """
    if missing := [name for name in NEEDED if not (folder / name).exists()]:
        raise FileNotFoundError(f"{folder} is no night: it lacks {', '.join(missing)}")
    probes, labels = (json.loads((folder / name).read_text(encoding="utf-8")) for name in NEEDED[:2])
    with np.load(folder / "truth.npz") as held:
        truth = {name: held[name] if name == "site_ids" else held[name].astype(float) for name in held.files}
    return Night(folder, probes, labels, truth)


def read_stream(folder: Path) -> Iterator[dict[str, Any]]:
    """Give the readings in order of arrival: `rx`, `t`, `id`, `value`, `unit`."""
    with gzip.open(folder / "stream.jsonl.gz", "rt", encoding="utf-8") as lines:
        yield from map(msgspec.json.decode, lines)


def write_night(
    folder: Path, probes: dict[str, Any], labels: dict[str, Any], truth: dict[str, Array], lines: Iterable[bytes]
) -> None:
    """Write a night; `lines` are encoded readings in order of arrival."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "probes.json").write_text(json.dumps(probes), encoding="utf-8")
    (folder / "labels.json").write_text(json.dumps(labels), encoding="utf-8")
    np.savez_compressed(folder / "truth.npz", **truth)
    with gzip.open(folder / "stream.jsonl.gz", "wb", compresslevel=1) as out:
        out.write(b"\n".join(lines) + b"\n")


def grid_readings(night: Night) -> Gridded:
    """Put the readings of a night on the grid, as its own reference detectors see them."""
    probes = night.probes
    ids = [probe["id"] for probe in probes["probes"]]
    steps, start = int(probes["hours"] * 3600 / GRID_SECONDS), probes["start_epoch"]
    t = (np.arange(steps) + 1) * GRID_SECONDS
    heard: dict[str, list[tuple[float, float]]] = {name: [] for name in ids}
    for r in read_stream(night.folder):
        if r["value"] is not None:
            heard[r["id"]].append((r["rx"] - start, r["value"] if r["unit"] == "F" else r["value"] * 1.8 + 32.0))
    last, age, mean = (np.full((steps, len(ids)), fill) for fill in (np.nan, np.inf, np.nan))
    for j, name in enumerate(ids):
        rx, value = np.array(heard[name], float).reshape(-1, 2).T
        newest = np.searchsorted(rx, t, "right") - 1
        known = newest >= 0
        last[known, j], age[known, j] = value[newest[known]], t[known] - rx[newest[known]]
        step = np.clip((rx / GRID_SECONDS).astype(int), 0, steps - 1)
        count = np.bincount(step, minlength=steps)
        total = np.bincount(step, value, minlength=steps)
        mean[:, j] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    kinds = np.array([probe["kind"] for probe in probes["probes"]])
    zones = np.array([night.zones.index(p["zone"]) if p["kind"] == "grate" else -1 for p in probes["probes"]])
    return Gridded(t, last, age, mean, ids, kinds, zones)
