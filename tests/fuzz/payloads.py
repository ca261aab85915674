"""What devices and brokers send, from its bytes to the record: values, or a `DecodeError`."""

import math
import random
from pathlib import Path

from adapters.errors import DecodeError
from adapters.reading import Quality, Reading
from collector.engine import Engine
from collector.model.plan import DEFAULT_RULES, Plan, Probe
from collector.pipeline import Pipeline
from collector.snapshot import ChamberView
from collector.store.row import reading_of
from tests.adapters.decode.fuzz import decoders
from tests.fuzz.failures import Findings, must
from tests.fuzz.views import canonical

__all__ = ["run"]

START = 1_790_000_000.0
PAYLOADS = 400
PLAN = Plan(
    ChamberView("pit", "box", 1.0, 0.5, ("grate",)),
    tuple(Probe(f"probe {key}", "fuzz", key, "chamber", "grate", 0.1 * k, 0.2)
          for k, key in enumerate(("p", "temperature", "0.0", "0.1", "1.0", "pit/grate"))),
    (), 113.0, 99.0, 127.0, DEFAULT_RULES,
)  # fmt: skip


def run(dice: random.Random, findings: Findings, folder: Path) -> None:
    """Send payloads, and put on record what they say."""
    pipeline, seconds = Pipeline(Engine(PLAN, "fuzz", START), {}), 0.0
    for name, decode in decoders().items():
        for number in range(PAYLOADS):
            findings.step = f"{name} {number}"
            values = []
            with findings.guard(f"decoder {name}"):
                try:
                    values = list(decode(dice))
                except DecodeError:
                    findings.count("refused")
            for value in values:
                seconds += 0.05
                good = value.quality is not Quality.BAD
                with findings.guard(f"a value of {name}"):
                    must(not good or math.isfinite(value.celsius), f"payloads: {name}: good and no number", repr(value))
                    must(not math.isinf(value.celsius), f"payloads: {name}: infinite", repr(value))
                    _take(pipeline, Reading("fuzz", value.key, value.celsius, START + seconds, value.source_unix,
                                            value.unit, value.quality, value.reason))  # fmt: skip
                    findings.count("taken")
    with findings.guard("snapshot"):
        canonical(pipeline.engine.snapshot())


def _take(pipeline: Pipeline, reading: Reading) -> None:
    before = len(pipeline.batch.rows)
    pipeline.take(reading)
    if len(pipeline.batch.rows) == before:  # one key too many
        return
    row = pipeline.batch.rows[-1]
    must(
        all(number is None or -(2**63) <= number < 2**63 for number in row), "payloads: no row for the store", repr(row)
    )
    reading_of(row, reading.source, reading.key)
