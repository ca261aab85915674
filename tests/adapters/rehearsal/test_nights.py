"""The sample nights: packaged files are what the seeds give, and each holds what its page promises."""

import json
import lzma
import tomllib
from pathlib import Path

import pytest
from msgspec.structs import replace

import sample_streams
from adapters.recording import readings
from adapters.rehearsal.layout import PROBES, ZONES
from adapters.rehearsal.nights import NIGHTS
from adapters.rehearsal.rehearsal import simulate
from adapters.rehearsal.write import lines

FOLDER = Path(sample_streams.__file__).parent
TRUTH = json.loads((FOLDER / "truth.json").read_text("utf-8"))
BY_NAME = {sample.night.name: sample for sample in NIGHTS}


@pytest.mark.parametrize("name", BY_NAME)
def test_the_seed_gives_the_packaged_recording(name):
    night = BY_NAME[name].night
    sent = simulate(night, 2400.0).sent
    fresh = b"".join(lines(night, sent)).removesuffix(b"]\n")
    assert len(sent) > 7_000
    with lzma.open(FOLDER / f"{name}.sensml.xz") as packed:
        assert packed.read(len(fresh)) == fresh


def test_the_same_seed_gives_the_same_night_and_another_another():
    night = BY_NAME["windy"].night
    assert simulate(night, 1200.0).sent == simulate(night, 1200.0).sent
    assert simulate(replace(night, seed=1), 1200.0).sent != simulate(night, 1200.0).sent


@pytest.mark.parametrize("name", BY_NAME)
def test_a_packaged_recording_plays(name):
    night = BY_NAME[name].night
    found = list(readings(FOLDER / f"{name}.sensml.xz", "night"))
    assert {reading.key for reading in found} == {probe.key for probe in PROBES}
    assert found[0].received_unix == pytest.approx(night.start_unix, abs=5.0)
    assert found[-1].received_unix - night.start_unix == pytest.approx(night.duration_seconds, abs=5.0)
    assert (FOLDER / f"{name}.md").read_text("utf-8").startswith("# ")


def test_all_nights_are_packaged_and_small():
    assert {path.name.removesuffix(".sensml.xz") for path in FOLDER.glob("*.xz")} == set(BY_NAME) == set(TRUTH)
    assert sum(path.stat().st_size for path in FOLDER.iterdir() if path.is_file()) < 3_500_000


@pytest.mark.parametrize(
    ("name", "cold"),
    [
        ("quiet-night", set()),
        ("flat-side-cold", {"flat side"}),
        ("fire-fades", set()),
        ("windy", set()),
        ("faulty-probes", set()),
        ("stack-before", {"stack end"}),
        ("stack-after", set()),
    ],
)
def test_only_the_zones_meant_to_are_cold(name, cold):
    assert set(TRUTH[name]["cold_spots"]) == cold


def test_the_flat_side_stays_cold_and_its_onset_follows_the_leak():
    spot = TRUTH["flat-side-cold"]["cold_spots"]["flat side"]
    leak = BY_NAME["flat-side-cold"].night.leaks[0]
    assert leak.start < spot["onset"] < leak.start + leak.grow_seconds
    assert 9.0 <= spot["median_deficit_kelvin"] <= 12.0


def test_the_fire_fades_step_by_step_after_it_was_left():
    (left, _) = BY_NAME["fire-fades"].night.unattended[0]
    at = TRUTH["fire-fades"]["faded_by_kelvin"]
    assert left < at["2"] < at["5"] < at["10"] < at["15"]
    assert all(not TRUTH[name]["faded_by_kelvin"] for name in BY_NAME if name != "fire-fades")


def test_lowering_the_stack_evens_the_chamber():
    before, after = TRUTH["stack-before"], TRUTH["stack-after"]
    assert before["zone_deficit_kelvin"]["stack end"] - after["zone_deficit_kelvin"]["stack end"] > 3.0
    ratio = sum(after["lid_excess_kelvin"].values()) / sum(before["lid_excess_kelvin"].values())
    assert 0.35 <= ratio <= 0.65, "common practice, no source: about half"


def test_the_windy_night_has_its_openings():
    openings = BY_NAME["windy"].night.lids
    assert len(openings) >= 12
    assert all(30.0 <= opening.seconds <= 180.0 for opening in openings)


def test_the_layout_file_says_what_the_rehearsal_used():
    layout = tomllib.loads((FOLDER / "pit.toml").read_text("utf-8"))
    assert [probe["key"] for probe in layout["probe"]] == [probe.key for probe in PROBES]
    for said, used in zip(layout["probe"], PROBES, strict=True):
        assert said["duty"] == used.duty
        if used.duty != "ambient":
            assert (said["x"], said["y"]) == (round(used.x_m * 100), round(used.y_m * 100))
            assert said["level"] == used.level
    said_zones = [(zone["name"], zone["level"], *zone["x"], *zone["y"]) for zone in layout["zone"]]
    assert said_zones == [
        (z.name, z.level, *(round(edge * 100) for edge in (z.x0_m, z.x1_m, z.y0_m, z.y1_m))) for z in ZONES
    ]
