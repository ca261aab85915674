"""Our own pits against published physics, and that each night can be drawn again."""

import gzip
import json
from pathlib import Path

import numpy as np
import pytest

from tests.bench.quality.nights.night_files import read_night, read_stream
from tests.bench.quality.pits import building, story
from tests.bench.quality.pits.drifting import FanFire
from tests.bench.quality.pits.layers import COAL_SHARE, WOOD_JOULE, draft_kg_per_s, split_watts
from tests.bench.quality.pits.network import JOULE_PER_KG, Charcoal, Network
from tests.bench.quality.pits.placing import draw_places
from tests.bench.quality.pits.sending import Fault, send
from tests.bench.quality.pits.story import DT, SPIN_UP, draw_story


def test_the_stack_draws_what_its_height_and_heat_give() -> None:
    # stack effect, ASHRAE Handbook of Fundamentals: dp = 353 g H (1/T_cold - 1/T_hot) Pa; here 3 m, 20 and 120 °C
    pascal = 353.0 * 9.81 * 3.0 * (1.0 / 293.15 - 1.0 / 393.15)
    hot_density = 353.0 / 393.15
    expected = 0.65 * 0.01 * np.sqrt(2.0 * pascal * hot_density)  # Bernoulli, discharge 0.65
    assert draft_kg_per_s(3.0, 0.01, 120.0, 20.0) == pytest.approx(expected, rel=0.01)
    assert draft_kg_per_s(3.0, 0.01, 10.0, 20.0) == 0.0


def test_a_split_gives_off_the_heat_that_it_holds() -> None:
    seconds = np.arange(0.0, 20_000.0, 5.0)
    joule = float(split_watts(1.2, 600.0, seconds).sum() * 5.0)
    assert joule == pytest.approx(1.2 * (1.0 - COAL_SHARE) * WOOD_JOULE, rel=0.01)


def test_charcoal_gives_off_the_heat_that_it_holds_and_no_more_than_its_air_allows() -> None:
    bed = Charcoal(1.0, 1.5e-3, 3e-4, 0.0)
    watts = [bed.step(0.004, 10.0) for _ in range(20_000)]
    burnt = 1.0 - bed.unlit - bed.lit
    assert sum(watts) * 10.0 == pytest.approx(burnt * JOULE_PER_KG, rel=1e-6)
    assert burnt > 0.95
    # a kilogram of carbon takes 11.5 kg of air: C + O2, 32/12 kg of oxygen, 23.2 % of air by mass
    most = 0.004 / (32.0 / 12.0 / 0.232) * JOULE_PER_KG
    eager = Charcoal(5.0, 1.5e-3, 3e-2, 0.0)
    eager.add_lit(5.0, 0.0)
    assert 0.5 * most < eager.step(0.004, 10.0) <= most


def test_the_air_of_the_nodes_lies_between_what_heats_and_what_cools_it() -> None:
    pit = Network(np.random.default_rng(3))
    index, film = np.arange(24).reshape(6, 4), np.full((6, 4), 0.5)
    joints = pit._joints(index, film)
    even = pit._balance(
        joints,
        index,
        np.full(4, 5.0),
        90.0,
        film,
        np.full((6, 4), 90.0),
        np.full((6, 2), 90.0),
        np.zeros((6, 4)),
        90.0,
        90.0,
    )
    assert even == pytest.approx(90.0)  # all of one temperature: nothing flows
    mixed = pit._balance(
        joints,
        index,
        np.full(4, 5.0),
        200.0,
        film,
        np.full((6, 4), 90.0),
        np.full((6, 2), 90.0),
        np.full((6, 4), 0.1),
        10.0,
        30.0,
    )
    assert mixed.min() > 10.0
    assert mixed.max() < 200.0


def test_the_fan_holds_the_level_and_stands_full_where_it_cannot() -> None:
    # Skogestad's tuning has no steady error, and its response to a step in what is wanted overshoots by little
    fire, level, seen = FanFire(150.0, 1200.0, 120.0, 2.0), 80.0, []
    for _ in range(3000):
        level = fire.step(level, 95.0, 1.0, 0.1)
        seen.append(level)
    assert level == pytest.approx(95.0, abs=0.5)
    assert max(seen) < 95.0 + 0.25 * 15.0
    for _ in range(3000):
        level = fire.step(level, 95.0, 0.3, 0.1)
    assert fire.blows == 1.0
    assert level == pytest.approx(150.0 * 0.3 * 1.1, abs=0.5)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("pits")


