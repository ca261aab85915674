"""What is true of a simulated night, in numbers: when a zone went cold, when the fire had faded how far.

Definitions, used in `sample_streams/truth.json` and on every night's page:

- steady: from 45 min after the true grate mean first reached 104 °C.
- calm: steady, before any trouble with chamber or fire begins, and not within 30 min after the door was open.
- steady level: median of the true grate mean while calm.
- cold spot: the true mean of a zone at the grate stands 8.3 K (15 °F) or more below the true mean of the grate for
  20 min on end; its onset is the first of those minutes.
- faded by n: the true grate mean, averaged over the 5 min before, has come n K below the steady level, after the
  fire was left alone.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from adapters.rehearsal.nights import SampleNight
from adapters.rehearsal.rehearsal import Simulation

__all__ = ["COLD_KELVIN", "truth_of"]

COLD_KELVIN = 8.3
_COLD_MINUTES = 20
_WARM_CELSIUS, _SETTLED_SECONDS = 104.0, 45 * 60.0
_RECOVERY_SECONDS = 30 * 60.0
_FADE_WINDOW = 5
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
    trouble = [leak.start for leak in night.leaks] + [start for start, _ in night.unattended]
    calm = steady & (seconds < min(trouble, default=night.duration_seconds))
    for lid in night.lids:
        calm &= (seconds < lid.start) | (seconds > lid.start + lid.seconds + _RECOVERY_SECONDS)
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
    neglected = steady & (seconds >= min((start for start, _ in night.unattended), default=math.inf))
    faded: dict[str, float] = {}
    for kelvin in _FADED_KELVIN:
        below = np.flatnonzero(neglected & (averaged <= level - kelvin))
        if len(below):
            faded[str(kelvin)] = float(seconds[below[0]])
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
            zone.name: round(float(np.mean(simulation.zone_celsius[calm, row] - grate[calm])), 1)
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
            [fault.key, fault.kind.value, fault.start, min(fault.end, night.duration_seconds)] for fault in night.faults
        ],
        "splits": [[at, round(kilograms, 2)] for at, kilograms in simulation.refuels],
    }
