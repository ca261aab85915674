"""Platinum thermometers against printed points of IEC 60751 and an independent library over the whole range.

Sources: Pt100 table on ITS-90 as reproduced by a sensor maker and a second table (`rtd_pt100.csv`; the maker's page
misprints -160 °C as 35.34, right is 35.54, so it is left out); library rtd-sensor 0.8.0, IEC 60751:2022.
"""

import csv
import math

import pytest
from rtd_sensor import pt100, pt1000

from adapters.decode.rtd import HIGHEST, LOWEST, celsius, ohms
from tests.conftest import REFERENCE

with (REFERENCE / "rtd_pt100.csv").open(encoding="utf-8", newline="") as file:
    ROWS = [(float(row["celsius"]), float(row["ohms"])) for row in csv.DictReader(file)]
GRID = [LOWEST + i / 2 for i in range(2 * 1050 + 1)]


def test_printed_points():
    assert len(ROWS) == 37
    for at, printed in ROWS:
        assert ohms(at, 100.0) == pytest.approx(printed, abs=0.006)
        assert ohms(at, 1000.0) == pytest.approx(10 * printed, abs=0.06)
        if at > LOWEST:  # 18.52 printed there is 18.5201 by the equation, so just outside
            assert celsius(printed, 100.0) == pytest.approx(at, abs=0.02)


def test_the_older_scale_is_not_meant():
    """138.50 ohm at 100 °C is of IPTS-68 (DIN 43760); ITS-90 says 138.5055 (computed), printed 138.51."""
    assert ohms(100.0, 100.0) == pytest.approx(138.5055, abs=1e-9)


@pytest.mark.parametrize(("library", "r0"), [(pt100, 100.0), (pt1000, 1000.0)])
def test_the_library_over_the_whole_range(library, r0):
    for at in GRID:
        resistance = library.celsius_to_resistance(at)
        assert ohms(at, r0) == pytest.approx(resistance, abs=1e-9)
        assert celsius(resistance, r0) == pytest.approx(at, abs=1e-6)


def test_outside_the_range_is_no_temperature():
    low, high = ohms(LOWEST, 100.0), ohms(HIGHEST, 100.0)
    assert celsius(low, 100.0) == pytest.approx(LOWEST, abs=1e-6)
    assert celsius(high, 100.0) == pytest.approx(HIGHEST, abs=1e-6)
    for resistance in (low - 0.01, high + 0.01, 0.0, -1.0, math.nan, math.inf, -math.inf):
        assert math.isnan(celsius(resistance, 100.0))
    for at in (LOWEST - 0.1, HIGHEST + 0.1, math.nan):
        assert math.isnan(ohms(at, 100.0))
