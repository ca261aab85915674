"""Reference maps at grate height: Gaussian processes (Matern 3/2) with a plane or a physical trend."""

import numpy as np

from tests.bench.quality.nights.night_files import Array

__all__ = ["MAPS", "map_of_probes"]

NOISE_F, FIELD_F, LENGTH_X, LENGTH_Y = 1.8, 6.0, 0.35, 0.8
MAPS: dict[str, tuple[float, ...]] = {"plane": (60.0, 40.0, 8.0), "physical": (60.0, 30.0, 8.0, 8.0, 25.0)}
"""Trends with the prior standard deviations of their terms, °F."""


def _trend(p: Array, length: float, width: float, name: str) -> Array:
    x, y = p[:, 0] / length - 0.5, p[:, 1] / width
    columns = [np.ones(len(p)), x, y]
    if name == "physical":  # hot side walls; radiation by the firebox
        columns += [(2 * y) ** 2, np.exp(-p[:, 0] / 0.2)]
    return np.column_stack(columns)


def map_of_probes(
    name: str, places: Array, values: Array, cells: Array, length: float, width: float
) -> tuple[Array, Array]:
    """Estimate the grate from its probes.

    Args:
        name: of the trend.
        places: of the probes, shape (n, 2), m.
        values: of the probes, shape (n,), °F.
        cells: where the map is wanted, shape (m, 2).
        length: of the chamber, m.
        width: of the chamber, m.

    Returns:
        Mean and standard deviation of the field, shape (m,), °F.
    """

    def matern(p: Array, q: Array) -> Array:
        d = np.hypot(
            (p[:, None, 0] - q[None, :, 0]) / (LENGTH_X * length), (p[:, None, 1] - q[None, :, 1]) / (LENGTH_Y * width)
        )
        return FIELD_F**2 * (1 + np.sqrt(3) * d) * np.exp(-np.sqrt(3) * d)

    here, there = _trend(places, length, width, name), _trend(cells, length, width, name)
    prior = np.diag(np.array(MAPS[name]) ** 2)
    noisy = matern(places, places) + here @ prior @ here.T + NOISE_F**2 * np.eye(len(places))
    root = np.linalg.cholesky(noisy)
    z = np.linalg.solve(root, values - values.mean())
    u = np.linalg.solve(root, matern(places, cells) + here @ prior @ there.T)
    variance = FIELD_F**2 + np.einsum("ij,jk,ik->i", there, prior, there) - (u**2).sum(0)
    return values.mean() + u.T @ z, np.sqrt(np.maximum(variance, 0.01))
