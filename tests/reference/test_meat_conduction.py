"""Conduction in meat against the series solution of bodies put into hot air, slab and long cylinder.

First-term coefficients as in standard tables of transient conduction (Incropera & DeWitt, *Fundamentals of Heat and
Mass Transfer*, table 5.1: from memory); eigenvalues and coefficients of all terms are reckoned here with scipy.
"""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j0, j1

from adapters.rehearsal.roast import DENSITY_HEAT, Parts, Roast

TABLE = {
    # Biot: slab zeta, slab C, cylinder zeta, cylinder C
    0.1: (0.3111, 1.0160, 0.4417, 1.0246),
    0.5: (0.6533, 1.0701, 0.9408, 1.1143),
    1.0: (0.8603, 1.1191, 1.2558, 1.2071),
    2.0: (1.0769, 1.1785, 1.5994, 1.3384),
}
HALF, CONDUCTIVITY, START, AIR = 0.04, 0.46, 5.0, 110.0


def eigenvalues(shape, biot, terms=6):
    if shape == 0:
        return [
            brentq(lambda z: z * np.sin(z) - biot * np.cos(z), k * np.pi, k * np.pi + np.pi / 2) for k in range(terms)
        ]

    def condition(z):
        return z * j1(z) - biot * j0(z)

    at = np.linspace(1e-6, 25.0, 20_000)
    sign = np.flatnonzero(np.diff(np.sign(condition(at))))
    return [brentq(condition, at[k], at[k + 1]) for k in sign[:terms]]


def coefficient(shape, zeta):
    if shape == 0:
        return 4.0 * np.sin(zeta) / (2.0 * zeta + np.sin(2.0 * zeta))
    return 2.0 / zeta * j1(zeta) / (j0(zeta) ** 2 + j1(zeta) ** 2)


def series(shape, biot, fourier, place):
    """Share of the first difference to the air that is left."""
    profile = np.cos if shape == 0 else j0
    return sum(
        coefficient(shape, zeta) * np.exp(-(zeta**2) * fourier) * profile(zeta * place)
        for zeta in eigenvalues(shape, biot)
    )


def cooked(shape, biot, fourier, place):
    one = np.ones(1)
    roast = Roast(
        Parts(
            HALF * one,
            shape * one,
            START * one,
            biot * CONDUCTIVITY / HALF * one,
            0.0 * one,
            0.0 * one,
            one,
            one,
            0.0 * one,
            place * one,
            CONDUCTIVITY * one,
        )
    )
    roast.step(fourier * HALF**2 * DENSITY_HEAT / CONDUCTIVITY, AIR * one, open_share=one, heat_share=one)
    return float((AIR - roast.tip_celsius[0]) / (AIR - START))


@pytest.mark.parametrize("biot", TABLE)
@pytest.mark.parametrize("shape", [0, 1])
def test_eigenvalues_are_those_of_the_table(shape, biot):
    zeta, first = TABLE[biot][2 * shape : 2 * shape + 2]
    found = eigenvalues(shape, biot)[0]
    assert found == pytest.approx(zeta, abs=6e-5)
    assert coefficient(shape, found) == pytest.approx(first, abs=2e-4)


@pytest.mark.parametrize("fourier", [0.3, 1.0, 2.5])
@pytest.mark.parametrize("biot", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("shape", [0, 1])
@pytest.mark.parametrize("place", [0.0, 0.5, 1.0])
def test_meat_warms_as_the_series_says(shape, biot, fourier, place):
    """Six steps from core to surface: within 1 % of the first difference to the air."""
    assert cooked(shape, biot, fourier, place) == pytest.approx(series(shape, biot, fourier, place), abs=0.01)
