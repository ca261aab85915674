"""Cost against probes of one pit: what a reading and a look at the pit take in the engine, screening included."""

import time
import tracemalloc

import numpy as np

from adapters.reading import Reading
from collector.engine import Engine
from collector.model.plan import Plan, Probe, Zone
from collector.pipeline import Pipeline
from collector.snapshot import ChamberView
from tests.bench.growth.curve import Curve
from tests.bench.measure import Effort

__all__ = ["measure", "pit_of"]

COUNTS = (8, 16, 64, 200, 500, 1000, 2000)
LOOK_SECONDS = 5
START = 1_790_000_000.0


def pit_of(count: int) -> Plan:
    """Set up a pit with so many probes on its grate."""
    random = np.random.default_rng(count)
    probes = tuple(
        Probe(f"p{k}", "house", f"p{k}", "chamber", "grate", *random.uniform((0.02, 0.02), (1.18, 0.48)).tolist())
        for k in range(count)
    )
    zones = tuple(Zone(name, "grate", 0.4 * k, 0.4 * k + 0.4, 0.0, 0.5) for k, name in enumerate("abc"))
    return Plan(ChamberView("bench", "cylinder", 1.2, 0.5, ("grate",)), probes, zones, 113.0, 99.0, 127.0)


def measure(effort: Effort) -> Curve:
    """Feed each pit a reading a probe and look; hot and settled, so that all that is done at all is done."""
    a_reading, a_look, both, memory = [], [], [], []
    counts = COUNTS if not effort.quick else COUNTS[:3]
    for count in counts:
        looks = max(24, min(240, 60_000 // count))
        reading, look = _costs(pit_of(count), looks)
        a_reading.append(1e6 * reading)
        a_look.append(1e3 * look)
        both.append(1e3 * (reading * count + look))
        memory.append(_megabytes(pit_of(count)))
    return Curve(
        "One pit, more probes: CPU time of the engine, a reading a probe every five seconds",
        "probes",
        counts,
        (
            ("a reading", "us", tuple(a_reading)),
            ("a look at the pit", "ms", tuple(a_look)),
            ("both, every five seconds", "ms", tuple(both)),
            ("the engine, ten minutes on", "MB", tuple(memory)),
        ),
        "A reading is screened when it comes, whatever the number; every five seconds the pit is looked at as a whole. "
        f"A thousand probes more take {1000 * (memory[-1] - memory[-2]) / (counts[-1] - counts[-2]):.1f} MB.",
    )


def _megabytes(plan: Plan) -> float:
    """Give what an engine holds, in MB: its rings are made whole at once, so ten minutes show it."""
    tracemalloc.start()
    try:
        engine = Engine(plan, "bench", START)
        for k in range(0, 600, LOOK_SECONDS):
            for probe in plan.probes:
                engine.take(Reading(probe.source, probe.key, 112.0 + 0.1 * (k % 7), START + k), START + k)
        return tracemalloc.get_traced_memory()[0] / 1e6
    finally:
        tracemalloc.stop()


def _costs(plan: Plan, looks: int) -> tuple[float, float]:
    """Give CPU seconds a reading and a look."""
    engine = Engine(plan, "bench", START)
    pipeline = Pipeline(engine, {})
    random = np.random.default_rng(1)
    names = [(p.source, p.key) for p in plan.probes]
    taking = looking = 0.0
    warm = looks // 3
    for k in range(looks):
        at = START + LOOK_SECONDS * k
        values = (112.0 + 3.0 * np.sin(k / 60.0) + random.normal(0.0, 0.2, len(names))).round(1).tolist()
        began = time.process_time()
        pipeline.advance(at)
        middle = time.process_time()
        for (source, key), value in zip(names, values, strict=True):
            pipeline.take(Reading(source, key, value, at + 0.001))
        ended = time.process_time()
        if k >= warm:
            looking += middle - began
            taking += ended - middle
        pipeline.cut()
    return taking / (looks - warm) / len(names), looking / (looks - warm)
