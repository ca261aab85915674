"""What a cook tells a comparison: its steady minutes, the probes that are believed, and the numbers it has one of."""

import math

import numpy as np
import pytest
from msgspec.structs import replace

from collector.comparing.compared import EFFECT_KELVIN, compared, planned
from collector.comparing.told import tell
from collector.model.comparison import CookNumber
from collector.model.difference import AIR_NOT_KNOWN, Difference
from tests.evening import PLACES, SILENT, START


@pytest.fixture(scope="module")
def told(evening):
    return tell(evening[1], "evening")


def test_steady_minutes_without_warm_up_lid_and_silence(told):
    assert 60 <= told.minutes <= 150
    assert told.left_out_minutes > 0
    assert {p.name for p in told.stretch.probes} == set(PLACES)
    assert told.stretch.celsius.shape == (told.minutes, len(PLACES))
    assert np.isfinite(told.stretch.celsius).all()


def test_places_stand_apart_as_they_were_made_to(told):
    means = dict(zip((p.name for p in told.stretch.probes), told.stretch.celsius.mean(axis=0), strict=True))
    for name, (_, _, offset) in PLACES.items():
        assert means[name] - means["centre"] == pytest.approx(offset, abs=0.4)


def test_air_outside_that_was_not_recorded_is_guessed_and_said_to_be(told):
    assert math.isnan(told.ambient_celsius)
    assert told.stretch.scale_sd == AIR_NOT_KNOWN
    assert told.rise_kelvin == pytest.approx(told.grate_celsius - 15.0)


def test_a_stretch_is_what_lies_in_it(evening):
    whole, part = tell(evening[1], "x"), tell(evening[1], "x", START + 1.6 * 3600.0)
    assert part.minutes < whole.minutes
    with pytest.raises(ValueError, match=r"x: only \d+ steady minutes, of which it takes 30"):
        tell(evening[1], "x", START, START + 1800.0)


def test_a_probe_that_is_silent_too_long_is_left_out_and_named(evening):
    played = evening[1]
    row = [p.name for p in played.plan.probes].index("stack")
    values = played.probe_celsius.copy()
    values[row, played.trend_unix > START + SILENT[0] - 600] = np.nan
    told = tell(replace(played, probe_celsius=values), "evening")
    assert told.left_out_probes == ("stack",)
    assert "stack" not in {p.name for p in told.stretch.probes}


def test_flat_below_point_on_the_way(told):
    """The evening's flat runs four kelvin above its point, by its script."""
    assert told.flat_less_point is not None
    assert told.flat_less_point.value == pytest.approx(4.0, abs=0.3)


def again(told, name, change=0.0):
    """The same evening once more, the far end by so much colder."""
    x = np.array([p.x_m for p in told.stretch.probes])
    celsius = told.stretch.celsius - change * (x > 0.8)
    return replace(told, name=name, cook=name, stretch=replace(told.stretch, cook=name, celsius=celsius))


def test_a_change_is_found_and_put_against_the_far_end(told):
    comparison = compared([told], [again(told, "after", 9.0)])
    first = comparison.quantities[0]
    assert (first.key, comparison.far_end) == ("far-end-deficit", "flat side")
    assert first.shown
    assert first.low < 9.0 * 2 / 3 < first.high
    assert first.after - first.before == pytest.approx(first.change, abs=0.3)
    assert sum(b.variance for b in first.budget) == pytest.approx(first.sd**2, rel=0.15)
    assert [b.variance for b in first.budget] == sorted((b.variance for b in first.budget), reverse=True)
    assert comparison.same_probes == len(PLACES)
    assert comparison.other_probes == 0
    cells = np.array(comparison.map.kelvin).reshape(comparison.map.rows, -1)
    assert cells[:, -3:].mean() < -3.0 < cells[:, :6].mean()
    assert any(comparison.map.shown)


def test_no_change_is_no_claim_and_says_how_many_cooks_it_takes(told):
    first = compared([told], [again(told, "after")]).quantities[0]
    assert not first.shown
    assert first.low < 0.0 < first.high
    plan = planned([told], EFFECT_KELVIN)
    assert plan.cooks_needed == first.cooks_needed
    assert planned([told], 2 * EFFECT_KELVIN).cooks_needed <= plan.cooks_needed
    assert plan.cooks_needed is not None


def test_more_cooks_a_side_narrow_it(told):
    one = compared([told], [again(told, "b")]).quantities[0]
    three = compared([again(told, f"a{k}") for k in range(3)], [again(told, f"b{k}") for k in range(3)]).quantities[0]
    assert three.high - three.low < 0.75 * (one.high - one.low)


def test_cooks_of_another_pit_are_refused(told):
    other = replace(told, name="other", plan=replace(told.plan, chamber=replace(told.plan.chamber, length_m=2.0)))
    with pytest.raises(ValueError, match="evening was in a pit of other measures than other"):
        compared([told], [other])
    with pytest.raises(ValueError, match="each side of a change needs a cook"):
        compared([], [told])


def aired(evening, celsius):
    """The evening with a probe in the air outside."""
    played = evening[1]
    row = [p.name for p in played.plan.probes].index("meat point")
    probes = tuple(replace(p, duty="ambient") if k == row else p for k, p in enumerate(played.plan.probes))
    values = played.probe_celsius.copy()
    values[row] = celsius
    return tell(replace(played, plan=replace(played.plan, probes=probes), probe_celsius=values), "evening")


def test_air_outside_is_taken_where_a_probe_told_of_it_and_not_from_one_in_the_smoke(evening):
    assert aired(evening, 4.0).ambient_celsius == pytest.approx(4.0)
    assert aired(evening, 4.0).stretch.scale_sd != AIR_NOT_KNOWN
    for hot in (100.0, 112.0, 140.0):
        smoked = aired(evening, hot)
        assert math.isnan(smoked.ambient_celsius)
        assert smoked.stretch.scale_sd == AIR_NOT_KNOWN
    first = compared([aired(evening, 4.0)], [again(aired(evening, 112.0), "after")]).quantities[0]
    assert not first.shown


def test_a_factor_that_is_none_is_refused(told):
    for scale in (0.0, -1.0, math.inf, math.nan):
        with pytest.raises(ValueError, match="no factor"):
            Difference([told.stretch], [replace(told.stretch, scale=scale)], 1.2, 0.5)


def test_stretches_of_one_cook_are_not_as_many_cooks(told):
    numbered = replace(told, rhythm=CookNumber(40.0, 4.0))
    later = replace(again(numbered, "after"), rhythm=CookNumber(48.0, 4.0))
    one = {q.key: q for q in compared([numbered], [later]).quantities}["rhythm"]
    five = {q.key: q for q in compared([numbered] * 5, [later] * 5).quantities}["rhythm"]
    assert five.high - five.low > 0.85 * (one.high - one.low)
    within = compared([told], [replace(told, name="evening@later")])
    assert within.within_a_cook
    assert within.quantities[0].cooks_needed is None
