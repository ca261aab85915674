"""Meat of shells cooks as cooks say briskets do. Ranges are common practice, no source."""

import numpy as np
import pytest
from msgspec.structs import replace

from adapters.rehearsal.layout import PROBES, ZONES
from adapters.rehearsal.night import Night
from adapters.rehearsal.pit import Flesh, Meat
from adapters.rehearsal.rehearsal import simulate
from adapters.rehearsal.roast import DENSITY_HEAT, LATENT, Roast, parts_of

POINT, FLAT = 0, 1
DONE_CELSIUS = (203.0 - 32.0) / 1.8


def cook(air, hours=24, flesh=None, wrap_at=np.inf, rest_at=np.inf):
    """Cook point and flat in air of two temperatures; give the tips every minute, shape (minutes, 2)."""
    flesh = flesh or Flesh()
    roast = Roast(parts_of(Meat(), flesh))
    tips, wrapped, resting = [], False, False
    for _ in range(60 * hours):
        tips.append(roast.tip_celsius)
        wrapped = wrapped or bool(tips[-1].min() >= wrap_at)
        resting = resting or bool(tips[-1].min() >= rest_at)
        through, let_in = (flesh.wrap_open, flesh.wrap_heat) if wrapped else (1.0, 1.0)
        around = np.full(2, 60.0) if resting else np.array(air)
        roast.step(60.0, around, open_share=np.full(2, through), heat_share=np.full(2, let_in))
    return np.array(tips)


def hours_to(tips, celsius):
    return float(np.argmax(tips >= celsius)) / 60.0


@pytest.mark.parametrize("air", [107.0, 113.0, 121.0])
def test_a_whole_brisket_takes_ten_to_sixteen_hours(air):
    tips = cook((air + 4.0, air))
    assert 10.0 <= hours_to(tips[:, POINT], DONE_CELSIUS) <= 16.0


@pytest.mark.parametrize("part", [POINT, FLAT])
def test_it_stalls_for_two_to_six_hours_unless_wrapped(part):
    bare, wrapped = cook((113.0, 113.0))[:, part], cook((113.0, 113.0), wrap_at=66.0)[:, part]
    stalled = hours_to(bare, 77.0) - hours_to(bare, 65.0)
    assert 2.0 <= stalled <= 6.0
    assert hours_to(wrapped, 77.0) - hours_to(wrapped, 65.0) < 0.85 * stalled
    assert hours_to(wrapped, DONE_CELSIUS) < hours_to(bare, DONE_CELSIUS) - 1.0


def test_over_a_cold_flat_side_the_flat_stands_when_the_point_is_done():
    """The point at 200 °F, the flat at 165 °F."""
    tips = cook((119.0, 96.0))
    flat = tips[int(60 * hours_to(tips[:, POINT], (200.0 - 32.0) / 1.8)), FLAT]
    assert 70.0 <= flat <= 82.0


def test_it_carries_over_at_rest():
    """The core of a wrapped brisket rises by a few kelvins after it was taken off."""
    tips = cook((121.0, 121.0), wrap_at=70.0, rest_at=90.0)[:, POINT]
    off = int(60 * hours_to(cook((121.0, 121.0), wrap_at=70.0).min(axis=1), 90.0))
    assert 0.2 <= tips.max() - tips[off] <= 6.0
    assert tips[-1] < tips.max()


def test_no_heat_is_lost_on_the_way():
    """What air brought in less what sweat took away is what the meat holds."""
    flesh = Flesh(tip=0.0)
    meat = Meat()
    roast = Roast(parts_of(meat, flesh))
    one, brought = np.ones(2), np.zeros(2)
    before = heat_of(roast)
    for _ in range(3600):
        brought += flesh.convection * (110.0 - roast.celsius[:, -1])
        roast.step(1.0, np.full(2, 110.0), open_share=one, heat_share=one)
    assert heat_of(roast) - before == pytest.approx(brought - LATENT * roast.sweated, rel=1e-3)


def heat_of(roast):
    """Joules for a square metre of surface, from the volumes of the nodes."""
    return DENSITY_HEAT * (roast.celsius * roast._volume).sum(axis=1)


def test_it_never_gets_hotter_than_the_air():
    tips = cook((95.0, 90.0), hours=40, flesh=Flesh(wrap_open=0.0), wrap_at=0.0)
    assert tips[-1] == pytest.approx([95.0, 90.0], abs=1.0)
    assert np.all(tips.max(axis=0) <= [95.0, 90.0])


def test_a_rehearsed_night_cooks_it_and_its_pit_does_not_feel_it():
    bare = Night("test", 7, 1.79e9, 2.5 * 3600.0, PROBES, ZONES, meat=Meat(on_seconds=3600.0))
    night = replace(bare, meat=replace(bare.meat, flesh=Flesh()))
    run = simulate(night)
    point = run.probe_celsius[:, [probe.key for probe in PROBES].index("meat-point")]
    assert point[: 3600 // 60] == pytest.approx(Meat().start_celsius)
    assert 15.0 < point[-1] < 50.0
    assert np.array_equal(run.grate_celsius, simulate(bare).grate_celsius)
