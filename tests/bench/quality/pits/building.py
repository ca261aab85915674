"""Nights of our own generators, in the format of `nights.night_files`, kept under the temporary folder."""

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

import adapters.rehearsal
from tests.bench.quality.nights.night_files import NEEDED, write_night
from tests.bench.quality.pits import rehearsed
from tests.bench.quality.pits.brisket_cook import cook_brisket
from tests.bench.quality.pits.drifting import Drifting
from tests.bench.quality.pits.labels import cold_labels, drift_labels
from tests.bench.quality.pits.layers import Layers
from tests.bench.quality.pits.network import Network
from tests.bench.quality.pits.placing import Place, draw_places
from tests.bench.quality.pits.sending import draw_faults, send
from tests.bench.quality.pits.story import DT, HOURS, KINDS, Door, Story, draw_story

__all__ = ["GENERATORS", "REHEARSAL", "ZONES", "build_night", "night_tasks"]

Array = NDArray[np.float64]
ZONES = ("fire_front", "fire_back", "mid_front", "mid_back", "stack_front", "stack_back")
CELLS = (12, 6)
SOURCES = (Path(__file__).parent, Path(__file__).parents[1] / "meat", Path(adapters.rehearsal.__path__[0]))
"""What decides how a night comes out."""
START_UNIX = 1_730_000_000
MEAT_ON = -3600.0
FULL_EACH = {
    "quiet": 14,
    "cold": 20,
    "fire-dies": 24,
    "runaway": 24,
    "wind-rain": 14,
    "doors": 12,
    "faulty": 22,
    "change": 40,
}
"""Nights of a full run; of `change`, pairs of nights."""
REHEARSED_EACH = 20
NO_CHANGE = 0.3
"""Share of the pairs between which nothing was changed."""


class Pit(Protocol):
    """What every generator gives."""

    name: str
    length_m: float
    width_m: float
    grate_z_m: float

    def __init__(self, random: Generator) -> None: ...

    def describe(self) -> dict[str, Any]:
        """What its owner can see of it."""

    def run(self, story: Story, places: Array, random: Generator) -> tuple[Array, Array, list[dict[str, Any]]]:
        """Simulate a night: °C at places (steps, n) and in the flue (steps,), and the causes of fire events."""


REHEARSAL = "rehearsal"
"""The project's own drawn nights, on which the product was tuned."""
GENERATORS: dict[str, type[Pit]] = {"layers": Layers, "network": Network, "drifting": Drifting}


def store() -> Path:
    """The folder for nights of these very sources."""
    from tests.bench.quality.nights.scored import sources_digest

    return Path(tempfile.gettempdir()) / "coldside-quality" / "pits" / sources_digest(*SOURCES)


def night_tasks(generator: str, each: int | None, kinds: Sequence[str] = ()) -> list[tuple[str, str, str]]:
    """List generator, kind and number of the nights of a run.

    Args:
        generator: its name.
        each: nights of each kind (pairs of `change`); None: a full run.
        kinds: only these; all where empty.

    Raises:
        ValueError: there is no such generator or kind.
    """
    if generator not in (*GENERATORS, REHEARSAL):
        raise ValueError(f"no generator {generator}; there are {', '.join(GENERATORS)} and {REHEARSAL}")
    known = rehearsed.KINDS if generator == REHEARSAL else KINDS
    if unknown := set(kinds) - set(known):
        raise ValueError(f"no kind {min(unknown)} of {generator}; there are {', '.join(known)}")
    tasks = []
    for kind in kinds or known:
        for seed in range(FULL_EACH.get(kind, REHEARSED_EACH) if each is None else each):
            tasks += [(generator, kind, f"{seed:03d}{part}") for part in (("A", "B") if kind == "change" else ("",))]
    return tasks


def build_night(generator: str, kind: str, number: str) -> Path:
    """Simulate and write a night, unless it is there; give its folder."""
    folder = store() / generator / kind / number
    if all((folder / name).exists() for name in NEEDED):
        return folder
    seed, part = int(number[:3]), number[3:]
    if generator == REHEARSAL:
        rehearsed.build_rehearsed(folder, kind, seed, ZONES)
        return folder
    line = [list(GENERATORS).index(generator), KINDS.index(kind), seed]
    pit_random, night_random = np.random.default_rng([1, *line]), np.random.default_rng([2, *line, ord(part or "A")])
    pit = GENERATORS[generator](pit_random)
    changed = 0.0 if pit_random.uniform() < NO_CHANGE else float(pit_random.uniform(0.3, 1.0))
    story = draw_story(kind, night_random, changed if part == "B" else 0.0)
    places = draw_places(pit_random, pit.length_m, pit.width_m, pit.grate_z_m)
    _write(folder, pit, story, places, night_random, changed)
    return folder


