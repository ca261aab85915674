"""The uniformity survey of a cook: how each place stood against a reference, and the quantities of IEC 60068-3-5. Pure.

Laid out as a temperature uniformity survey is (AMS2750): one line a sensor, its deviations from a stated reference,
the greatest above and the greatest below. The quantities are those of `collector.model.evenness`, taken over half hours
of the steady stretch, one value a minute, as IEC 60068-3-5 asks for at least (from memory, the text was not at hand).
A pit with a fire in it is no test chamber: a survey here says how this cook was, it does not qualify the pit.
"""

from collections.abc import Sequence

import msgspec
import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from collector.model.evenness import fluctuation, gradient, variation_in_space
from collector.model.field import Array
from collector.report.quantities import Celsius, Kelvin, Share, Unix, UnixOrNone, known

__all__ = ["DEFINITIONS", "Points", "Survey", "SurveyPoint", "survey_of"]

WINDOW_SECONDS = 1800.0
LEAST_MINUTES = 25
DEFINITIONS = (
    ("Steady stretch", "from the first to the last minute in which the fire was steady; minutes with the lid open, or "
     "in which the pit had not come back from that, are left out, and so are those in which the grate stood more than "
     "15 K (27 °F) below the band: the fire was out or dying."),
    ("Deviation", "mean at the place less mean of the reference, over the same minutes; with it the furthest above and "
     "below the reference in any minute."),
    ("Fluctuation", "greatest less least temperature at one place within half an hour (IEC 60068-3-5: at any one "
     "point, during a stated interval, after stabilisation); the median of the half hours, and the greatest."),
    ("Gradient", "greatest difference, in any half hour, between the mean temperatures of two separate places "
     "(IEC 60068-3-5)."),
    ("Variation in space", "mean of the centre less mean of the place in the same half hour (IEC 60068-3-5); the "
     "median of the half hours. The centre is the probe nearest to the middle of the grate."),
)  # fmt: skip
"""Words and what they mean here; wording of the standard from memory."""


class SurveyPoint(Struct, frozen=True):
    """One place: a probe, or a zone."""

    name: str
    level: str
    mean_celsius: Celsius
    deviation_kelvin: Kelvin
    above_kelvin: Kelvin
    """Furthest above the reference; below zero where it never was above."""
    below_kelvin: Kelvin
    """Furthest below it, as a negative number."""
    fluctuation_kelvin: Kelvin
    fluctuation_most_kelvin: Kelvin
    variation_kelvin: Kelvin
    """Variation in space; null for zones, and for other levels than that of the centre."""
    known_share: Share
    """Of the steady minutes in which it was known and believed."""
    sd_kelvin: Kelvin
    """Of what a probe may be off by, one standard deviation; of a zone's mean."""


class Survey(Struct, frozen=True):
    """A survey."""

    reference: str
    """What the deviations are from, in words."""
    centre: str
    """The probe that stands for the centre; empty where none does."""
    start_unix: Unix
    end_unix: Unix
    minutes: int
    """Surveyed."""
    left_out_minutes: int
    windows: int
    """Half hours of which at least 25 minutes are surveyed."""
    probes: tuple[SurveyPoint, ...]
    zones: tuple[SurveyPoint, ...]
    gradient_kelvin: Kelvin
    """At the grate, median of the half hours."""
    gradient_most_kelvin: Kelvin
    gradient_most_unix: UnixOrNone
    """When that half hour began."""
    gradient_between: tuple[str, ...]
    """The hottest and the coldest place then."""


class Points(msgspec.Struct, frozen=True):
    """Places and their record, one column a minute."""

    names: tuple[str, ...]
    levels: tuple[str, ...]
    celsius: Array
    """Shape (places, minutes); NaN where it was not known or not believed."""
    sd_kelvin: Array
    """Shape (places,)."""
    at_grate: NDArray[np.bool_]
    """Shape (places,)."""


