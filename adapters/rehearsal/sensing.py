"""What the probes say: late, a little off, noisy, in tenths of a degree, and sometimes untrue."""

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from adapters.rehearsal.night import FaultKind, ProbeFault
from adapters.rehearsal.pit import RehearsalProbe

__all__ = ["Sensing"]

Array = NDArray[np.float64]

OPEN_CELSIUS, SHORT_CELSIUS = 850.0, -200.0
_FARTHEST_OFFSET = 2.4
"""In standard deviations."""
_EDDY_KELVIN, _EDDY_SECONDS = 0.8, 45.0
_JITTER_SECONDS = 0.12
_WET_BULB_CELSIUS = 68.0


class Sensing:
    """All probes of a night. `sample` gives (seconds, key, °C) for what was sent since the last call."""

    def __init__(
        self,
        probes: Sequence[RehearsalProbe],
        random: Generator,
        first: Array,
        *,
        offset_kelvin: float = 0.5,
        resolution_kelvin: float = 0.1,
    ) -> None:
        self._probes = tuple(probes)
        self._random = random
        count = len(self._probes)
        self._index = {probe.key: row for row, probe in enumerate(self._probes)}
        in_air = np.array([probe.duty == "chamber" for probe in self._probes])
        self._interval = np.array([probe.interval_seconds for probe in self._probes])
        self._lag = np.array([max(probe.lag_seconds, 2.0) for probe in self._probes])
        self._noise = np.array([probe.noise_kelvin for probe in self._probes])
        self._eddy_scale = np.where(in_air, _EDDY_KELVIN, 0.0)
        self.offset: Array = random.normal(0.0, offset_kelvin, count).clip(
            -_FARTHEST_OFFSET * offset_kelvin, _FARTHEST_OFFSET * offset_kelvin
        )
        """What each probe is off by all night, kelvin."""
        self._steps_per_kelvin = round(1.0 / resolution_kelvin)
        self.still = False
        """No eddies of its own at any tip: they are in water, or tied together."""
        self._eddy = np.zeros(count)
        self._tip = first.copy()
        self._slot = self._interval * random.uniform(0.0, 1.0, count)
        self._due = self._slot.copy()
        self._kept: dict[str, float] = {}

    def sample(
        self, now: float, seconds: float, truth: Array, faults: Iterable[ProbeFault]
    ) -> list[tuple[float, str, float]]:
        """Advance to `now` and return what was sent on the way, in order of time.

        Args:
            now: seconds from the start.
            seconds: length of the step that ends now.
            truth: air or meat at each tip, °C, shape (probes,).
            faults: those that may be at work; each knows its span.
        """
        turn = self._random.standard_normal((2, len(self._probes)))
        fade = math.exp(-seconds / _EDDY_SECONDS)
        self._eddy = self._eddy * fade + self._eddy_scale * math.sqrt(1.0 - fade * fade) * turn[0]
        # Eddies are of hot air: a cold pit has none to speak of.
        restless = np.clip((truth - 20.0) / 80.0, 0.0, 0.0 if self.still else 1.4)
        self._tip += (truth + self._eddy * restless - self._tip) * (1.0 - np.exp(-seconds / self._lag))
        due = np.flatnonzero(self._due <= now)
        if not len(due):
            return []
        shown = self._tip + self.offset + self._noise * turn[1]
        if active := [fault for fault in faults if fault.start <= now < fault.end]:
            shown = self._with_faults(now, shown, active)
        sent = []
        for row in sorted(due.tolist(), key=self._due.__getitem__):
            value = float(shown[row])
            if not math.isnan(value):
                steps = self._steps_per_kelvin
                value = round(value, 1) if steps == 10 else round(value * steps) / steps
                sent.append((round(float(self._due[row]), 1), self._probes[row].key, value))
            self._slot[row] += self._interval[row]
            self._due[row] = self._slot[row] + self._random.normal(0.0, _JITTER_SECONDS)
        return sent

    def _with_faults(self, now: float, shown: Array, faults: list[ProbeFault]) -> Array:
        """Return what is shown instead; NaN is nothing sent."""
        true = shown
        shown = shown.copy()
        for fault in faults:
            row = self._index.get(fault.key)
            if row is None:
                continue
            if fault.kind is FaultKind.SWAPPED:
                other = self._index.get(fault.other)
                if other is not None:
                    shown[row], shown[other] = true[other], true[row]
            else:
                shown[row] = self._untrue(now, fault, float(shown[row]))
        return shown

    def _untrue(self, now: float, fault: ProbeFault, value: float) -> float:
        """Return what a single probe with this fault shows instead of `value`."""
        match fault.kind:
            case FaultKind.STUCK:
                return self._kept.setdefault(f"{fault.key}@{fault.start}", value)
            case FaultKind.DRIFT:
                walked = fault.kelvin_per_hour * (now - fault.start) / 3600.0
                return value + math.copysign(min(abs(walked), abs(fault.kelvin)), fault.kelvin_per_hour)
            case FaultKind.SPIKE:
                interval = float(self._interval[self._index[fault.key]])
                if self._random.random() < interval / fault.every_seconds:
                    sign = 1.0 if self._random.random() < 0.5 else -1.0
                    return value + sign * abs(fault.kelvin) * float(self._random.uniform(0.7, 1.6))
                return value
            case FaultKind.OPEN:
                return OPEN_CELSIUS
            case FaultKind.SHORT:
                return SHORT_CELSIUS
            case FaultKind.SILENT:
                return math.nan
            case FaultKind.WET:
                return min(value, _WET_BULB_CELSIUS + 0.08 * (value - _WET_BULB_CELSIUS))
            case FaultKind.SWAPPED:
                return value
