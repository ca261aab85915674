"""Floors are read strictly, hold figures to one side, and are set by the goal or by the bound of a figure."""

import math

import msgspec
import pytest
from msgspec.structs import replace

from adapters.rehearsal.night import Night
from tests.bench.quality.fixed import KEPT, NIGHTS, PROBES
from tests.bench.quality.floors import FILE, Floor, FloorError, as_toml, compare, load, proposed
from tests.bench.quality.pairs.judge import COOKS, PairScore
from tests.bench.quality.pairs.pair import SIZES
from tests.bench.quality.table import Goal

FLOOR = Floor(figure="false a night", side="most", value=0.5, tightest=0.5, goal=0.5, last=0.1, bound="goal")
LEAST = replace(FLOOR, figure="found, %", side="least", value=95.0, tightest=95.0, goal=95.0, last=97.0)


def test_floors_are_read_as_they_were_written():
    assert load(as_toml([FLOOR, LEAST])) == {("false a night", "most"): FLOOR, ("found, %", "least"): LEAST}


@pytest.mark.parametrize("field", ["figure", "side", "value", "tightest", "goal", "last", "bound"])
def test_a_floor_without_one_of_its_fields_is_refused(field):
    text = "\n".join(line for line in as_toml([FLOOR]).splitlines() if not line.startswith(f"{field} ="))
    with pytest.raises(FloorError, match=f"floors.toml: .*{field}"):
        load(text)


@pytest.mark.parametrize(
    "floor", [replace(FLOOR, value=0.7, bound="bootstrap"), replace(LEAST, value=90.0, bound="Wilson")]
)
def test_a_floor_is_lowered_with_a_reason_only(floor):
    with pytest.raises(FloorError, match=f"{floor.figure} .*a floor is lowered with a `reason`"):
        load(as_toml([floor]))
    with pytest.raises(FloorError, match="reason"):
        load(as_toml([floor]) + 'reason = " "\n')
    assert load(as_toml([floor]) + 'reason = "the nights are longer"\n')


@pytest.mark.parametrize("floor", [replace(FLOOR, value=0.3, tightest=0.3), replace(LEAST, value=99.0, tightest=99.0)])
def test_a_floor_is_raised_for_nothing(floor):
    assert load(as_toml([floor]))


@pytest.mark.parametrize(
    ("floor", "why"),
    [
        (replace(FLOOR, value=0.3), "tighter than its `tightest`"),
        (replace(FLOOR, value=0.7, tightest=0.7), "looser than its goal"),
    ],
)
def test_a_floor_that_contradicts_itself_is_refused(floor, why):
    with pytest.raises(FloorError, match=why):
        load(as_toml([floor]))


def test_a_floor_that_is_there_twice_is_refused():
    with pytest.raises(FloorError, match="there twice"):
        load(as_toml([FLOOR, FLOOR]))


def goal(what, value):
    limit = {"false a night": (-math.inf, 0.5), "found, %": (95.0, math.inf)}[what]
    return Goal(what, value, *limit)


@pytest.mark.parametrize(
    ("false", "found", "held"),
    [
        (0.5, 95.0, [True, True]), (0.51, 95.0, [False, True]), (0.5, 94.9, [True, False]), (0.0, 100.0, [True, True]),
        (math.nan, 95.0, [False, True]),
    ],
)  # fmt: skip
def test_a_figure_on_the_wrong_side_of_its_floor_fails(false, found, held):
    figures = {"false a night": goal("false a night", false), "found, %": goal("found, %", found)}
    lines, good = compare(load(as_toml([FLOOR, LEAST])), figures)
    assert [line.startswith("holds") for line in lines] == held
    assert good is all(held)
    assert "margin" in lines[0]
    assert f"{false:.2f}" in lines[0]
    assert "0.50" in lines[0]


def test_a_figure_without_a_floor_and_a_floor_without_a_figure_fail():
    assert not compare(load(as_toml([FLOOR])), {})[1]
    lines, good = compare({}, {"false a night": goal("false a night", 0.0)})
    assert not good
    assert "no floor" in lines[0]


def pairs(covered):
    """Make pairs of every size, the given number of twenty covered, all of them wide enough to claim nothing."""
    return [
        (("pairs", "fields", seed), [
            PairScore("fields", "coldside", size, cooks, 0.0, 4.0 + 0.1 * seed, seed < covered, False)
            for size in SIZES for cooks in COOKS
        ])
        for seed in range(20)
    ]  # fmt: skip


def test_a_floor_stands_at_the_goal_or_at_the_bound_of_the_figure():
    """Eighteen of twenty, 90 %: Wilson's 95 % interval is 69.9 to 97.2 % (Wilson 1927; worked out by hand).

    The mean width of 4.0, 4.1 ... 5.9 K is 4.95 K; its standard error 0.13 K, so the bootstrap's bound is near 5.2 K.
    """
    floors = {(f.figure.partition(": ")[2], f.side): f for f in proposed(pairs(18))}
    covers = floors["1 a side, 0.0 K: covers, %", "least"]
    assert (covers.bound, covers.goal, covers.last) == ("Wilson", 92.0, 90.0)
    assert covers.value == covers.tightest == pytest.approx(69.9, abs=0.05)
    assert floors["1 a side, 0.0 K: covers, %", "most"].bound == "goal"
    width = floors["3 a side: mean width, K", "most"]
    assert (width.bound, width.last) == ("bootstrap", pytest.approx(4.95))
    assert width.value == pytest.approx(5.2, abs=0.06)
    assert floors["1 a side: mean width, K", "most"].value == floors["1 a side: mean width, K", "most"].goal == 5.0
    assert load(as_toml(list(floors.values())))


def test_the_floors_that_are_kept_can_be_read():
    floors = load(FILE.read_text(encoding="utf-8"))
    groups = {figure.partition(":")[0] for figure, _ in floors}
    assert {"Cold spots", "Drift", "Lying probes", "Maps against the true grid"} <= groups
    assert any("Arrival" in group for group in groups)
    assert any("before and after" in group for group in groups)


def test_the_nights_that_are_kept_are_those_of_the_list():
    kept = msgspec.msgpack.decode(KEPT.read_bytes(), type=dict[str, Night])
    assert set(kept) == {f"{kind}:{seed}" for kind, seed in NIGHTS}
    for night in kept.values():
        assert sum(p.duty == "chamber" and p.level == "grate" for p in night.probes) == PROBES
    assert all(3600.0 * hours < kept[f"{kind}:{seed}"].duration_seconds for (kind, seed), hours in NIGHTS.items())
