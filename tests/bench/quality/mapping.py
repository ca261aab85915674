"""The one place that knows how a snapshot's field becomes a map."""

import numpy as np
from numpy.typing import NDArray

from collector.model.bumps import spread_of, summed
from collector.model.chamber import model_of
from collector.model.plan import GRATE
from collector.snapshot import FieldView, Snapshot

__all__ = ["left_out_of", "map_of"]

Array = NDArray[np.float64]


def _field(snapshot: Snapshot) -> FieldView | None:
    return next((field for field in snapshot.fields if field.level == GRATE), None)


def map_of(snapshot: Snapshot, x_m: Array, y_m: Array) -> tuple[Array, Array] | None:
    """Give mean (°C) and standard deviation (kelvin) of the grate at places, shape (m,); None without a field."""
    field = _field(snapshot)
    if field is None:
        return None
    model = model_of(field, snapshot.chamber)
    added = summed(field.patches, spread_of(field.patches, x_m, y_m))
    mean = model.mean_at(np.array(field.celsius), x_m, y_m, field.drawn) + added.mean_kelvin
    return mean, np.hypot(model.sd_at(x_m, y_m, field.drawn), added.sd_kelvin)


def left_out_of(snapshot: Snapshot) -> Array:
    """Give each probe of the grate less what all others say of its place, kelvin; NaN where they cannot say.

    Of the field without patches: these have heard the probe that is left out.
    """
    field = _field(snapshot)
    if field is None:
        return np.zeros(0)
    here = np.array(field.levels) == field.drawn
    values = np.array(field.celsius)
    x_m, y_m = np.array(field.x_m)[here], np.array(field.y_m)[here]
    values[here] += summed(field.patches, spread_of(field.patches, x_m, y_m)).mean_kelvin
    return np.asarray(model_of(field, snapshot.chamber).leave_one_out(values)[0][here])