def grid_of(pit: Pit) -> Array:
    """Middles of the cells at the height of the grate, shape (72, 3)."""
    columns, rows = CELLS
    x, y = np.meshgrid(
        (np.arange(columns) + 0.5) / columns * pit.length_m,
        ((np.arange(rows) + 0.5) / rows - 0.5) * pit.width_m,
        indexing="ij",
    )
    return np.column_stack([x.ravel(), y.ravel(), np.full(x.size, pit.grate_z_m)])


def zone_of(places: Array, pit: Pit) -> NDArray[np.int64]:
    """The zone of each place: thirds along the chamber, front (the door's side, y < 0) and back."""
    third = np.clip((3.0 * places[:, 0] / pit.length_m).astype(int), 0, 2)
    return 2 * third + (places[:, 1] >= 0)


def _write(folder: Path, pit: Pit, story: Story, places: Sequence[Place], random: Generator, changed: float) -> None:
    end, grid = HOURS * 3600.0, grid_of(pit)
    sited = [p for p in places if p.real is not None]
    meat_at = np.array(
        [[0.45 * pit.length_m, 0.0, pit.grate_z_m + 0.04], [0.62 * pit.length_m, 0.0, pit.grate_z_m + 0.04]]
    )
    wanted = np.concatenate([grid, np.array([p.real for p in sited]), meat_at])
    # the pitmaster opens the door to wrap and to take the meat off, so the meat is cooked before the chamber is known
    wrap_door = _planned_wrap(story, random)
    celsius, flue, causes = pit.run(story, wanted, random)
    cells, at_sites, at_meat = np.split(celsius, [len(grid), len(grid) + len(sited)], axis=1)
    tips, reaches, wrapped = cook_brisket(pit.name, random, at_meat, story, MEAT_ON, wrap_door)
    series = dict(zip((p.name for p in sited), at_sites.T, strict=True))
    series |= {"flue": flue, "ambient": story.ambient, "point": tips[:, 0], "flat": tips[:, 1]}
    during = story.t >= 0.0
    minutes = int(end // 60)
    per = round(60.0 / DT)

    def each_minute(x: Array) -> Array:
        return x[during][: minutes * per].reshape(minutes, per, -1).mean(1) * 1.8 + 32.0

    t = np.arange(minutes) * 60.0 + 30.0
    true_grid, zone = each_minute(cells), zone_of(grid, pit)
    zones = np.stack([true_grid[:, zone == j].mean(1) for j in range(len(ZONES))], 1)
    doors = sorted((door.start, door.end, door.reason) for door in story.doors)
    openings = [(start, close) for start, close, _ in doors]
    causes = [cause for cause in causes if 0.0 <= cause["start"] < end]
    faults = draw_faults(story.kind, random, places, end)
    labels = {
        "kind": story.kind,
        "cold": cold_labels(t, zones, ZONES, openings),
        "drift": drift_labels(t, zones, openings, causes),
        "causes": causes,
        "lid": [list(door) for door in doors],
        "faults": [fault.label() for fault in faults],
        "events": [{"kind": "leak", "start": k.start, "end": k.end} for k in story.leaks]
        + [{"kind": "rain", "start": start, "end": stop} for start, stop in story.spells],
        "meat_reaches_s": reaches,
        "done_s": {"wrap": wrapped},
        "change": changed,
    }
    truth = {
        "t": t,
        "zones": zones,
        "grid": true_grid,
        "grid_xyz": grid,
        "sites": each_minute(at_sites),
        "site_ids": np.array([p.name for p in sited]),
    }
    probes = {
        "start_epoch": START_UNIX,
        "target_F": round(story.target_celsius * 1.8 + 32.0, 1),
        "hours": HOURS,
        "meat_on_s": MEAT_ON,
        "zones": list(ZONES),
        "chamber": {"length_m": pit.length_m, "diameter_m": pit.width_m, "grate_z_m": pit.grate_z_m} | pit.describe(),
        "probes": [_known_of(place, pit) for place in places],
    }
    heard = np.stack([series[place.name] for place in places], 1)
    lines = send(places, heard, faults, random, START_UNIX, end)
    compact = {name: x if x.dtype.kind == "U" else x.astype("f4") for name, x in truth.items()}
    write_night(folder, probes, labels, compact, lines)


def _planned_wrap(story: Story, random: Generator) -> float | None:
    """Plan when the brisket is wrapped, and open the door for it; None: it is not."""
    if random.uniform() < 0.35:
        return None
    at = float(random.uniform(4.0, 8.0) * 3600.0)
    story.doors.append(Door(at, at + float(random.uniform(60.0, 150.0)), "wrap", 1.0))
    return at


def _known_of(place: Place, pit: Pit) -> dict[str, Any]:
    """What the owner of a probe knows of it."""
    zone = place.kind
    if place.kind == "grate" and place.nominal is not None:
        zone = ZONES[int(zone_of(np.array([place.nominal]), pit)[0])]
    return {
        "id": place.name,
        "kind": place.kind,
        "transport": place.transport,
        "unit": place.unit,
        "period_s": place.period,
        "quantum": place.quantum,
        "position": None if place.nominal is None else list(place.nominal),
        "zone": zone,
    }
