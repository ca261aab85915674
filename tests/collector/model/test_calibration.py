"""Calibration: the fit by example and by property, the rule of what decides, and what is refused."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from adapters.decode.boiling import boiling_celsius, saturation_celsius
from collector.model.calibration import (
    BOILING_BY_PRESSURE_SD_KELVIN,
    DRIFT_SD_KELVIN,
    GAIN_SD,
    ICE_SD_KELVIN,
    Calibration,
    CalibrationError,
    Kind,
    Point,
    check,
    deciding,
    line,
    standing,
)
from collector.model.plan import Probe
from collector.model.steadiness import rest

BOILS = 99.974
"""Water at one standard atmosphere, IAPWS-IF97."""
PIT = 113.0


def ice(raw, time=0.0, sd=0.1):
    return Point(Kind.ICE, 0.0, raw, sd, time)


def boil(raw, time=1.0, sd=0.15, reference=BOILS):
    return Point(Kind.BOIL, reference, raw, sd, time)


def bundle(raw, time=2.0, sd=0.2, reference=110.0):
    return Point(Kind.TOGETHER, reference, raw, sd, time)


def test_the_boiling_bath_against_published_values():
    assert saturation_celsius(101_325.0) == pytest.approx(BOILS, abs=1e-3)
    assert boiling_celsius(0.0) == pytest.approx(BOILS, abs=1e-3)
    # Between the rows of tests/reference/data/boiling_altitude.json at 914.4 and 1219.2 m (96.934 and 95.920).
    assert boiling_celsius(1000.0) == pytest.approx(96.65, abs=0.02)


def test_one_bath_gives_an_offset_that_is_less_sure_away_from_it():
    found = line([ice(1.2)])
    assert found is not None
    assert (found.gain, found.offset_kelvin) == (1.0, -1.2)
    assert found.sd_kelvin(0.0) == 0.1
    assert found.sd_kelvin(PIT) == pytest.approx(math.hypot(0.1, GAIN_SD * PIT))


def test_two_baths_give_a_line_through_both():
    found = line([ice(1.0), boil(99.0)])
    assert found is not None
    assert found.gain == pytest.approx(BOILS / 98.0)
    assert found.celsius(1.0) == pytest.approx(0.0, abs=1e-9)
    assert found.celsius(99.0) == pytest.approx(BOILS)
    assert found.raw(found.celsius(57.0)) == pytest.approx(57.0)
    assert found.sd_kelvin(0.0) == pytest.approx(0.1)
    assert found.sd_kelvin(BOILS) == pytest.approx(0.15)
    share = PIT / BOILS
    assert found.sd_kelvin(PIT) == pytest.approx(math.hypot((1.0 - share) * 0.1, share * 0.15))
    assert found.time_unix == 1.0


def test_a_newer_bundle_moves_the_offset_and_keeps_the_gain():
    pair = line([ice(1.0), boil(99.0)])
    found = line([ice(1.0), boil(99.0), bundle(109.0)])
    assert pair is not None
    assert found is not None
    assert found.gain == pair.gain
    assert found.celsius(109.0) == pytest.approx(110.0)
    assert found.sd_kelvin(110.0) == 0.2


@pytest.mark.parametrize(
    ("points", "used"),
    [
        ([], []),
        ([ice(1.0)], [0]),
        ([ice(1.0, 0.0), ice(0.5, 5.0)], [1]),
        ([ice(1.0), boil(99.0)], [0, 1]),
        ([boil(99.0, 1.0), ice(1.0, 3.0)], [1, 0]),
        ([bundle(109.0, 2.0)], [0]),
        ([ice(1.0, 0.0), bundle(109.0, 2.0)], [1]),
        ([bundle(109.0, 0.0), ice(1.0, 2.0)], [1]),
        ([ice(1.0, 0.0), bundle(109.0, 1.0), boil(99.0, 2.0)], [0, 2]),
        ([ice(1.0, 0.0), boil(99.0, 1.0), bundle(109.0, 2.0)], [0, 1, 2]),
    ],
)
def test_what_decides(points, used):
    assert deciding(points) == tuple(points[k] for k in used)


@given(
    gain=st.floats(0.95, 1.05), offset=st.floats(-3.0, 3.0), noise=st.floats(0.01, 0.6), together=st.floats(0.0, 0.8),
    seed=st.integers(0, 2**32 - 1),
)  # fmt: skip
@settings(max_examples=20, deadline=None, derandomize=True)
def test_a_probe_is_recovered_within_its_stated_uncertainty(gain, offset, noise, together, seed):
    """Two standard deviations hold at least nine times of ten, at the baths and in the pit, whatever its noise does."""
    random = np.random.default_rng(seed)
    seconds = np.arange(0.0, 120.0, 4.5)
    draws, hits = 200, {0.0: 0, BOILS: 0, PIT: 0}

    def shown(bath, sd):
        white = random.normal(0.0, noise, seconds.size)
        for k in range(1, seconds.size):
            white[k] = together * white[k - 1] + math.sqrt(1.0 - together**2) * white[k]
        raw = (bath + random.normal(0.0, sd) - offset) / gain + white
        return rest(seconds, np.round(raw, 1), np.full(seconds.size, bath), 0.1)

    for _ in range(draws):
        cold, hot = shown(0.0, ICE_SD_KELVIN), shown(BOILS, BOILING_BY_PRESSURE_SD_KELVIN)
        found = line([
            ice(cold.raw_celsius, sd=math.hypot(cold.sd_kelvin, ICE_SD_KELVIN)),
            boil(hot.raw_celsius, sd=math.hypot(hot.sd_kelvin, BOILING_BY_PRESSURE_SD_KELVIN)),
        ])  # fmt: skip
        assert found is not None
        for true in hits:
            off = found.celsius((true - offset) / gain) - true
            hits[true] += abs(off) <= 2.0 * found.sd_kelvin(true)
    assert min(hits.values()) >= 0.9 * draws, hits


@pytest.mark.parametrize(
    ("point", "why"),
    [
        (ice(25.0), "more than 10 K"),
        (boil(20.0), "more than 10 K"),
        (replace(ice(0.5), reference_celsius=4.0), "no temperature for ice"),
        (boil(30.0, reference=30.0), "no temperature for boil"),
        (boil(140.0, reference=140.0), "no temperature for boil"),
        (ice(math.nan), "finite"),
        (ice(0.1, sd=0.0), "finite"),
        (ice(0.1, sd=9.0), "finite"),
    ],
)
def test_what_cannot_be_is_refused(point, why):
    with pytest.raises(CalibrationError, match=why):
        check(point)
    with pytest.raises(CalibrationError, match=why):
        line([point])


@pytest.mark.parametrize("pair", [(ice(-7.0), boil(BOILS + 7.0)), (ice(6.0), boil(BOILS - 6.0))])
def test_a_gain_no_probe_has_is_refused(pair):
    with pytest.raises(CalibrationError, match="gain"):
        line(pair)


def steps(*told):
    return [Calibration("s", "k", t if isinstance(t, Point) else None, t == "all") for t in told]


def test_what_was_undone_counts_no_longer():
    a, b = ice(1.0), boil(99.0)
    assert standing(steps(a, b)) == (a, b)
    assert standing(steps(a, b, "last")) == (a,)
    assert standing(steps(a, b, "all")) == ()
    assert standing(steps(a, "last", "last", b)) == (b,)


def test_a_calibrated_probe_is_never_surer_than_its_drift_and_goes_back_to_the_config():
    stated = Probe("flat", "s", "k", tolerance_kelvin=1.5, offset_kelvin=-2.0)
    found = line([ice(1.0, sd=0.01), boil(99.0, sd=0.01)])
    probe = stated.calibrated(found, PIT)
    assert DRIFT_SD_KELVIN <= probe.tolerance_kelvin < DRIFT_SD_KELVIN + 0.01
    assert probe.gain * 99.0 + probe.added_kelvin == pytest.approx(BOILS)
    assert probe.calibrated(line([ice(0.5)]), PIT).calibrated(None, PIT) == stated
    assert (stated.gain, stated.added_kelvin) == (1.0, -2.0)
