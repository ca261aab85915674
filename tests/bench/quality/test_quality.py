"""The quality bench scores by hand-made examples, draws the same night twice, and judges one whole short night."""

import math

import numpy as np
import pytest
from msgspec.structs import replace

from adapters.rehearsal.drawn import NightKind, draw_night
from adapters.rehearsal.layout import PROBES, ZONES
from adapters.rehearsal.night import AirLeak, FaultKind, Night, ProbeFault
from adapters.rehearsal.pit import Bump, Pattern, Pit
from adapters.rehearsal.rehearsal import Rehearsal, simulate
from collector.model.alarm import Transition
from collector.snapshot import AlarmState
from tests.bench.quality import peers
from tests.bench.quality.judged import HERE, score_alarms
from tests.bench.quality.play import play, standing
from tests.bench.quality.recorded import record
from tests.bench.quality.score import (
    Outcome,
    Spell,
    Standing,
    cold_outcome,
    cold_spells,
    false_cold,
    false_drift,
    first_after,
    held,
    longest_run,
    rates,
    runs,
    swing_removed,
)
from tests.bench.quality.show import listed
from tests.bench.quality.table import Goal, alarm_parts, as_text
from tests.bench.quality.truth import truth_of

MINUTES = np.arange(300) * 60.0
NAMES = ["a", "b", "c"]


def deficit(**spans):
    """Deficit of three zones: 1 K but for spans of (first minute, last minute, kelvin) by zone name."""
    values = np.ones((len(MINUTES), 3))
    for name, parts in spans.items():
        for first, last, kelvin in parts:
            values[first:last, NAMES.index(name)] = kelvin
    return values


def test_masked_minutes_take_the_last_value_before():
    values = np.array([1.0, 2.0, 3.0, 4.0])
    assert held(values, np.array([False, True, True, False])).tolist() == [1.0, 1.0, 1.0, 4.0]
    assert held(values, np.array([True, False, True, False])).tolist() == [1.0, 2.0, 2.0, 4.0]


def test_runs_begin_and_end():
    flags = np.array([True, False, True, True, False, True])
    assert runs(flags) == [(0, 1), (2, 4), (5, 6)]
    assert longest_run(flags) == 2
    assert longest_run(flags[:0]) == 0


@pytest.mark.parametrize(("spans", "found"), [
    ([(100, 130, 12.0)], 1),
    ([(100, 119, 12.0)], 0),  # 19 minutes
    ([(100, 200, 10.9)], 0),  # never past 11 K
    ([(20, 60, 12.0)], 0),  # not steady yet
    ([(100, 130, 12.0), (130, 140, 6.0), (140, 170, 12.0)], 1),  # never harmless between
    ([(100, 130, 12.0), (130, 140, 5.0), (140, 170, 12.0)], 2),
])  # fmt: skip
def test_a_cold_spot_is_deep_and_long(spans, found):
    spells = cold_spells(MINUTES, deficit(b=spans), steady=60 * 60.0)
    assert [spell.zone for spell in spells] == [1] * found
    if found:
        assert spells[0].start == 6000.0
        assert spells[0].peak_kelvin == 12.0


@pytest.mark.parametrize(("alarms", "outcome"), [
    ([("cold-spot/b", 6180, 9000)], Outcome("b", 180.0)),
    ([("cold-spot/b", 5400, 9000)], Outcome("b", 0.0)),  # early, and 6 K below by then
    ([("cold-spot/b", 3000, 9000)], Outcome("b", None)),  # early, and nothing was wrong yet
    ([("cold-spot/b", 5400, 5900)], Outcome("b", None)),  # gone before it was cold
    ([("cold-spot/c", 6060, 9000)], Outcome("b", None, 60.0)),
    ([("cold-spot/a", 6060, 9000), ("cold-spot/b", 7000, 9000)], Outcome("b", 1000.0)),
    ([("drift/grate", 6060, 9000)], Outcome("b", None)),
    ([], Outcome("b", None)),
])  # fmt: skip
def test_a_cold_spot_is_told_late_early_by_a_neighbour_or_not(alarms, outcome):
    known = deficit(b=[(80, 100, 6.0), (100, 140, 12.0)])
    stood = [Standing(*alarm) for alarm in alarms]
    assert cold_outcome(Spell(1, 6000.0, 8340.0, 12.0), NAMES, [2], stood, MINUTES, known) == outcome


