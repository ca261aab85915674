"""Kriging against published values, two general-purpose libraries and an open data set of real stations."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator

from collector.model.field import FieldModel, Grid

REFERENCE = Path(__file__).parent / "data"


def exponential(dx, dy):
    """Exponential correlation exp(-3 h) of a variogram whose range is the distance of 95 % of the sill."""
    return np.exp(-3.0 * np.hypot(dx, dy))


def test_ordinary_kriging_of_five_points(reference):
    """Two kriging libraries and a direct solve agree on these to 1e-8 (data/stats_refs.json)."""
    t = reference("stats_refs.json")["ordinary_kriging_5pts"]
    xy, query = np.array(t["xy"]), np.array(t["query"])
    model = FieldModel(
        xy[:, 0], xy[:, 1], np.full(5, np.sqrt(0.5)), sigma_kelvin=10.0, length_x_m=1.5, length_y_m=1.5,
        trend="constant", correlation=exponential,
    )  # fmt: skip
    mean = model.mean_at(np.array(t["z"], float), query[:, 0], query[:, 1])
    assert mean == pytest.approx(t["mean"], abs=1e-6)
    # the libraries' variance is that of a new measurement, nugget included
    variance = model.sd_at(query[:, 0], query[:, 1]) ** 2 + 0.5
    assert variance == pytest.approx(t["variance"], abs=1e-6)


def stations():
    with (REFERENCE / "dwd_stations.csv").open() as file:
        rows = list(csv.DictReader(file))
    return tuple(np.array([float(r[k]) for r in rows]) for k in ("x_km", "y_km", "temp_c"))


def dwd_model(x, y):
    return FieldModel(
        x, y, np.full(x.size, np.sqrt(0.5)), sigma_kelvin=2.0, length_x_m=150.0, length_y_m=150.0,
        trend="constant", correlation=exponential,
    )  # fmt: skip


def test_real_stations(reference):
    t = reference("stats_refs.json")["dwd_box_ok"]
    x, y, z = stations()
    query = np.array(t["query_km"], float)
    model = dwd_model(x, y)
    assert model.mean_at(z, query[:, 0], query[:, 1]) == pytest.approx(t["mean"], abs=1e-5)
    assert model.sd_at(query[:, 0], query[:, 1]) ** 2 + 0.5 == pytest.approx(t["variance"], abs=1e-5)


def test_real_stations_left_out_one_by_one(reference):
    """The published error of leaving one out; and the short cut of the inverse equals really leaving it out."""
    t = reference("stats_refs.json")["dwd_box_ok"]
    x, y, z = stations()
    residual, deviation = dwd_model(x, y).leave_one_out(z)
    assert np.sqrt(np.mean(residual**2)) == pytest.approx(t["loo_rmse"], abs=1e-5)
    assert abs(np.mean(residual)) == pytest.approx(abs(t["loo_bias"]), abs=1e-5)
    assert np.std(z) == pytest.approx(t["data_sd"], rel=0.01), "and hardly better than the mean of all"
    keep = np.arange(z.size) != 17
    without = dwd_model(x[keep], y[keep])
    assert z[17] - without.mean_at(z[keep], x[17:18], y[17:18])[0] == pytest.approx(residual[17], abs=1e-8)
    assert np.hypot(without.sd_at(x[17:18], y[17:18])[0], np.sqrt(0.5)) == pytest.approx(deviation[17], abs=1e-8)


@pytest.mark.parametrize("probes", [6, 9, 16, 32])
def test_the_grid_equals_a_radial_basis_library(probes):
    """scipy's RBFInterpolator with a Gaussian kernel, smoothing and a plane is the same universal kriging."""
    rng = np.random.default_rng(probes)
    x, y = rng.uniform(0, 1.2, probes), rng.uniform(0, 0.5, probes)
    z = 107 + rng.normal(0, 5, probes)
    model = FieldModel(x, y, np.full(probes, 0.8), sigma_kelvin=8.0, length_x_m=0.4, length_y_m=0.3, trend="plane")
    grid = Grid(model, np.linspace(0, 1.2, 60), np.linspace(0, 0.5, 40))
    library = RBFInterpolator(
        np.column_stack([x / 0.4, y / 0.3]), z, kernel="gaussian", epsilon=np.sqrt(0.5), smoothing=0.01, degree=1
    )
    xx, yy = np.meshgrid(grid.x_m, grid.y_m)
    expected = library(np.column_stack([xx.ravel() / 0.4, yy.ravel() / 0.3])).reshape(xx.shape)
    assert np.abs(grid.mean(z) - expected).max() < 1e-6
    assert grid.mean(z).ravel() == pytest.approx(model.mean_at(z, xx.ravel(), yy.ravel()), abs=1e-9)


def test_universal_kriging_along_the_pit_equals_a_kriging_library():
    from pykrige.uk import UniversalKriging

    rng = np.random.default_rng(3)
    x, y = rng.uniform(0, 1.2, 10), rng.uniform(0, 0.5, 10)
    z = 120 - 10 * x + rng.normal(0, 3, 10)
    length, sigma2 = 0.36, 49.0
    ours = FieldModel(x, y, np.zeros(10), sigma_kelvin=7.0, length_x_m=length, length_y_m=length, trend="along")
    theirs = UniversalKriging(
        x, y, z, variogram_model="custom", variogram_parameters=[sigma2, length],
        variogram_function=lambda p, h: p[0] * (1 - np.exp(-0.5 * (h / p[1]) ** 2)),
        drift_terms=["functional"], functional_drift=[lambda u, _v: u],
    )  # fmt: skip
    qx, qy = rng.uniform(0, 1.2, 20), rng.uniform(0, 0.5, 20)
    mean, variance = theirs.execute("points", qx, qy)
    assert ours.mean_at(z, qx, qy) == pytest.approx(np.asarray(mean), abs=1e-6)
    assert ours.sd_at(qx, qy) ** 2 == pytest.approx(np.asarray(variance), abs=1e-6)
