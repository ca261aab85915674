"""Drawn nights with their simulation, kept under the temporary folder: drawing one takes as long as judging it."""

import hashlib
import os
import pickle
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

import adapters.rehearsal
from adapters.rehearsal.drawn import NightKind, draw_night
from adapters.rehearsal.night import Night
from adapters.rehearsal.rehearsal import Simulation, simulate

__all__ = ["CELLS", "Recorded", "folder", "record", "recorded"]

CELLS = (24, 8)
"""Columns and rows of the true maps."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """A night, its truth, and what its probes sent as arrays of one length."""

    night: Night
    truth: Simulation
    """Without what was sent."""
    sent_seconds: NDArray[np.float64]
    sent_probe: NDArray[np.int16]
    """Index of the probe in the night."""
    sent_celsius: NDArray[np.float64]


def record(night: Night) -> Recorded:
    """Run a night."""
    run = simulate(night, cells=CELLS)
    index = {probe.key: row for row, probe in enumerate(night.probes)}
    return Recorded(
        night,
        replace(run, sent=()),
        np.array([sent.seconds for sent in run.sent]),
        np.array([index[sent.key] for sent in run.sent], dtype=np.int16),
        np.array([sent.celsius for sent in run.sent]),
    )


def folder() -> Path:
    """Give the folder for nights of these very sources."""
    sources = sorted(Path(adapters.rehearsal.__path__[0]).glob("*.py"))
    made_by = hashlib.sha256(b"".join(path.read_bytes() for path in (*sources, Path(__file__))))
    return Path(tempfile.gettempdir()) / "coldside-quality" / made_by.hexdigest()[:16]


def recorded(kind: NightKind, seed: int, grate_probes: int | None = None) -> Recorded:
    """Draw and run a night, or take it from the folder where it was run before."""
    path = folder() / f"{kind}-{seed}-{grate_probes or 'drawn'}.pickle"
    if path.exists():
        kept = pickle.loads(path.read_bytes())
        assert isinstance(kept, Recorded)
        return kept
    made = record(draw_night(kind, seed, grate_probes))
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_suffix(f".{os.getpid()}")
    beside.write_bytes(pickle.dumps(made, protocol=5))
    beside.replace(path)
    return made