@pytest.fixture(autouse=True)
def short_nights(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (building, story):
        monkeypatch.setattr(module, "HOURS", 4.0)


@pytest.mark.parametrize("generator", list(building.GENERATORS))
def test_a_night_is_whole_and_can_be_drawn_again(generator: str, store: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(building, "store", lambda: store / "first")
    first = building.build_night(generator, "faulty", "003")
    monkeypatch.setattr(building, "store", lambda: store / "again")
    again = building.build_night(generator, "faulty", "003")
    for name in ("probes.json", "labels.json"):
        assert (first / name).read_bytes() == (again / name).read_bytes()
    streams = [gzip.decompress((folder / "stream.jsonl.gz").read_bytes()) for folder in (first, again)]
    assert streams[0] == streams[1]

    night = read_night(first)
    grid, zones = night.truth["grid"], night.truth["zones"]
    assert np.isfinite(grid).all()
    assert zones.mean(1) == pytest.approx(grid.mean(1), abs=0.1)  # zones of as many cells each
    third = np.minimum((3 * night.truth["grid_xyz"][:, 0] / night.probes["chamber"]["length_m"]).astype(int), 2)
    far_back = (third == 2) & (night.truth["grid_xyz"][:, 1] >= 0)
    assert zones[:, night.zones.index("stack_back")] == pytest.approx(grid[:, far_back].mean(1), abs=0.1)
    arrived = [reading["rx"] for reading in read_stream(first)]
    assert arrived == sorted(arrived)
    assert sum(fault["type"] == "decal" for fault in night.labels["faults"]) >= 1


def test_pairs_share_the_pit_and_its_probes(store: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(building, "store", lambda: store / "pairs")
    before, after = (read_night(building.build_night("drifting", "change", f"001{part}")) for part in "AB")
    assert before.probes["chamber"] == after.probes["chamber"]
    assert before.probes["probes"] == after.probes["probes"]
    assert before.labels["lid"] != after.labels["lid"]


def test_probes_say_what_their_faults_make_of_the_truth() -> None:
    random = np.random.default_rng(5)
    places = [p for p in draw_places(random, 1.5, 0.5, 0.25) if p.kind == "grate"][:4]
    end = 7200.0
    celsius = np.full((int((end + SPIN_UP) / DT), 4), 110.0)
    faults = [
        Fault("open", places[0].name, 3600.0, end, 999.9),
        Fault("decal", places[1].name, 0.0, end, 10.0),
        Fault("silent", places[2].name, 3600.0, end, None),
        Fault("clock", places[3].transport, 0.0, end, 3600.0),
    ]
    heard: dict[str, list[dict[str, float]]] = {}
    for line in send(places, celsius, faults, random, 1000, end):
        reading = json.loads(line)
        heard.setdefault(reading["id"], []).append(reading)
    last = {name: readings[-1] for name, readings in heard.items()}
    assert last[places[0].name]["value"] == 999.9
    shown = last[places[1].name]
    fahrenheit = shown["value"] if shown["unit"] == "F" else shown["value"] * 1.8 + 32.0
    assert fahrenheit == pytest.approx(230.0 + 20.0, abs=9.0)  # two hours at 10 °F/h; the rest is offset and noise
    assert last[places[2].name]["rx"] < 1000 + 3600.0 + 300.0
    assert last[places[3].name]["t"] > last[places[3].name]["rx"] + 3000.0


def test_a_story_opens_the_door_and_the_leaks_when_it_says() -> None:
    night = draw_story("cold", np.random.default_rng(1), 0.0)
    opening, sizes = night.open_share(), night.leak_sizes()
    door = night.doors[0]
    assert opening[np.searchsorted(night.t, door.start + 15.0)] == pytest.approx(door.share)
    assert not opening[night.t < night.doors[0].start - DT].any()
    assert len(sizes) == len(night.leaks) >= 3
    leak = night.leaks[0]
    assert sizes[0, np.searchsorted(night.t, leak.start) - 1] == 0.0
    assert sizes[0].max() <= leak.size
