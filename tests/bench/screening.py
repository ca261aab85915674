"""Row 18: screening a tick of 32 probes for spikes, against Hampel's test by a pair of `np.median`.

The peer (Hampel, 1974, *J. Amer. Statist. Assoc.* 69, 383; from memory): a value further from the median of a window
of 61 than three scaled median absolute deviations is a spike, all probes in one call. Ours judges each reading as it
comes, by fixed kelvins, and all that screening judges besides. Both must find the same spikes in a steady pit.
"""

import numpy as np

from adapters.reading import Reading, Reason
from collector.model.field import Array
from collector.model.screening import ProbeScreen
from tests.bench.measure import Effort, Finding, ratio, seconds_of, turns

__all__ = ["Ticks", "measure"]

PROBES, WINDOW, TICKS = 32, 61, 600
SPIKE_KELVIN = 40.0
SIGMAS = 3.0
TO_SIGMA = 1.4826
LEAST_KELVIN = 8.0
"""Of both: three deviations of a quiet probe are a tenth of a degree, and no spike."""


class Ticks:
    """A value a second of each probe, slowly swinging, here and there one that stands alone."""

    def __init__(self) -> None:
        random = np.random.default_rng(9)
        t = np.arange(TICKS)[:, None]
        values = 113.0 + 4.0 * np.sin(t / 420.0 + np.arange(PROBES)) + random.normal(0.0, 0.3, (TICKS, PROBES))
        self.spikes = random.random((TICKS, PROBES)) < 0.002
        self.spikes[:WINDOW] = False
        self.spikes[1:] &= ~self.spikes[:-1]
        self._values: Array = np.round(values + SPIKE_KELVIN * self.spikes, 1)
        self._readings = [
            [Reading("house", f"p{k}", celsius, float(at)) for k, celsius in enumerate(row)]
            for at, row in enumerate(self._values.tolist())
        ]
        self._screens = [ProbeScreen(-50.0, 400.0) for _ in range(PROBES)]
        self._turn = 0

    def ours(self, at: int) -> list[bool]:
        """Judge a tick."""
        verdicts = [screen.judge(reading) for screen, reading in zip(self._screens, self._readings[at], strict=True)]
        return [reason is Reason.SPIKE for _, reason in verdicts]

    def theirs(self, at: int) -> "np.ndarray":
        """Judge a tick against the window that ends with it."""
        window = self._values[at - WINDOW + 1 : at + 1]
        middle = np.median(window, axis=0)
        spread = np.median(np.abs(window - middle), axis=0)
        return np.abs(window[-1] - middle) > np.maximum(SIGMAS * TO_SIGMA * spread, LEAST_KELVIN)

    def next(self) -> int:
        """Go on to the next tick, round and round."""
        self._turn = self._turn + 1 if WINDOW <= self._turn < TICKS - 1 else WINDOW
        return self._turn

    def missed(self) -> tuple[int, int]:
        """Count the verdicts that are wrong: ours, theirs."""
        ours = theirs = 0
        for at in range(TICKS):
            judged = np.array(self.ours(at))
            if at >= WINDOW:
                ours += int((judged != self.spikes[at]).sum())
                theirs += int((self.theirs(at) != self.spikes[at]).sum())
        return ours, theirs


def measure(effort: Effort) -> list[Finding]:
    """Compare CPU time a tick, and what they find."""
    wrong = Ticks().missed()
    ticks, times = Ticks(), effort.of(2000, 500)
    ours, theirs = turns(
        effort.of(9, 5),
        (
            lambda: seconds_of(lambda: ticks.ours(ticks.next()), times),
            lambda: seconds_of(lambda: ticks.theirs(ticks.next()), times),
        ),
    )
    middle, low, high = ratio(theirs, ours)
    note = (
        f"{1e6 * min(ours):.0f} against {1e6 * min(theirs):.0f} us a tick of {PROBES} probes (least), "
        f"window of {WINDOW}; of {int(Ticks().spikes.sum())} spikes wrong verdicts {wrong[0]} and {wrong[1]}"
    )
    return [Finding(18, "screening 32 probes, np.median pair / ours", middle, "x", 3, 5, True, low, high, note)]