def survey_of(
    unix: Array, steady: NDArray[np.bool_], probes: Points, zones: Points, reference_celsius: Array, reference: str,
    centre: int | None,
) -> Survey | None:  # fmt: skip
    """Survey the steady stretch; None where there is none of half an hour.

    Args:
        unix: time of each column, shape (minutes,).
        steady: which of them count, shape (minutes,).
        probes: of the chamber.
        zones: of the chamber.
        reference_celsius: what deviations are from, shape (minutes,).
        reference: what that is, in words.
        centre: which probe stands for the centre of the grate; None: none.
    """
    which = np.flatnonzero(steady)
    if which.size < LEAST_MINUTES:
        return None
    first, last = int(which[0]), int(which[-1])
    columns = _windows(unix, which)
    of_probes, of_zones = (_window_swings(points, columns) for points in (probes, zones))
    around = [_variation(probes, columns, centre)] if centre is not None else []
    worst, when, between, median = _gradients(probes, columns, unix)
    return Survey(
        reference, "" if centre is None else probes.names[centre], float(unix[first]), float(unix[last]),
        which.size, last - first + 1 - which.size, len(columns),
        _points(probes, which, reference_celsius, of_probes, around[0] if around else None),
        _points(zones, which, reference_celsius, of_zones, None),
        known(median), known(worst), when, between,
    )  # fmt: skip


def _windows(unix: Array, which: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """Cut the surveyed minutes into half hours, from the first on; those of too few minutes are left out."""
    spans = ((unix[which] - unix[which[0]]) // WINDOW_SECONDS).astype(np.intp)
    cut = [which[spans == span] for span in np.unique(spans)]
    return [columns for columns in cut if columns.size >= LEAST_MINUTES]


def _held(celsius: Array) -> Array:
    """Blank the places that are known for too little of a half hour, shape as given."""
    known_minutes = np.isfinite(celsius).sum(axis=1)
    return np.where((known_minutes >= LEAST_MINUTES)[:, None], celsius, np.nan)


def _window_swings(points: Points, windows: Sequence[NDArray[np.intp]]) -> Array:
    """Give the fluctuation of each place in each half hour, shape (places, windows)."""
    swings = [fluctuation(_held(points.celsius[:, columns])) for columns in windows]
    return np.array(swings).T if swings else np.full((len(points.names), 0), np.nan)


def _variation(probes: Points, windows: Sequence[NDArray[np.intp]], centre: int) -> Array:
    """Give the median variation in space of each probe, shape (probes,); NaN off the centre's level."""
    found = [variation_in_space(_held(probes.celsius[:, columns]), centre) for columns in windows]
    here = np.array([level == probes.levels[centre] for level in probes.levels])
    return (
        np.array([_median(row) if at else np.nan for row, at in zip(np.array(found).T, here, strict=True)])
        if found
        else np.full(len(probes.names), np.nan)
    )


def _gradients(
    probes: Points, windows: Sequence[NDArray[np.intp]], unix: Array
) -> tuple[float, float | None, tuple[str, ...], float]:
    """Give the greatest gradient at the grate, when and between which places, and the median of the half hours."""
    grate = np.flatnonzero(probes.at_grate)
    held = [_held(probes.celsius[np.ix_(grate, columns)]) for columns in windows]
    each = np.array([gradient(record) for record in held], dtype=np.float64)
    if not np.isfinite(each).any():
        return float("nan"), None, (), float("nan")
    worst = int(np.nanargmax(each))
    with np.errstate(invalid="ignore"):
        means = np.array([row[np.isfinite(row)].mean() if np.isfinite(row).any() else np.nan for row in held[worst]])
    between = (probes.names[grate[int(np.nanargmax(means))]], probes.names[grate[int(np.nanargmin(means))]])
    return float(each[worst]), float(unix[windows[worst][0]]), between, _median(each)


def _points(
    points: Points, which: NDArray[np.intp], reference: Array, swings: Array, variation: Array | None
) -> tuple[SurveyPoint, ...]:
    found = []
    for k, (name, level) in enumerate(zip(points.names, points.levels, strict=True)):
        values = points.celsius[k, which]
        off = values - reference[which]
        told = off[np.isfinite(off)]
        swing = swings[k][np.isfinite(swings[k])]
        found.append(
            SurveyPoint(
                name, level, known(float(values[np.isfinite(values)].mean())) if np.isfinite(values).any() else None,
                known(float(told.mean())) if told.size else None, known(float(told.max())) if told.size else None,
                known(float(told.min())) if told.size else None, known(_median(swing)),
                known(float(swing.max())) if swing.size else None,
                None if variation is None else known(float(variation[k])),
                known(np.isfinite(values).mean()), known(float(points.sd_kelvin[k])),
            )
        )  # fmt: skip
    return tuple(found)


def _median(values: Array) -> float:
    told = values[np.isfinite(values)]
    return float(np.median(told)) if told.size else float("nan")