def test_a_cold_alarm_is_false_where_nothing_was_near():
    known = deficit(b=[(100, 101, 5.7)])[:, 1]
    assert not false_cold(Standing("cold-spot/b", 6000.0 - 1800.0, math.inf), MINUTES, known)
    assert false_cold(Standing("cold-spot/b", 6000.0 - 1861.0, math.inf), MINUTES, known)


def test_the_swing_of_the_fire_is_removed_and_a_fall_is_not():
    wave = 110.0 + 5.0 * np.sin(2.0 * np.pi * MINUTES / 2400.0)
    shut = np.zeros(len(MINUTES), dtype=bool)
    assert np.ptp(swing_removed(wave, shut, 2400.0)[60:-60]) < 0.6
    falling = swing_removed(wave - MINUTES / 360.0, shut, 2400.0)
    assert falling[60] - falling[120] == pytest.approx(10.0, abs=1.5)


def test_a_drift_alarm_is_false_in_a_steady_fire_only():
    level = np.where(MINUTES < 9000.0, 110.0, 104.0)
    assert false_drift(5000.0, MINUTES, level, 100.0, 120.0)
    assert not false_drift(6000.0, MINUTES, level, 100.0, 120.0), "it moves within the hour"
    assert not false_drift(3000.0, MINUTES, level, 111.0, 120.0), "it stands outside the band"


def test_the_first_alarm_after_a_cause_counts():
    alarms = [Standing("drift/grate", 100.0, 200.0), Standing("drift/grate", 900.0, math.inf)]
    assert first_after(alarms, "drift/grate", 300.0) == 600.0
    assert first_after(alarms, "drift/grate", 1000.0) is None
    assert first_after(alarms, "lid-open", 0.0) is None


def test_alarms_are_counted_per_hour_and_ten_minutes():
    flood = [Standing(f"spread/{k}", 600.0 + k, math.inf) for k in range(11)]
    chatter = [Standing("drift/grate", at, at + 10.0) for at in (5000.0, 5300.0, 5600.0, 9000.0)]
    found = rates([*flood, *chatter], 7200.0)
    assert (found.alarms, found.hours, found.most_in_ten_minutes, found.chattering) == (15, 2.0, 11, 1)
    assert found.flood_share == pytest.approx(1 / 12)


def test_transitions_become_spans():
    def step(at, before, after, key="drift/grate"):
        fields = {"key": key, "before": before, "after": after, "time_unix": at}
        return Transition(**{name: fields.get(name) for name in Transition.__struct_fields__})

    s = AlarmState
    steps = [
        step(110.0, s.NORMAL, s.UNACKNOWLEDGED),
        step(150.0, s.UNACKNOWLEDGED, s.RETURNED),
        step(200.0, s.RETURNED, s.UNACKNOWLEDGED),
    ]
    assert standing(steps, 100.0) == (Standing("drift/grate", 10.0, 50.0), Standing("drift/grate", 100.0, math.inf))


def test_simple_maps_by_hand():
    x, y, values = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0]), np.array([100.0, 110.0, 104.0])
    at_x, at_y = np.array([0.1, 0.5]), np.array([0.0, 0.0])
    assert peers.nearest(x, y, values, at_x, at_y)[0] == 100.0
    assert peers.plane(x, y, values, at_x, at_y) == pytest.approx([101.0, 105.0])
    assert peers.idw(x[:2], y[:2], values[:2], at_x[1:], at_y[1:]) == pytest.approx([105.0])
    assert peers.left_out(peers.nearest, x[:2], y[:2], values[:2]).tolist() == [-10.0, 10.0]


def test_a_goal_is_met_missed_or_not_measured():
    assert Goal("x", 5.0, -math.inf, 5.0).met
    assert not Goal("x", 5.1, -math.inf, 5.0).met
    assert not Goal("x", 92.0, 93.0, 97.0).met
    assert Goal("x", math.nan, -math.inf, 0.0).met


