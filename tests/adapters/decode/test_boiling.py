"""The boiling point against values another implementation gave, and IAPWS's own check values."""

import json
from pathlib import Path

import pytest

from adapters.decode.boiling import boiling_celsius, pressure_pascal, saturation_celsius
from adapters.errors import SourceConfigError

TABLE = json.loads((Path(__file__).parents[2] / "reference" / "data" / "boiling_altitude.json").read_text())


@pytest.mark.parametrize("row", TABLE["rows"], ids=lambda row: f"{row['m']} m")
def test_heights(row):
    assert pressure_pascal(row["m"]) == pytest.approx(row["pascal"], rel=2e-4)
    assert boiling_celsius(row["m"]) == pytest.approx(row["celsius"], abs=0.03)


@pytest.mark.parametrize("pascal, kelvin", [(0.1e6, 372.755919), (1e6, 453.035632), (10e6, 584.149488)])
def test_the_check_values_of_the_formula(pascal, kelvin):
    assert saturation_celsius(pascal) + 273.15 == pytest.approx(kelvin, abs=1e-5)


@pytest.mark.parametrize("height", [-1e4, 1e5, float("nan"), float("inf")])
def test_no_height_to_cook_at(height):
    with pytest.raises(SourceConfigError):
        boiling_celsius(height)
