"""Write the sample nights: `python -m adapters.rehearsal.write sample_streams`. The same seeds, the same bytes."""

import json
import lzma
import sys
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from adapters.decode.senml import encode_record
from adapters.rehearsal.night import Night
from adapters.rehearsal.nights import NIGHTS, SampleNight
from adapters.rehearsal.rehearsal import Sent, simulate
from adapters.rehearsal.truth import COLD_KELVIN, truth_of

__all__ = ["lines", "page", "write"]


def lines(night: Night, sent: Iterable[Sent]) -> Iterator[bytes]:
    """Yield the SensML stream of a night, line by line: base time and unit in the first record only."""
    opening = b"["
    for value in sent:
        if opening == b"[":
            first = encode_record(value.key, value.celsius, value.seconds, base_unix=night.start_unix, base_unit="Cel")
            yield opening + first
        else:
            yield opening + encode_record(value.key, value.celsius, value.seconds)
        opening = b",\n"
    yield b"[]\n" if opening == b"[" else b"]\n"


def _clock(night: Night, seconds: float) -> str:
    moment = datetime.fromtimestamp(night.start_unix + seconds, UTC)
    return f"| {moment:%H:%M:%S} | {seconds:.0f} |"


def page(sample: SampleNight, truth: dict[str, Any]) -> str:
    """Return the page beside a recording: what truly happens, and when."""
    night = sample.night
    happenings: list[tuple[float, str]] = [
        (0.0, "the fire is lit, the chamber is cold"),
        (truth["warm"], "grate mean at 104 °C for the first time"),
        (truth["steady"], "steady from here"),
    ]
    happenings += list(sample.events)
    happenings += [(lid.start, f"door open for {lid.seconds:.0f} s: {lid.why}") for lid in night.lids]
    for zone, cold in truth["cold_spots"].items():
        what = (
            f"**true onset of the cold spot, {zone}**: {COLD_KELVIN} K below the grate mean, for 20 min on end"
            f" (median from here {cold['median_deficit_kelvin']} K, greatest {cold['greatest_deficit_kelvin']} K)"
        )
        happenings.append((cold["onset"], what))
    for kelvin, seconds in truth["faded_by_kelvin"].items():
        happenings.append((seconds, f"the grate (mean of 5 min) has lost {kelvin} K of its steady level"))
    start = datetime.fromtimestamp(night.start_unix, UTC)
    deficits = ", ".join(f"{name} {value:+.1f}" for name, value in truth["zone_deficit_kelvin"].items())
    excess = ", ".join(f"{name} {value:+.1f}" for name, value in truth["lid_excess_kelvin"].items())
    intervals = [
        later - earlier for (earlier, _), (later, _) in zip(truth["splits"], truth["splits"][1:], strict=False)
    ]
    rows = "\n".join(f"{_clock(night, at)} {what} |" for at, what in sorted(happenings))
    return f"""# {sample.title}

`{night.name}.sensml.xz`: made by the rehearsal pit from seed {night.seed}, not recorded at a real pit.
Starts {start:%Y-%m-%d %H:%M} UTC, {night.duration_seconds / 3600:.0f} h, {len(night.probes)} probes (`pit.toml`).

{sample.story}

| clock (UTC) | seconds from the start | what truly happens |
|---|---|---|
{rows}

Steady level of the true grate mean: {truth["steady_level_celsius"]} °C. Mean of each zone below the grate's mean
while calm (kelvin, minus is hotter): {deficits}. Under the lid against the grate's mean (kelvin): {excess}.
{len(truth["splits"])} splits, a median of {sorted(intervals)[len(intervals) // 2] / 60:.0f} min apart.
Definitions and the same numbers for machines: `truth.json`. Each probe is off by up to 1.2 K (sd 0.5 K) all
night, noisy by 0.1-0.4 K and late by 9-40 s, so a reading is not the truth.
"""


def write(folder: Path) -> None:
    """Write every night, its page and `truth.json` into `folder`."""
    truths: dict[str, Any] = {}
    for sample in NIGHTS:
        simulation = simulate(sample.night)
        packed = lzma.compress(b"".join(lines(sample.night, simulation.sent)), preset=9)
        (folder / f"{sample.night.name}.sensml.xz").write_bytes(packed)
        truths[sample.night.name] = truth_of(sample, simulation)
        (folder / f"{sample.night.name}.md").write_text(page(sample, truths[sample.night.name]), "utf-8")
    (folder / "truth.json").write_text(json.dumps(truths, indent=1, ensure_ascii=False) + "\n", "utf-8")


if __name__ == "__main__":
    write(Path(sys.argv[1]))
