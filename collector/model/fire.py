"""The fire as the chamber shows it: phase, refuels, and a level that leaves its saw-tooth.

Fed at each look with the mean of the grate, without what changed in places of it, and how fast it falls.
"""

import math

import msgspec
import numpy as np

from collector.model.drift import HALF_CYCLE_SECONDS, DriftWatch
from collector.model.field import Array
from collector.model.lid import NOT_RISING_SECONDS, LidWatch
from collector.model.record import Ring
from collector.model.rhythm import Rhythm
from collector.model.robust import median, quantiles
from collector.model.slope import bin_medians, slope_of_bins
from collector.snapshot import Mark, Phase

__all__ = ["FireWatch", "Steady"]

GONE_OUT_CELSIUS = 45.0
GONE_OUT_SECONDS = 3600.0
REACHED_AFTER_SECONDS = 300.0
SUNK_KELVIN = 15.0
SUNK_SECONDS = 600.0
"""So far below its highest for so long, and not risen in it, a fire that should warm the pit goes out."""
SUNK_KNOWN_SHARE = 0.8
RISES_KELVIN = 2.0
"""By so much more than ten minutes ago it rises."""
SETTLED_SECONDS, SETTLED_KELVIN = 2400.0, 3.0
EVENED_OUT_SECONDS = 2100.0
"""After a warm-up that was seen, walls and grate take so long to even out (common practice, no source); a pit that was
hot when it was first heard has done so."""
ENVELOPE_SECONDS = 4 * 3600.0
ENVELOPE_LAG_SECONDS = 2700.0
"""What is usual is read from before this: a fire that fades must not make itself the usual."""
ENVELOPE_NEEDS_SECONDS = 1800.0
TROUGH_SHARE, CREST_SHARE = 0.05, 0.95
SWING_SHARE = 0.2
NEW_KELVIN = 2.0
WELL_KNOWN_SECONDS = 5400.0
GUST_SECONDS, GUST_MEMORY_SECONDS = 600.0, 7200.0
LEAST_SHAKE_KELVIN = 0.15
LID_BLAMED_SECONDS = 1200.0
RECENT_SECONDS = 900.0
HALF_HOUR_SECONDS = 1800.0
HOT_CELSIUS = 60.0
"""No sun makes a pit so hot: a fire has taken, and should it sink before the band is reached, that is told."""
STALL_PERIODS = 1.35
"""The cook is late now and then (common practice, no source): by less than this share of his own rhythm is no stall."""
PICKED_UP_KELVIN = 0.7
"""By so much the level has turned: a late split has taken, though it is not sure yet."""


class Steady(msgspec.Struct, frozen=True):
    """The usual saw-tooth of the level: its middle, its trough and its crest, degrees Celsius."""

    middle: float
    trough: float
    crest: float


