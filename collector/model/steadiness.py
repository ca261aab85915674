"""Whether a probe in a bath has come to rest, and what it reads there: mean, drift and how sure the mean is."""

import enum
import math
from collections import deque

import msgspec
import numpy as np

from collector.model.calibration import MAX_OFFSET_KELVIN
from collector.model.field import Array
from collector.model.robust import median

__all__ = ["MOVED_KELVIN", "BathWatch", "Rest", "State", "median_sd_kelvin", "resolution_kelvin", "rest"]

WINDOW_SECONDS = 120.0
LONGEST_SECONDS = 600.0
"""A probe that sends seldom is watched for longer, up to this."""
LEAST_READINGS = 8
STEADY_KELVIN_PER_MINUTE = 0.1
MOVED_KELVIN, MOVED_STEPS = 0.3, 0.6
"""One at rest moves to and fro by no more than this, or this many of the steps in which it tells its values: it may
flicker between two. What swings has no drift at its turning points, and is far off there."""
NOISE_KELVIN = 1.0
"""Likewise its noise, unless one step is more: readings a minute apart may hide a swing in it."""
SWINGS = 0.7
"""What moves to and fro by more than this share of what it drifts by swings; one that settles has less."""
UNDER_WAY_KELVIN_PER_MINUTE = 1.0
"""A probe that was put into the bath and is still far from it moves faster than this."""
REFERENCE_KELVIN_PER_MINUTE = 1.0
"""A place that warms or cools faster cannot be compared in: probes lag, and do not send at the same moment."""
APART_MINUTES = 0.1
"""How far apart in time a reading and its reference may be."""
SILENT_SECONDS = 60.0
COVERED = 0.8
"""Share of the window its readings must span."""
LEAST_RESOLUTION_KELVIN = 0.01
MOST_AUTOCORRELATION = 0.9
FAHRENHEIT = 5.0 / 9.0
_STEPS = ((1.0, 0.0), (FAHRENHEIT, -32.0 * FAHRENHEIT), (0.5, 0.0), (0.5 * FAHRENHEIT, -32.0 * FAHRENHEIT),
          (0.1, 0.0), (0.1 * FAHRENHEIT, -32.0 * FAHRENHEIT))  # fmt: skip
"""Steps in which probes tell their values, coarsest first, and where 0 of that scale lies, degrees Celsius."""
_ROUNDED_KELVIN = 6e-4
"""Values come rounded to a thousandth."""


class State(enum.StrEnum):
    """How far a probe has come."""

    SILENT = "not heard"
    FEW = "too few readings yet"
    MOVING = "not steady yet"
    SWINGING = "swings to and fro"
    BATH_MOVING = "the place itself warms or cools too fast"
    ELSEWHERE = "far from the bath, and not on its way there"
    STEADY = "steady"


class Rest(msgspec.Struct, frozen=True):
    """What a probe showed over a window, against a reference."""

    raw_celsius: float
    reference_celsius: float
    """Means over the window."""
    noise_kelvin: float
    """Standard deviation of one reading about the straight line through all."""
    moved_kelvin: float
    """The part of it that goes on from one reading to the next: what moves, against what is noise."""
    drift_kelvin_per_minute: float
    """Of raw less reference."""
    reference_drift: float
    """Of the reference itself, kelvin a minute."""
    sd_kelvin: float
    """Of the mean difference: noise, resolution, what it still moves in a minute, and what the bath moves between a
    reading and its reference. Not the reference's own."""
    readings: int


def rest(seconds: Array, raw_celsius: Array, reference_celsius: Array, resolution: float) -> Rest:
    """Reduce the readings of a window, at least three at different times.

    The noise of the mean counts neighbouring readings for less where they move together: n (1 - r) / (1 + r) of them
    are worth something, r being the correlation of each with the next (first-order autoregression).

    Args:
        seconds: times, shape (n,).
        raw_celsius: what the probe said, shape (n,).
        reference_celsius: what the bath was then, shape (n,).
        resolution: the step in which it tells its values, kelvin.
    """
    n = seconds.size
    minutes = (seconds - seconds.mean()) / 60.0
    off = raw_celsius - reference_celsius
    drift, bath = (float(minutes @ values / (minutes @ minutes)) for values in (off, reference_celsius))
    left = off - off.mean() - drift * minutes
    power = float(left @ left)
    noise = math.sqrt(power / (n - 2))
    going_on = max(float(left[:-1] @ left[1:]), 0.0)
    with_next = min(going_on / power, MOST_AUTOCORRELATION) if power > 0.0 else 0.0
    worth = n * (1.0 - with_next) / (1.0 + with_next)
    sd = math.hypot(noise / math.sqrt(worth), resolution / math.sqrt(12.0), drift, APART_MINUTES * bath)
    moved = math.sqrt(going_on / (n - 2))
    return Rest(float(raw_celsius.mean()), float(reference_celsius.mean()), noise, moved, drift, bath, sd, n)


