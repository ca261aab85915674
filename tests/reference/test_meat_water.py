"""Water in and about meat against IAPWS-IF97, psychrolib and Stull 2011."""

import csv
from pathlib import Path

import numpy as np
import pytest

from adapters.rehearsal.roast import LATENT, vapour_pascal
from collector.model.meat.physics import ATMOSPHERE_PASCAL, saturation_pascal, wet_bulb_celsius

DATA = Path(__file__).parent / "data"
STEAM = [{k: float(v) for k, v in row.items()} for row in csv.DictReader((DATA / "steam.csv").read_text().splitlines())]
WET = [
    {k: float(v or "nan") for k, v in row.items()}
    for row in csv.DictReader((DATA / "wet_bulb.csv").read_text().splitlines())
]


def humidity_of(row):
    if np.isfinite(row["kg_per_kg"]):
        return row["kg_per_kg"]
    vapour = row["relative_percent"] / 100.0 * saturation_pascal(row["celsius"])
    return 0.621945 * vapour / (ATMOSPHERE_PASCAL - vapour)


@pytest.mark.parametrize("row", STEAM, ids=lambda row: f"{row['celsius']:g} °C")
def test_saturation_pressure(row):
    """The Magnus formula is meant for weather: it strays where water boils, which no stall comes near."""
    expected = pytest.approx(1000.0 * row["kilopascal"], rel=0.012 if row["celsius"] <= 75.0 else 0.027)
    assert saturation_pascal(row["celsius"]) == expected
    assert float(vapour_pascal(np.array(row["celsius"]))) == expected


def test_latent_heat_of_sweating_meat_is_that_of_the_plateau():
    at_plateau = np.interp(70.0, [r["celsius"] for r in STEAM], [r["kilojoule_per_kg"] for r in STEAM])
    assert pytest.approx(1000.0 * at_plateau, rel=0.003) == LATENT


@pytest.mark.parametrize("row", WET, ids=lambda row: f"{row['celsius']:.0f} °C {humidity_of(row):.3f}")
def test_wet_bulb(row):
    assert wet_bulb_celsius(row["celsius"], humidity_of(row)) == pytest.approx(row["wet_bulb_celsius"], abs=0.25)
    if np.isfinite(row["stull_celsius"]):
        # his fit strays by up to a kelvin
        assert wet_bulb_celsius(row["celsius"], humidity_of(row)) == pytest.approx(row["stull_celsius"], abs=1.0)


def test_saturated_air_has_its_own_temperature_as_wet_bulb():
    vapour = saturation_pascal(30.0)
    humidity = 0.621945 * vapour / (ATMOSPHERE_PASCAL - vapour)
    assert wet_bulb_celsius(30.0, humidity) == pytest.approx(30.0, abs=0.01)
