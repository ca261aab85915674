"""Thermocouples against printed rows of the NIST tables and an independent library over every type's whole range.

Sources: NIST Monograph 175 / SRD 60 rows in `thermocouple_emf.csv`, each with its own; library thermocouple-its90 1.0.2
(coefficients machine-read from SRD 60, inverse checked by its authors against every table point).
"""

import csv
import math

import pytest
import thermocouple_its90

from adapters.decode.thermocouple import RANGES, celsius, emf_millivolts
from tests.conftest import REFERENCE

PRINTED = 0.00055
"""Tables are printed to a microvolt."""
with (REFERENCE / "thermocouple_emf.csv").open(encoding="utf-8", newline="") as file:
    ROWS = [(row["type"], float(row["celsius"]), float(row["millivolts"])) for row in csv.DictReader(file)]


def grid(letter, step):
    low, high = RANGES[letter]
    count = round((high - low) / step)
    return [low + (high - low) * i / count for i in range(count + 1)]


def test_rows_of_the_nist_tables():
    assert {letter for letter, _, _ in ROWS} == set(RANGES)
    for letter, at, millivolts in ROWS:
        assert emf_millivolts(at, letter) == pytest.approx(millivolts, abs=PRINTED), (letter, at)


@pytest.mark.parametrize("letter", RANGES)
def test_the_library_over_the_whole_range(letter):
    library = thermocouple_its90.get(letter)
    assert RANGES[letter] == library.range
    for at in grid(letter, 1.0):
        emf = emf_millivolts(at, letter)
        assert emf == pytest.approx(library.emf(at), abs=1e-7)
        if at % 8 == 0:
            assert celsius(emf, letter) == pytest.approx(library.temperature(emf), abs=1e-6)


@pytest.mark.parametrize("letter", RANGES)
def test_the_emf_rises_all_the_way_and_so_the_inverse_is_exact(letter):
    before = -math.inf
    for at in grid(letter, 0.5):
        emf = emf_millivolts(at, letter)
        assert emf > before
        before = emf
        assert celsius(emf, letter) == pytest.approx(at, abs=1e-6)


@pytest.mark.parametrize("letter", RANGES)
@pytest.mark.parametrize("cold", [-10.0, 0.0, 25.0, 60.0])
def test_the_cold_junction_is_added_as_emf(letter, cold):
    library = thermocouple_its90.get(letter)
    for hot in (-40.0, 20.0, 107.22, 250.0, 390.0):
        measured = library.emf(hot, reference=cold)
        assert celsius(measured, letter, cold) == pytest.approx(hot, abs=1e-6)


def test_adding_temperatures_instead_would_be_wrong():
    """4.096 mV of type K with the junction at 25 °C is 124.310 °C; 99.99 + 25 would be 124.99 (library value)."""
    assert celsius(4.096, "K", 25.0) == pytest.approx(124.310, abs=0.001)


@pytest.mark.parametrize("letter", RANGES)
def test_outside_the_range_is_no_temperature(letter):
    low, high = RANGES[letter]
    assert not math.isnan(celsius(emf_millivolts(low, letter), letter))
    assert celsius(emf_millivolts(high, letter), letter) == pytest.approx(high, abs=1e-6)
    for emf in (emf_millivolts(low, letter) - 1e-3, emf_millivolts(high, letter) + 1e-3, math.nan, math.inf, -math.inf):
        assert math.isnan(celsius(emf, letter))
    for at in (low - 0.1, high + 0.1, math.nan, math.inf):
        assert math.isnan(emf_millivolts(at, letter))
        assert math.isnan(celsius(1.0, letter, at))
