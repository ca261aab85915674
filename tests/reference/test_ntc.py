"""Thermistors against published resistance tables.

Sources, in `ntc.csv` with each row: Dale 1T1002-5, Table A.1 of the appendix on thermistors of a laser controller's
manual (its 40 °C row is a misprint, 5331 for 5231, and is left out); a 10 kΩ sensor sheet's coefficients with the
resistances of its table (from memory; the equation agrees within 0.015 °C); the beta equation itself, computed apart.
"""

import csv

import pytest

from adapters.decode.thermistor import (
    beta_celsius,
    beta_ohms,
    coefficients,
    steinhart_hart_celsius,
    steinhart_hart_ohms,
)
from tests.conftest import REFERENCE

SHEET = (1.129148e-3, 2.34125e-4, 8.76741e-8)


def rows(part):
    with (REFERENCE / "ntc.csv").open(encoding="utf-8", newline="") as file:
        found = [row for row in csv.DictReader(file) if row["part"].startswith(part)]
    assert found
    return {float(row["celsius"]): float(row["ohms"]) for row in found if "MISPRINT" not in row["source"]}


def test_three_points_of_a_published_table_give_all_others():
    table = rows("dale")
    assert len(table) == 6
    solved = coefficients(*((at, table[at]) for at in (0.0, 25.0, 50.0)))
    assert solved == pytest.approx((1.10415912e-3, 2.38917947e-4, 6.931627e-8), rel=1e-5)
    for at, ohms in table.items():
        # The page promises 0.01 °C for the third-order equation.
        assert steinhart_hart_celsius(ohms, *solved) == pytest.approx(at, abs=0.0025)
        assert steinhart_hart_ohms(at, *solved) == pytest.approx(ohms, rel=2e-4)


def test_the_order_of_the_three_points_does_not_matter():
    table = rows("dale")
    points = [(at, table[at]) for at in (0.0, 25.0, 50.0)]
    assert coefficients(*points[::-1]) == coefficients(*points)


def test_published_coefficients_give_the_published_table():
    for at, ohms in rows("10k").items():
        assert steinhart_hart_celsius(ohms, *SHEET) == pytest.approx(at, abs=0.015)


def test_the_beta_equation():
    for at, ohms in rows("100k").items():
        assert beta_ohms(at, 3950.0, 100_000.0) == pytest.approx(ohms, rel=2e-6)
        assert beta_celsius(ohms, 3950.0, 100_000.0) == pytest.approx(at, abs=1e-4)
