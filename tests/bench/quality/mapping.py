"""The one place that knows how a snapshot's field becomes a map."""

import numpy as np
from numpy.typing import NDArray

from collector.model.field import FieldModel
from collector.model.plan import GRATE
from collector.snapshot import FieldView, Snapshot

__all__ = ["left_out_of", "map_of"]

Array = NDArray[np.float64]


def _field(snapshot: Snapshot) -> FieldView | None:
    return next((field for field in snapshot.fields if field.level == GRATE), None)


def _model(field: FieldView) -> FieldModel:
    return FieldModel(
        np.array(field.x_m), np.array(field.y_m), np.array(field.noise_kelvin),
        sigma_kelvin=field.sigma_kelvin, length_x_m=field.length_x_m, length_y_m=field.length_y_m,
    )  # fmt: skip


def map_of(snapshot: Snapshot, x_m: Array, y_m: Array) -> tuple[Array, Array] | None:
    """Give mean (°C) and standard deviation (kelvin) of the grate at places, shape (m,); None without a field."""
    field = _field(snapshot)
    if field is None:
        return None
    model = _model(field)
    return model.mean_at(np.array(field.celsius), x_m, y_m), model.sd_at(x_m, y_m)


def left_out_of(snapshot: Snapshot) -> Array:
    """Give each probe of the grate's field less what the others say of its place, kelvin; NaN where none can say."""
    field = _field(snapshot)
    return np.zeros(0) if field is None else _model(field).leave_one_out(np.array(field.celsius))[0]
