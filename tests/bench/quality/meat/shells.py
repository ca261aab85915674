"""The rehearsal's own meat: shells, a surface that sweats, a bark that seals it."""

import numpy as np
from numpy.random import Generator

from adapters.rehearsal.roast import Parts, Roast, evaporation_for, vapour_pascal
from tests.bench.quality.meat.night import Drawn

__all__ = ["shells"]


def shells(random: Generator, drawn: Drawn) -> Roast:
    """Draw the parts of these nights."""
    n = len(drawn.mass_kg)
    u = random.uniform
    convection = u(7.0, 17.0, n)
    vapour = vapour_pascal(u(18.0, 52.0, n))
    return Roast(
        Parts(
            drawn.half_thickness_m,
            u(0.0, 1.0, n),
            drawn.start_celsius,
            convection,
            evaporation_for(u(56.0, 73.0, n), convection, vapour),
            vapour,
            u(2.0, 12.0, n),
            np.exp(u(-0.3, 1.6, n)),
            u(0.0, 0.15, n),
            u(0.0, 0.45, n),
            u(0.42, 0.52, n),
        )
    )
