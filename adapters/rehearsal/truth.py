"""What is true of a simulated night, in numbers: when a zone went cold, when the fire had faded how far.

Definitions, used in `sample_streams/truth.json` and on every night's page:

- steady: from 45 min after the true grate mean first reached 104 °C.
- steady level: median of the true grate mean while steady and before the first event of the script.
- cold spot: the true mean of a zone at the grate stands 8.3 K (15 °F) or more below the true mean of the grate for
  20 min on end; its onset is the first of those minutes.
- faded by n: the true grate mean, averaged over the 40 min before, has come n K below the steady level.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from adapters.rehearsal.nights import SampleNight
from adapters.rehearsal.rehearsal import Simulation

__all__ = ["COLD_KELVIN", "truth_of"]

COLD_KELVIN = 8.3
_COLD_MINUTES = 20
_WARM_CELSIUS, _SETTLED_SECONDS = 104.0, 45 * 60.0
_FADE_WINDOW = 40
_FADED_KELVIN = (2, 5, 10, 15)


def _first_run(flags: NDArray[np.bool_], length: int) -> int | None:
    """Return where the first `length` consecutive true flags begin."""
    run = 0
    for at, flag in enumerate(flags.tolist()):
        run = run + 1 if flag else 0
        if run == length:
            return at - length + 1
    return None


def truth_of(sample: SampleNight, simulation: Simulation) -> dict[str, Any]:
    """Return the numbers of a night as plain JSON values; times are seconds from its start."""
    night, seconds, grate = sample.night, simulation.seconds, simulation.grate_celsius
    warm = float(seconds[int(np.argmax(grate >= _WARM_CELSIUS))])
    steady = seconds >= warm + _SETTLED_SECONDS
    calm = steady & (seconds < min((at for at, _ in sample.events), default=night.duration_seconds))
    level = float(np.median(grate[calm]))
    at_grate = [column for column, zone in enumerate(night.zones) if zone.level == "grate"]
    deficits = grate[:, None] - simulation.zone_celsius[:, at_grate]
    cold: dict[str, Any] = {}
    for column, row in enumerate(at_grate):
        onset = _first_run(steady & (deficits[:, column] >= COLD_KELVIN), _COLD_MINUTES)
        if onset is not None:
            after = deficits[onset:, column]
            cold[night.zones[row].name] = {
                "onset": float(seconds[onset]),
                "greatest_deficit_kelvin": round(float(after.max()), 1),
                "median_deficit_kelvin": round(float(np.median(after)), 1),
            }
    averaged = np.convolve(grate, np.ones(_FADE_WINDOW) / _FADE_WINDOW)[: len(grate)]
    faded: dict[str, float] = {}
    for kelvin in _FADED_KELVIN:
        below = np.flatnonzero(steady & (averaged <= level - kelvin))
        if len(below):
            faded[str(kelvin)] = float(seconds[below[0]])
    lid = grate[steady].mean()
    return {
        "seed": night.seed,
        "start_unix": night.start_unix,
        "duration": night.duration_seconds,
        "warm": warm,
        "steady": warm + _SETTLED_SECONDS,
        "steady_level_celsius": round(level, 1),
        "zone_deficit_kelvin": {
            night.zones[row].name: round(float(np.mean(deficits[calm, column])), 1)
            for column, row in enumerate(at_grate)
        },
        "lid_excess_kelvin": {
            zone.name: round(float(simulation.zone_celsius[steady, row].mean() - lid), 1)
            for row, zone in enumerate(night.zones)
            if zone.level == "top"
        },
        "cold_spots": cold,
        "faded_by_kelvin": faded,
        "events": [[at, what] for at, what in sample.events],
        "lids": [[opening.start, opening.seconds, opening.why] for opening in night.lids],
        "meat_on": night.meat.on_seconds if night.meat else None,
        "wrapped": night.meat.wrap_seconds if night.meat else None,
        "faults": [
            [fault.key, fault.kind.value, fault.start, min(fault.end, night.duration_seconds)]
            for fault in night.faults
        ],
        "splits": [[at, round(kilograms, 2)] for at, kilograms in simulation.refuels],
    }
