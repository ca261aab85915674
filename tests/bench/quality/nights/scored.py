"""One night from its folder to its score. Plays are kept under the temporary folder, by the sources that made them."""

import hashlib
import os
import pickle
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numpy as np

import adapters
import collector
from tests.bench.quality.nights.comparing import true_far_deficit
from tests.bench.quality.nights.engine_adapter import PlayedNight, play_night
from tests.bench.quality.nights.explaining import explain
from tests.bench.quality.nights.figures import NightScore, Samples
from tests.bench.quality.nights.night_files import Gridded, Night, grid_readings, read_night
from tests.bench.quality.nights.reference.cold_reference import cold_alarms
from tests.bench.quality.nights.reference.drift_reference import drift_alarms
from tests.bench.quality.nights.scoring_cold import cold_states, score_cold
from tests.bench.quality.nights.scoring_drift import drift_states, score_drift, turned_round
from tests.bench.quality.nights.scoring_map import score_map, score_reference_maps
from tests.bench.quality.nights.scoring_others import score_doors, score_load, score_meat
from tests.bench.quality.nights.scoring_probes import score_probes

__all__ = ["kept", "play_kept", "score_folder", "sources_digest"]

HERE = Path(__file__).parent
ADAPTERS = ("engine_adapter.py", "comparing.py", "config_text.py")
"""What decides how a night is played, besides coldside."""
Made = TypeVar("Made")


def sources_digest(*folders: Path) -> str:
    """Give a digest of all Python files below some folders."""
    found = hashlib.sha256()
    for folder in folders:
        for path in sorted(folder.rglob("*.py")):
            found.update(str(path.relative_to(folder)).encode() + path.read_bytes())
    return found.hexdigest()[:12]


def kept(path: Path, make: Callable[[], Made]) -> Made:
    """Take what was made before from a file, or make it and keep it."""
    if path.exists():
        return pickle.loads(path.read_bytes())
    made = make()
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_suffix(f".{os.getpid()}")
    beside.write_bytes(pickle.dumps(made, protocol=5))
    beside.replace(path)
    return made


def _store(what: str, digest: str, folder: Path) -> Path:
    night = hashlib.sha256((folder / "stream.jsonl.gz").read_bytes()).hexdigest()[:12]
    name = f"{folder.parent.name}-{folder.name}-{night}.pickle"
    return Path(tempfile.gettempdir()) / "coldside-quality" / what / digest / name


def play_kept(night: Night) -> PlayedNight:
    """Play a night, or take the play of these very sources."""
    made_by = sources_digest(Path(collector.__path__[0]), Path(adapters.__path__[0]))
    adapter = hashlib.sha256(b"".join((HERE / name).read_bytes() for name in ADAPTERS)).hexdigest()[:6]
    return kept(_store("plays", made_by + adapter, night.folder), lambda: play_night(night))


def score_references(night: Night) -> Samples:
    """Score the reference detectors and the reference map on a night."""
    readings: Gridded = grid_readings(night)
    maps = score_reference_maps(night, readings)
    return (
        score_cold(night, readings.t, cold_alarms(night, readings))
        | score_drift(night, drift_alarms(readings))
        | maps["physical"]
    )


def score_folder(folder: Path, *, references_only: bool = False) -> NightScore:
    """Play and score one night; with `references_only` only what needs no play of coldside."""
    night = read_night(folder)
    reference = kept(_store("references", sources_digest(HERE), folder), lambda: score_references(night))
    name = f"{folder.parent.name}/{folder.name}"
    if references_only:
        return NightScore(name, {}, reference)
    played = play_kept(night)
    t = np.arange(30.0, night.seconds + 1.0, 30.0)
    coldside = (
        score_cold(night, t, cold_states(night, played, t), played.watched, played.t)
        | score_drift(night, drift_states(night, played))
        | {"drift_turned": [turned_round(played)]}
        | score_map(night, played)
        | score_probes(night, played)
        | score_doors(night, played)
        | score_load(night, played)
        | score_meat(night, played)
    )
    return NightScore(
        name,
        coldside,
        reference,
        played.cpu_seconds,
        tuple(explain(night, played)),
        played.cook,
        true_far_deficit(night),
    )