@pytest.fixture(scope="module")
def drawn():
    return draw_night(NightKind.QUIET, 7)


def test_a_night_is_drawn_the_same_again_and_its_pit_does_not_hang_on_its_probes(drawn):
    draw_night.__globals__["_without_probes"].cache_clear()
    assert draw_night(NightKind.QUIET, 7) == drawn
    more = draw_night(NightKind.QUIET, 7, 16)
    assert sum(p.duty == "chamber" and p.level == "grate" for p in more.probes) == 16
    assert replace(more, probes=drawn.probes) == drawn
    short, again = (simulate(drawn, 900.0, cells=(24, 8)) for _ in range(2))
    assert short.sent == again.sent
    assert np.array_equal(short.map_celsius, again.map_celsius)
    assert short.map_celsius.shape == (3, 8, 24)


def test_zones_tile_a_drawn_grate(drawn):
    area = sum((z.x1_m - z.x0_m) * (z.y1_m - z.y0_m) for z in drawn.zones)
    assert area == pytest.approx(drawn.pit.length_m * drawn.pit.width_m)


def test_the_maps_agree_with_the_grate_and_show_its_pattern():
    pattern = Pattern((Bump(0.3, 0.1, 0.1, 0.1, 4.0),))
    night = Night("t", 1, 0.0, 3600.0, PROBES, ZONES, pit=Pit(pattern=pattern), meat=None)
    plain = simulate(replace(night, pit=Pit()), cells=(24, 8))
    bumpy = simulate(night, cells=(24, 8))
    assert plain.map_celsius.mean(axis=(1, 2))[1:] == pytest.approx(plain.grate_celsius[5::5], abs=0.3)
    hotter = (bumpy.map_celsius - plain.map_celsius)[-1]
    assert np.unravel_index(np.argmax(hotter), hotter.shape) in {(1, 5), (1, 6)}
    assert hotter.max() > 2.0


def test_an_intake_left_open_stays_as_it_was_left():
    night = Night("t", 1, 0.0, 3600.0, (), (), meat=None, intake_left=((1200.0, 1800.0, 2.0),))
    run = Rehearsal(night)
    assert run._intake(1199.0, 110.0) == 1.35, "warming up"
    assert run._intake(1200.0, 110.0) == 2.0
    assert run._intake(1800.0, 110.0) == 1.35


@pytest.fixture(scope="module")
def judged():
    """Judge four hours of the sample pit with a sudden leak and a broken wire, from end to end."""
    night = Night(
        "leak", 5, 1.79e9, 3.9 * 3600.0, PROBES, ZONES[:5], meat=None,
        leaks=(AirLeak(2.6 * 3600.0, 600.0, flow_capacity=0.6, pool_kelvin=13.0),),
        faults=(ProbeFault("top-fire", FaultKind.OPEN, 2.4 * 3600.0, 3.0 * 3600.0),),
    )  # fmt: skip
    recorded = record(night)
    truth, played = truth_of(recorded), play(recorded, with_maps=False)
    return recorded, truth, played, score_alarms("cold", 5, recorded, truth, played)


def test_a_short_night_through_the_whole_bench(judged):
    _, truth, _, score = judged
    assert [ZONES[spell.zone].name for spell in truth.spells] == ["flat side"]
    assert [(lie.key, lie.kind, lie.start) for lie in truth.lies] == [("top-fire", "open", 2.4 * 3600.0)]
    assert truth.fire is None
    for way in (HERE, "fixed"):
        (outcome,) = score.watch[way].cold
        assert outcome.what == "flat side"
        assert outcome.delay is not None
        assert outcome.delay < 1800.0
    assert score.faults[0].delay < 120.0


def test_what_is_printed_names_what_was_found(judged):
    recorded, truth, played, score = judged
    text = as_text(alarm_parts([score]))
    assert "cold: missed, %: 0.00 (goal <= 1)" in text
    lines = listed(recorded, truth, played, score)
    assert "COLD zone flat side" in lines
    assert "LIES top-fire (open)" in lines
    assert "told   cold-spot/flat side" in lines