class FireWatch:
    """Follows phase, refuels and level of one pit.

    Args:
        low_celsius: lower edge of the band; the warm-up ends when the grate reaches it, or settles below it.
        high_celsius: upper edge.
        step_seconds: time between two looks.
    """

    def __init__(self, low_celsius: float, high_celsius: float, step_seconds: float) -> None:
        self._low, self._high, self._step = low_celsius, high_celsius, step_seconds
        self._grate = Ring(1, int(5 * 3600 / step_seconds))
        self._calm = Ring(1, int(5 * 3600 / step_seconds))
        """The grate with lid openings and the warm-up left out (NaN)."""
        self.lid = LidWatch()
        self.rhythm = Rhythm()
        self.phase = Phase.UNKNOWN
        self.reached_unix: float | None = None
        """When the grate had reached the band, or sank on the way: from here on a fire that fades is told."""
        self._highest = math.nan
        """Of the warm-up so far."""
        self._evens_out_seconds = 0.0
        """For how long zones are not judged after the band was reached."""
        self.sinking = False
        """The fire went out before the band was reached, and has not brought the level there or to rest since."""
        self.steady_since_unix: float | None = None
        """When the chamber had evened out too: from here on zones are judged."""
        self._cold_since: float | None = None
        self.gone_out = False
        """The chamber has been cold for long: this cook's fire is over."""
        self.level_celsius = float("nan")
        self.drift = DriftWatch(low_celsius, high_celsius, step_seconds)
        self.steady: Steady | None = None
        self._warm_since: float | None = None
        self._known_share = 0.0
        self.restless = 1.0
        """How much more the level shakes than it usually does."""
        self._shakes = math.nan
        self._now = 0.0
        self._stalled_since = -math.inf
        """The refuel after which a stall was marked last."""

    def _steps(self, seconds: float) -> int:
        return max(1, round(seconds / self._step))

    def look(
        self,
        now_unix: float,
        grate_celsius: float,
        grate_fall: float,
        top_fall: float,
        *,
        shown_celsius: float | None = None,
        heard_celsius: float | None = None,
    ) -> list[Mark]:
        """Take one look.

        Args:
            now_unix: the time.
            grate_celsius: mean of the grate as the fire alone would have it; NaN where unknown.
            grate_fall: how far the middle probe of the grate fell within a minute, kelvin.
            top_fall: the same under the lid.
            shown_celsius: mean of the grate as it is shown, with what changed in places of it; as the fire alone
                would have it where this is None.
            heard_celsius: median of what the grate's probes say, believed or not; as shown where this is None.

        Returns:
            What was seen: lid openings, refuels and stalls.
        """
        self._now = now_unix
        shown = grate_celsius if shown_celsius is None else shown_celsius
        heard = shown if heard_celsius is None else heard_celsius
        self._grate.push(np.array([grate_celsius]))
        self.level_celsius = _median(self._grate.last(self._steps(60.0))[0])
        marks: list[Mark] = []
        minute = self._grate.last(self._steps(60.0))[0]
        if self.phase is not Phase.COLD and self.lid.look(now_unix, self._step, minute, grate_fall, top_fall):
            marks.append(Mark(now_unix - self._step, "seen-lid", "the lid was opened"))
        self._look_at_phase(now_unix)
        marks += self._look_for_refuel(now_unix)
        steady = self.phase is Phase.STEADY
        self._calm.push(np.array([grate_celsius if steady else np.nan]))
        self.drift.look(shown if steady else math.nan, heard)
        return marks

    def _look_for_refuel(self, now_unix: float) -> list[Mark]:
        if self.phase is not Phase.STEADY:
            self.rhythm.pause()
            return []
        level = _median(self._grate.last(self._steps(120.0))[0])
        refuelled = self.rhythm.look(now_unix, level, self._swing_kelvin())
        if refuelled is not None:
            return [Mark(refuelled, "seen-refuel", "the fire picked up")]
        return self._look_for_stall(now_unix, level)

    def _look_for_stall(self, now_unix: float, level_celsius: float) -> list[Mark]:
        """Mark once that no split took: late by the rhythm, and lower than the level usually falls between two."""
        last = self.rhythm.refuels[-1] if self.rhythm.refuels else math.nan
        late = now_unix - last > STALL_PERIODS * self.rhythm.period_seconds
        if self.steady is None or not late or not level_celsius < self.steady.trough or last <= self._stalled_since:
            return []
        if self.rhythm.risen_kelvin(level_celsius) > PICKED_UP_KELVIN:
            return []
        self._stalled_since = last
        return [Mark(now_unix, "seen-stall", "the fire has not picked up", since_unix=last)]

    def tell(self, kind: str, time_unix: float) -> None:
        """Take a mark of the cook's; one that the curves show too is counted once.

        While the pit warms up, splits follow no rhythm and are left out.
        """
        if kind == "lid":
            self.lid.tell(time_unix)
        elif kind == "split" and self.reached_unix is not None and not self.sinking:
            self.rhythm.tell(time_unix)

    def judge(self, kind: str, time_unix: float, *, counts: bool) -> None:
        """Count what was seen at a time, or count it no more, as the cook says; one of an older fire never counts."""
        if kind == "seen-lid":
            self.lid.confirm(time_unix) if counts else self.lid.delete(time_unix)
        elif kind == "seen-refuel" and self.steady_since_unix is not None and time_unix >= self.steady_since_unix:
            self.rhythm.confirm(time_unix) if counts else self.rhythm.delete(time_unix)

    def _look_at_phase(self, now_unix: float) -> None:
        level = self.level_celsius
        self._look_for_the_end(now_unix, level)
        if math.isnan(level):
            self.phase = Phase.UNKNOWN
            return
        if self.steady_since_unix is None:
            self._look_at_warm_up(now_unix, level)
            if self.reached_unix is None or self.sinking or now_unix - self.reached_unix < self._evens_out_seconds:
                return
            self.steady_since_unix = now_unix
        self.phase = Phase.STEADY if self.lid.settled(now_unix) else Phase.LID_OPEN

    def _look_for_the_end(self, now_unix: float, level: float) -> None:
        """See that the fire, once lit, has been out for an hour."""
        cold = self.reached_unix is not None and level < GONE_OUT_CELSIUS
        self._cold_since = (self._cold_since or now_unix) if cold else None
        self.gone_out = self._cold_since is not None and now_unix - self._cold_since >= GONE_OUT_SECONDS

    def _look_at_warm_up(self, now_unix: float, level: float) -> None:
        """Follow the warm-up: it is over for the fire when the band is reached, for the zones some time later."""
        self._highest = float(np.fmax(self._highest, level))
        if level < HOT_CELSIUS:
            self._evens_out_seconds = EVENED_OUT_SECONDS
        sinks = self.reached_unix is None and self._sinks()
        hot = level > HOT_CELSIUS or sinks or self.reached_unix is not None
        self.phase = Phase.WARMING if hot else Phase.COLD
        if self.reached_unix is None:
            there = hot and (level >= self._low or self._settled())
        elif self.sinking:
            there = level >= self._low or (level > HOT_CELSIUS and self._at_rest())
        else:
            return
        self._warm_since = (self._warm_since or now_unix) if there else None
        if sinks or (self._warm_since is not None and now_unix - self._warm_since >= REACHED_AFTER_SECONDS):
            self.reached_unix, self.sinking, self._warm_since = now_unix, sinks, None

    def _sinks(self) -> bool:
        """Tell whether a fire that had taken goes out again before the pit was hot; a lid may cool it for a while."""
        if not self._highest > HOT_CELSIUS or self._lid_explains():
            return False
        past = self._grate.last(self._steps(SUNK_SECONDS))[0]
        known = past[np.isfinite(past)]
        if known.size < SUNK_KNOWN_SHARE * self._steps(SUNK_SECONDS):
            return False
        return float(known.max()) < min(self._low, self._highest - SUNK_KELVIN) and self._risen_kelvin() <= 0.0

    def _lid_explains(self) -> bool:
        """Tell whether the newest opening may still be why the level is low."""
        return not self.lid.regained and self._now - self.lid.newest_unix <= LID_BLAMED_SECONDS

    def _risen_kelvin(self) -> float:
        """Say how far the level rose over the last ten minutes; NaN where either end is not known."""
        past, minute = self._grate.last(self._steps(SUNK_SECONDS))[0], self._steps(60.0)
        return _median(past[-minute:]) - _median(past[:minute])

    @property
    def going_out(self) -> bool:
        """Whether the fire sinks before the band was reached, and has not caught again."""
        return self.sinking and not self._risen_kelvin() > RISES_KELVIN

    def _settled(self) -> bool:
        """Tell whether it is as hot as this fire makes it: no 3 K more than 40 minutes ago, and it does not rise."""
        return self._moved_kelvin() < SETTLED_KELVIN and not self._risen_kelvin() > RISES_KELVIN

    def _at_rest(self) -> bool:
        """Tell whether the level is where it was 40 minutes ago."""
        return abs(self._moved_kelvin()) < SETTLED_KELVIN and not self._risen_kelvin() > RISES_KELVIN

    def _moved_kelvin(self) -> float:
        """Say how far the level moved over the last 40 minutes; NaN where they are not on record."""
        past = self._grate.last(self._steps(SETTLED_SECONDS))[0]
        if past.size < self._steps(SETTLED_SECONDS):
            return math.nan
        return float(_median(past[-12:]) - _median(past[:12]))

    def look_at_slope(self) -> None:
        """Work out slope and envelope; called every half minute, they move slowly."""
        self._look_at_gusts()
        period = self.rhythm.period_seconds
        self.drift.find_slope(0.5 * period if period == period else HALF_CYCLE_SECONDS)
        past = self._calm.last(self._steps(ENVELOPE_SECONDS + ENVELOPE_LAG_SECONDS))[0]
        past = past[np.isfinite(past)]
        lag = min(self._steps(ENVELOPE_LAG_SECONDS), past.size // 2)
        past = past[: past.size - lag]
        self._known_share = min(1.0, past.size * self._step / WELL_KNOWN_SECONDS)
        if past.size * self._step >= ENVELOPE_NEEDS_SECONDS:
            trough, middle, crest = quantiles(past, (TROUGH_SHARE, 0.50, CREST_SHARE))
            self.steady = Steady(middle, trough, crest)

    def forget_usual(self) -> None:
        """Learn the level's saw-tooth anew: its probes are read by another line from now on."""
        self._calm = Ring(1, self._calm.columns)
        self.steady = None
        self.drift.forget()

    def outside_kelvin(self) -> tuple[float, float]:
        """Say how far the grate is below its band, and above it, now or soon.

        Returns:
            Kelvin below and kelvin above, negative inside; NaN where it is not known.
        """
        nothing = math.nan, math.nan
        if self.reached_unix is None or self.phase is Phase.LID_OPEN:
            return nothing
        if self.sinking:
            recent = _median(self._grate.last(self._steps(RECENT_SECONDS))[0])
            caught = 0.5 * (self._low - self._high)  # as if on its target, once it rises again
            return (self._low - recent if self.going_out else caught), math.nan
        below, above = self.drift.outside_kelvin()
        if self.steady_since_unix is None:  # a first fire overshoots, then settles
            below, above = self._low - self.level_celsius, math.nan
        return (below if self._told_from_lid() else math.nan), above

    def below_floor_kelvin(self) -> float:
        """Say how far below its band all that is heard lies, once a fire has taken; NaN before."""
        return math.nan if self.reached_unix is None else self.drift.below_floor_kelvin()

    @property
    def half_hour_celsius(self) -> float:
        """Median of the last half hour's calm level; of the last minute where there is none."""
        long = _median(self._calm.last(self._steps(HALF_HOUR_SECONDS))[0])
        return long if long == long else self.level_celsius

    def _look_at_gusts(self) -> None:
        """Compare how much the level shakes from half minute to half minute with how much it usually does."""
        bins = bin_medians(self._calm.last(self._steps(GUST_SECONDS))[0], self._steps(30.0))
        shakes = np.abs(np.diff(bins, n=2))
        shakes = shakes[np.isfinite(shakes)]
        if shakes.size < 5:
            return
        now = float(shakes.mean())
        if self._shakes != self._shakes:
            self._shakes = now
        self.restless = now / max(self._shakes, LEAST_SHAKE_KELVIN)
        self._shakes += 30.0 / GUST_MEMORY_SECONDS * (now - self._shakes)

    def _told_from_lid(self) -> bool:
        """Tell whether a low level may be the fire's doing: for a while after an opening the lid is the likelier."""
        return self.lid.regained or self._now - self.lid.newest_unix > LID_BLAMED_SECONDS

    def _swing_kelvin(self) -> float:
        """Give how far the usual crest stands above the usual trough."""
        return math.nan if self.steady is None else self.steady.crest - self.steady.trough

    def _margin_kelvin(self) -> float:
        """Say how far troughs and crests of a sound fire stray past the usual: by swing, and by how well it is known.

        Cooks are late now and then, and the later the larger their saw-tooth is (common practice, no source).
        """
        if self.steady is None:
            return math.nan
        return SWING_SHARE * self._swing_kelvin() + NEW_KELVIN * (1.0 - self._known_share)

    def _recent_slope(self) -> float:
        """Give the slope of the last quarter of an hour, kelvin an hour."""
        bins = bin_medians(self._grate.last(self._steps(RECENT_SECONDS))[0], self._steps(30.0))
        return 3600.0 * float(slope_of_bins(bins, 30.0))

    def lost_since_lid_kelvin(self) -> float:
        """Say how far the level stands below where a lid opening found it, while it does not rise; else 0."""
        past = self._grate.last(self._steps(NOT_RISING_SECONDS))[0]
        return self.lid.lost_kelvin(self.level_celsius, past, 0.5 * (self._low + self._high))

    def to_limit(self) -> tuple[float, str]:
        """Say in how many minutes the level leaves the band, NaN when it does not within 12 h, and by which `side`.

        Well below its usual trough or above its usual crest, where no saw-tooth turns it, the slope of the last
        minutes counts; else that over a whole cycle and more, where it is sure of its sign.
        """
        drift, level = self.drift, self.level_celsius
        slope = drift.slope_kelvin_per_hour
        if drift.slope_low <= 0.0 <= drift.slope_high:
            slope = math.nan
        margin = self._margin_kelvin()
        if self.steady is not None and not -margin <= level - self.steady.trough <= self._swing_kelvin() + 2.0 * margin:
            recent = self._recent_slope()
            slope = recent if recent * (level - self.steady.middle) > 0.0 else slope
        if not (slope == slope and self._low < level < self._high) or slope == 0.0:
            return math.nan, ""
        minutes = 60.0 * ((self._high if slope > 0 else self._low) - level) / slope
        return (minutes, "high" if slope > 0 else "low") if minutes <= 720.0 else (math.nan, "")


def _median(values: Array) -> float:
    return float(median(values))