def resolution_kelvin(values: Array) -> float:
    """Tell in which steps a probe tells its values, from some of them, shape (n,): the coarsest all of them are on."""
    for step, zero in _STEPS:
        off = np.abs((values - zero) / step - np.round((values - zero) / step)) * step
        if bool((off <= _ROUNDED_KELVIN).all()):
            return step
    return LEAST_RESOLUTION_KELVIN


def median_sd_kelvin(values: Array, stated_kelvin: Array) -> float:
    """Give the standard deviation of the median of probes that should agree, shape (n,), at least three.

    Their spread by the median absolute deviation, yet never less than the standard deviations stated of them, shape
    (n,): a few may lie together by chance. The median of a normal sample is 1.2533 times less sure than its mean.
    """
    spread = 1.4826 * float(median(np.abs(values - median(values))))
    stated = math.sqrt(float(stated_kelvin @ stated_kelvin) / stated_kelvin.size)
    return 1.2533 * max(spread, stated) / math.sqrt(values.size)


class BathWatch:
    """Follows one probe until it is steady; what it found then stays.

    Times are seconds of the cook's clock.
    """

    def __init__(self) -> None:
        self._samples: deque[tuple[float, float, float]] = deque(maxlen=4096)
        self._seen: set[float] = set()
        self._heard: float | None = None
        self.found: Rest | None = None
        """What it shows, once it is steady in the bath."""
        self.latest: Rest | None = None
        """What it shows now, steady or not; None before there are enough readings."""
        self.state = State.SILENT

    @property
    def readings(self) -> int:
        """How many readings of the last minutes count."""
        return len(self._samples)

    def take(self, heard_unix: float, raw_celsius: float, reference_celsius: float) -> None:
        """Take a reading and what the bath was then; one heard before changes nothing."""
        if self._heard is not None and heard_unix <= self._heard:
            return
        self._heard = heard_unix
        self._samples.append((heard_unix, raw_celsius, reference_celsius))
        if len(self._seen) < 1000:
            self._seen.add(round(raw_celsius, 3))

    def look(self, now_unix: float) -> State:
        """Say how far it has come now."""
        if self.found is None:
            self.state = self._judge(now_unix)
            if self.state is State.STEADY:
                self.found = self.latest
        return self.state

    def _judge(self, now_unix: float) -> State:
        while self._samples and self._samples[0][0] < now_unix - LONGEST_SECONDS:
            self._samples.popleft()
        if self._heard is None or not self._samples:
            return State.SILENT
        recent = [s for s in self._samples if s[0] >= now_unix - WINDOW_SECONDS]
        if len(recent) < LEAST_READINGS:
            recent = list(self._samples)[-LEAST_READINGS:]
        if now_unix - self._heard > max(SILENT_SECONDS, LONGEST_SECONDS / LEAST_READINGS):
            return State.SILENT
        if len(recent) < LEAST_READINGS or recent[-1][0] - recent[0][0] < COVERED * WINDOW_SECONDS:
            return State.FEW
        seconds, raw, reference = np.array(recent).T
        step = resolution_kelvin(np.array(list(self._seen)))
        self.latest = rest(seconds, raw, reference, step)
        if abs(self.latest.reference_drift) > REFERENCE_KELVIN_PER_MINUTE:
            return State.BATH_MOVING
        drift = abs(self.latest.drift_kelvin_per_minute)
        if abs(self.latest.raw_celsius - self.latest.reference_celsius) > MAX_OFFSET_KELVIN:
            return State.ELSEWHERE if drift <= UNDER_WAY_KELVIN_PER_MINUTE else State.MOVING
        restless = self.latest.moved_kelvin > max(MOVED_KELVIN, MOVED_STEPS * step)
        restless = restless or self.latest.noise_kelvin > max(NOISE_KELVIN, step)
        drifted = drift * (seconds[-1] - seconds[0]) / 60.0 / math.sqrt(12.0)
        if restless and self.latest.noise_kelvin > SWINGS * drifted:
            return State.SWINGING
        return State.MOVING if restless or drift > STEADY_KELVIN_PER_MINUTE else State.STEADY
