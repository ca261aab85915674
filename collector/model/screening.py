"""Whether a reading can be believed, judged from the probe's own past. Nothing is thrown away, only marked.

What needs the neighbours (stuck while others move, disagreement) is judged by `collector.model.lying`.
"""

import math
from collections import deque

from adapters.reading import Quality, Reading, Reason

__all__ = ["ProbeScreen"]

MAX_AHEAD_SECONDS = 5.0
"""A sender's clock may be so far ahead of ours: no radio or broker takes less than nothing, and clocks that are set
over a network agree within a second (common practice, no source)."""
MAX_BEHIND_SECONDS = 120.0
"""A value may have been under way for so long and still be called the present one."""
STEADY_LAG_SECONDS, STEADY_SECONDS = 5.0, 30.0
"""A lag that differs by less than the first for as long as the second, by our clock, shows a wrong clock of the sender.
A backlog is sent faster than it was measured, so its lag shrinks, or it is over before."""
WINDOW = 7
"""Values looked back on for the median of the spike test."""
OPEN_BELOW_CELSIUS = -55.0
SHORT_ABOVE_CELSIUS = 550.0
"""A thermistor divider, thermocouple or RTD with a broken or shorted lead reads far outside any pit (common
practice, no source)."""
STAND_INS_CELSIUS = frozenset({0.0, -40.0, 85.0, round((0.0 - 32.0) / 1.8, 6), round((999.9 - 32.0) / 1.8, 6)})
"""What senders write in place of a value they do not have: zero and 999.9 in either unit, the least value of a 12-bit
probe, and the 85 °C that a DS18B20 holds before its first conversion (data sheet, "power-on reset value"; the others
are common practice, no source). Each may also be the truth, so it counts only after a leap from the last value."""

_GOOD = Quality.GOOD
_SOUND = Quality.GOOD, Reason.NONE
_SPIKE = Quality.UNCERTAIN, Reason.SPIKE
_STANDS_IN = Quality.BAD, Reason.OPEN_OR_SHORT


class ProbeScreen:
    """Screens the readings of one probe, one after another.

    Args:
        lowest_celsius: least value the probe can measure.
        highest_celsius: greatest value.
        jump_kelvin: how far one value may stand from its past before it is a spike.
        rate_kelvin_per_second: fastest honest change; widens the jump with the time between readings.
        calm_kelvin_per_second: the same while the lid is shut and the chamber moves slowly.
    """

    __slots__ = (
        "_calm_rate", "_highest", "_jump", "_lag", "_lag_since", "_last_lag", "_last_received", "_last_source",
        "_lowest", "_previous", "_rate", "_recent", "_stand_in",
    )  # fmt: skip

    def __init__(
        self,
        lowest_celsius: float,
        highest_celsius: float,
        *,
        jump_kelvin: float = 8.0,
        rate_kelvin_per_second: float = 2.5,
        calm_kelvin_per_second: float = 0.4,
    ) -> None:
        self._lowest = lowest_celsius
        self._highest = highest_celsius
        self._jump = jump_kelvin
        self._rate = rate_kelvin_per_second
        self._calm_rate = calm_kelvin_per_second
        self._recent: deque[float] = deque(maxlen=WINDOW)
        self._previous: float | None = None
        self._last_received = 0.0
        self._last_source: float | None = None
        self._lag = math.nan
        """Time of receipt less the sender's own, seconds, since it was last steady."""
        self._lag_since = 0.0
        self._last_lag = math.inf
        self._stand_in = math.nan
        """The stand-in that the probe leapt to, while it sends no other; NaN when there is none."""

    def judge(self, reading: Reading, *, calm: bool = False) -> tuple[Quality, Reason]:
        """Give the quality of a reading and the reason, and remember it for the next.

        Where the chamber was calm at the last look, the first value after the lid is flung open may look like a spike;
        the second is believed.
        """
        if reading.quality is not _GOOD:
            return reading.quality, reading.reason
        celsius = reading.celsius
        if celsius != celsius:
            return Quality.BAD, Reason.NOT_A_NUMBER
        if celsius <= OPEN_BELOW_CELSIUS or celsius >= SHORT_ABOVE_CELSIUS:
            return Quality.BAD, Reason.OPEN_OR_SHORT
        if not self._lowest <= celsius <= self._highest:
            return Quality.BAD, Reason.OUT_OF_RANGE
        wrong = Reason.NONE
        if reading.source_unix is not None:
            quality, reason = self._clock(reading.source_unix, reading.received_unix)
            if quality is not _GOOD:
                return quality, reason
            wrong = reason
        quality, reason = self._motion(celsius, reading.received_unix, self._calm_rate if calm else self._rate)
        return quality, wrong if reason is Reason.NONE else reason

    def _clock(self, source_unix: float, received_unix: float) -> tuple[Quality, Reason]:
        """Judge the sender's own time against ours and against its last.

        A time ahead of ours shows that the sender's clock is wrong, for nothing arrives before it was measured. A time
        behind ours is a wrong clock where the lag stays the same, and an old value sent late where it does not. What a
        wrong clock dates is good by our time of receipt, and carries the reason all the same.
        """
        lag = received_unix - source_unix
        if not abs(lag - self._lag) < STEADY_LAG_SECONDS:
            self._lag, self._lag_since = lag, received_unix
        steady = received_unix - self._lag_since >= STEADY_SECONDS
        wrong = Reason.NONE
        if lag < -MAX_AHEAD_SECONDS:
            wrong = Reason.CLOCK_FUTURE
        elif lag > MAX_BEHIND_SECONDS:
            wrong = Reason.CLOCK_PAST
            if not steady:
                return Quality.UNCERTAIN, wrong
        before, self._last_lag = self._last_lag, lag
        last, self._last_source = self._last_source, source_unix
        set_back = lag - before > MAX_BEHIND_SECONDS or steady
        if last is None or source_unix > last or (set_back and source_unix != last):
            return _GOOD, wrong
        self._last_source = last
        return Quality.UNCERTAIN, Reason.DUPLICATE if source_unix == last else Reason.OUT_OF_ORDER

    def _motion(self, celsius: float, received_unix: float, rate: float) -> tuple[Quality, Reason]:
        """Judge the value against the last few: one that stands alone is a spike, two that agree are the truth.

        Hampel's test with a fixed scale in place of the median absolute deviation: a pit probe is quiet for minutes
        and its deviation then says nothing about what a lid may do.
        """
        elapsed = min(max(received_unix - self._last_received, 0.0), 60.0)
        recent = self._recent
        away = abs(celsius - sorted(recent)[len(recent) // 2]) if recent else 0.0
        allowed = self._jump + rate * elapsed
        leaps = away > self._jump + self._calm_rate * elapsed
        if celsius == self._stand_in or (leaps and round(celsius, 6) in STAND_INS_CELSIUS):
            self._stand_in = celsius
            return _STANDS_IN
        self._stand_in = math.nan
        previous, self._previous = self._previous, celsius
        self._last_received = received_unix
        alone = previous is not None and not -allowed <= celsius - previous <= allowed and away > allowed
        recent.append(celsius)
        return _SPIKE if alone else _SOUND
