"""The heart: readings and the time in, a `Snapshot` and events out. Pure and deterministic.

The engine reads no clock. Its time only moves forward, by what it is told, and every judgement falls on a fixed grid
of looks; so whoever feeds it the same readings at the same times (the daemon tonight, a replay next year) gets the
same alarms to the digit.
"""

import math
from functools import partial

import msgspec
import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from adapters.reading import Quality, Reading, Reason
from adapters.text import clean_text
from collector.faults import FAULT_KEY, FaultBook
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.model.calibration import Calibration
from collector.model.chamber import FEWEST, Chamber, Estimate
from collector.model.cold import ColdWatch
from collector.model.cold_reason import likely_reason
from collector.model.evenness import along, fluctuation, gradient, spread, top_to_grate
from collector.model.events import EventBook
from collector.model.field import Array
from collector.model.fire import FireWatch
from collector.model.lying import LevelLook, LyingWatch
from collector.model.meat.piece import Piece
from collector.model.meat.watch import MeatWatch
from collector.model.pattern import Pattern
from collector.model.plan import GRATE, Plan
from collector.model.record import Ring
from collector.model.robust import median
from collector.model.rulebook import Look, RuleBook
from collector.model.screening import ProbeScreen
from collector.model.slope import bin_medians, slope_of_bins
from collector.model.trouble import most_pressing_first
from collector.model.vitals import DeviceVitals
from collector.snapshot import (
    EvennessView,
    FieldView,
    FireView,
    Mark,
    PatchView,
    Phase,
    ProbeView,
    RuleView,
    Snapshot,
    TrendPoint,
    TroubleView,
    Verdict,
    ZoneView,
)  # fmt: skip

__all__ = ["LOOK_SECONDS", "MOST_MARK_CHARACTERS", "Engine", "Event", "Taken"]

LOOK_SECONDS = 5.0
"""Time between two looks at the pit: a tenth of the shortest on-delay, far below any probe's lag."""
TREND_SECONDS = 10.0
CALM_FALL_KELVIN = 2.0
"""Within a minute; no fire falls so fast."""
BURNT_DOWN_KELVIN = 15.0
SLOW_SECONDS = 30.0
"""Slopes, envelope and evenness move slowly and are worked out this often."""
LID_SECONDS = 60.0
SCALES_SECONDS = 3600.0
"""The length scales of the map are learned anew this often: it keeps still between."""
SPIKE_SHARE = 0.15
RING_SECONDS = 3 * 3600
LEAP_SECONDS = 48 * 3600.0
"""A clock that leaps further (a board that starts in 1970) is followed at once, not look by look."""

MOST_MARK_CHARACTERS = 500
_OF_EVENTS = (ActionKind.CONFIRM, ActionKind.DELETE)
_OF_MEAT = (ActionKind.MEAT, ActionKind.MEAT_PHASE, ActionKind.SPOT)
_OF_ALARMS = (
    ActionKind.ACKNOWLEDGE, ActionKind.SHELVE, ActionKind.UNSHELVE, ActionKind.RESET, ActionKind.REMOVE,
    ActionKind.RESTORE,
)  # fmt: skip
_SAYS_NOTHING = (Reason.DUPLICATE, Reason.OUT_OF_ORDER, Reason.LAST_KNOWN)
"""A value heard before, or kept by a broker, is on record; it says nothing of the probe as it is now."""

Event = Transition | Mark | TrendPoint


class Taken(msgspec.Struct, frozen=True):
    """What became of a reading."""

    probe: int | None
    """Index of the probe in the plan; None when no probe claims its key."""
    quality: Quality
    reason: Reason


class Engine:
    """Follows one cook under one plan.

    Args:
        plan: what the cook has set up.
        cook: the cook's name.
        started_unix: when it began; looks fall on multiples of `LOOK_SECONDS` after the epoch.
    """

    def __init__(self, plan: Plan, cook: str, started_unix: float) -> None:
        n, zones = len(plan.probes), len(plan.zones)
        self.plan = plan
        self.cook = cook
        self.started_unix = started_unix
        self.now_unix = started_unix
        self._next_look = math.floor(started_unix / LOOK_SECONDS + 1.0) * LOOK_SECONDS
        self._index = {(p.source, p.key): i for i, p in enumerate(plan.probes)}
        self._screens = [ProbeScreen(p.lowest_celsius, p.highest_celsius) for p in plan.probes]
        self._calm = False
        """The fire is steady, the lid shut, and nothing moves much: a jump is the probe's own."""
        self._gain = [p.gain for p in plan.probes]
        self._offset = [p.added_kelvin for p in plan.probes]
        self._hold = [p.stale_seconds for p in plan.probes]
        """How long a value stands between two readings: until its probe counts as silent."""
        self._sum, self._count = [0.0] * n, [0] * n
        self._newest = [math.nan] * n
        """Raw, as the sums are: calibration is applied when they are read."""
        self._good_at = [-math.inf] * n
        self._heard_at: list[float | None] = [None] * n
        self._doubted_since: list[float | None] = [None] * n
        self._spikes = [0.0] * n
        self._quality, self._reason = [Quality.UNCERTAIN] * n, [Reason.NONE] * n
        self._accusation = [Reason.NONE] * n
        self._offline = np.zeros(n, dtype=bool)
        self._chamber = np.array([p.duty == "chamber" and p.level is not None for p in plan.probes], dtype=bool)
        self._room = Chamber(plan)
        self._members = [np.array(members, dtype=np.intp) for members in self._room.members]
        self._grate = self._room.levels.index(GRATE) if GRATE in self._room.levels else None
        self.faults = FaultBook()
        """What of this engine has failed; see `collector.faults`."""
        self.judged_unix = started_unix
        """When the alarms were last judged."""
        self._fire_fails = False
        """The newest look at the fire failed: nothing of it may be believed."""
        self._begin_anew()
        self._zone_of = np.array([[z.holds(p) for z in plan.zones] for p in plan.probes], dtype=bool).reshape(n, zones)
        self._relied_on = np.zeros(n, dtype=bool)
        """Which probes lie in a zone that runs too cold."""
        self._rules = RuleBook(plan, self.faults)
        self._meat = MeatWatch(plan, self.faults)
        usual = dict(plan.usual_kelvin)
        self._usual: Array = np.array([usual.get(z.name, math.nan) for z in plan.zones], dtype=np.float64)
        self._ring = Ring(n + zones, int(RING_SECONDS / LOOK_SECONDS))
        self._values: Array = np.full(n, np.nan)
        self._usable = np.zeros(n, dtype=bool)
        self._filled: Array = np.full(n, np.nan)
        """Values of the probes that are believed; of the others what their usual and their neighbours say."""
        self._remembered = np.zeros(n, dtype=bool)
        self._field = self._unknown_field()
        self._reasons = ("",) * zones
        self._dose: Array = np.zeros(zones)
        self._trend: Array = np.full(n + zones, np.nan)
        self._evenness = _unknown_evenness()
        self._book = EventBook()
        self._away = False
        self._batteries: dict[str, float] = {}

    def take(self, reading: Reading, at_unix: float) -> tuple[Taken, list[Event]]:
        """Take one reading at this moment; return what became of it and what happened until now."""
        events = self.advance(at_unix)
        probe = self._index.get((reading.source, reading.key))
        if probe is None:
            return Taken(None, reading.quality, reading.reason), events
        try:  # not `attempt`: thousands of readings a second come this way
            quality, reason = self._screens[probe].judge(reading, calm=self._calm)
        except Exception as error:  # noqa: BLE001 - a reading that cannot be screened is recorded and not believed
            self.faults.record(f"screening of {self.plan.probes[probe].name}", at_unix, error, critical=True)
            quality, reason = Quality.UNCERTAIN, Reason.NONE
        if reason is Reason.OFFLINE:
            self._offline[probe] = True
            self._newest[probe] = math.nan
            self._quality[probe], self._reason[probe] = quality, reason
            return Taken(probe, quality, reason), events
        if reason in _SAYS_NOTHING:
            return Taken(probe, quality, reason), events
        self._heard_at[probe] = at_unix
        self._offline[probe] = False
        self._spikes[probe] += 0.02 * ((reason is Reason.SPIKE) - self._spikes[probe])
        if quality is Quality.GOOD:
            self._sum[probe] += reading.celsius
            self._count[probe] += 1
            self._newest[probe] = reading.celsius
            self._good_at[probe] = at_unix
            accused = self._accusation[probe]
            if accused is not Reason.NONE:
                quality, reason = Quality.UNCERTAIN, accused
        elif not self._good_at[probe] > at_unix - self._hold[probe]:
            self._newest[probe] = reading.celsius
        self._quality[probe], self._reason[probe] = quality, reason
        return Taken(probe, quality, reason), events

    def _accused(self, probe: int) -> Reason:
        """Say why a probe is not believed though its readings look sound by themselves."""
        if self._spikes[probe] > SPIKE_SHARE:
            return Reason.SPIKE
        return self._lying.reason(probe)

    def advance(self, now_unix: float) -> list[Event]:
        """Move the time forward, looking at the pit at each point of the grid passed; a step back is ignored."""
        events: list[Event] = []
        if now_unix - self._next_look > LEAP_SECONDS:
            self._next_look = math.floor(now_unix / LOOK_SECONDS) * LOOK_SECONDS - 600.0
        while self._next_look <= now_unix:
            now = self.now_unix = self._next_look
            self._next_look += LOOK_SECONDS
            self.faults.attempt("look", now, partial(self._look, now, events), _nothing, critical=True)
        self.now_unix = max(self.now_unix, now_unix)
        return events

    def note(self, vitals: DeviceVitals, at_unix: float) -> list[Event]:
        """Take note of how a source's device fares; return what happened until now."""
        events = self.advance(at_unix)
        if vitals.battery_percent is not None and any(p.source == vitals.source for p in self.plan.probes):
            self._batteries[vitals.source] = vitals.battery_percent
        return events

    def act(self, action: Action, at_unix: float) -> list[Event]:
        """Do what a person asks.

        Raises:
            KeyError: there is no alarm of that key, no trouble ever has it, there is no event of that identity among
                the newest marks, or no such piece of meat.
        """
        event = self._book.find(action.subject) if action.kind in _OF_EVENTS else None
        if action.kind is ActionKind.MEAT_PHASE and not self._meat.knows(action.subject):
            raise KeyError(action.subject)
        of_fault = action.subject.startswith(FAULT_KEY)
        if action.kind in _OF_ALARMS and action.subject and not of_fault and not self._rules.knows(action.subject):
            raise KeyError(action.subject)
        resumed = action.kind is ActionKind.RESUME
        events = self._wake_up(at_unix, action.seconds) if resumed else self.advance(at_unix)
        if action.kind is ActionKind.ACKNOWLEDGE:
            self.faults.acknowledge(action.subject)
        if action.kind in _OF_ALARMS and of_fault:
            return events
        try:
            self._carry_out(action, event, at_unix, events)
        except (KeyError, ValueError):
            raise
        except Exception as error:  # noqa: BLE001 - it goes on record all the same, so a replay does the same
            self.faults.record("what a person asked for", at_unix, error)
        return events

    def _carry_out(self, action: Action, event: Mark | None, at_unix: float, events: list[Event]) -> None:
        if action.calibration is not None:
            self._calibrate(action.calibration)
        if action.kind in (ActionKind.MARK, ActionKind.RESUME, ActionKind.CALIBRATE):
            named = action.kind is not ActionKind.CALIBRATE and action.subject
            text = clean_text(action.text, MOST_MARK_CHARACTERS)  # also of a store that older code wrote
            events.append(self._book.add(Mark(at_unix, clean_text(named or action.kind, 60), text)))
            if action.kind is ActionKind.MARK:
                self._fire.tell(action.subject, at_unix)
                if action.subject == "moved":
                    self._acquit_moved()
                elif action.subject == "wrap":
                    self._meat.wrap_all(at_unix)
        elif action.kind in _OF_MEAT:
            events.append(self._book.add(self._meat.act(action, at_unix)))
            self._rules.watch_meat(self._meat.names)
        elif event is not None:
            self._judge_event(event, confirmed=action.kind is ActionKind.CONFIRM)
        else:
            events += self._rules.act(action, at_unix)

    def _acquit_moved(self) -> None:
        """Take the probes that are held to lie for those that were moved: learn anew what is usual at their places."""
        for pattern, members in zip(self._patterns, self._members, strict=True):
            for k, probe in enumerate(members.tolist()):
                if self._lying.accused(probe):
                    pattern.forget(k)
                    self._lying.acquit(probe)
                    self._accusation[probe] = Reason.NONE

    def _judge_event(self, event: Mark, *, confirmed: bool) -> None:
        """Count an event that the curves show, or count it no more, as the cook says."""
        self._book.judge(event.event, Verdict.CONFIRMED if confirmed else Verdict.DELETED)
        self._fire.judge(event.kind, event.time_unix, counts=confirmed)

    def _calibrate(self, told: Calibration) -> None:
        """Read a probe by another line from now on, its last hours too, so that no step is taken for a fall."""
        probe = self._index.get((told.source, told.key))
        if probe is None:  # an edited config no longer has it
            return
        gain, offset = self._gain[probe], self._offset[probe]
        self.plan = self.plan.calibrated({(told.source, told.key): told.line})
        changed = self.plan.probes[probe]
        self._gain[probe], self._offset[probe] = changed.gain, changed.added_kelvin
        ratio = changed.gain / gain
        self._values[probe] = ratio * (self._values[probe] - offset) + changed.added_kelvin
        self._ring.change(probe, ratio, changed.added_kelvin - ratio * offset)
        self._room = Chamber(self.plan, self._room.scales)
        self._fire.forget_usual()
        for zone in range(len(self.plan.zones)):
            self._ring.change(len(self.plan.probes) + zone, math.nan, 0.0)  # what its past would have been is not known
        self._forget_usual()

    def _wake_up(self, at_unix: float, away_seconds: float) -> list[Event]:
        """Go on after the collector was away: the time in which nobody listened is no probe's silence."""
        events = self.advance(round(at_unix - away_seconds, 3))  # both are of milliseconds; their difference is not
        self._away = True
        events += self.advance(at_unix)
        self._away = False
        self._heard_at = [None if heard is None else heard + away_seconds for heard in self._heard_at]
        return events

    def _look(self, now: float, events: list[Event]) -> None:
        """Judge the pit at one point of the grid; a part that fails takes none of the others with it."""
        attempt = self.faults.attempt
        attempt("probe values", now, lambda: self._gather(now), self._lose_values, critical=True)
        attempt("zones", now, self._estimate, self._lose_field, critical=True)
        grate = self._of_grate(self._field.level_celsius)
        row = np.concatenate([self._values, self._field.zone_celsius])
        attempt("past of the values", now, lambda: self._ring.push(row), _nothing, critical=True)
        falls = attempt("falls", now, self._falls, lambda: (math.nan, math.nan), critical=True)
        self._fire_fails = False
        seen = attempt("fire", now, lambda: self._look_at_fire(now, falls), self._lose_fire, critical=True)
        self._keep_marks(seen, events)
        if self._fire.gone_out:
            self._begin_anew()
        steady = self._fire.phase is Phase.STEADY
        self._calm = steady and not any(fall > CALM_FALL_KELVIN for fall in falls)
        if steady:
            attempt("zone deficits", now, self._follow_deficits, _nothing, critical=True)
        if now % SLOW_SECONDS < LOOK_SECONDS:
            if steady and not self._burnt_down():
                attempt("probe checks", now, lambda: self._compare_neighbours(now), _nothing, critical=True)
                attempt("local changes", now, self._look_for_changes, _nothing, critical=True)
            self._look_slowly(now)
        self._judge(now, grate, events)
        if now % TREND_SECONDS < LOOK_SECONDS:
            attempt("trend", now, lambda: events.append(self._trend_point(now, grate)), _nothing)

    def _judge(self, now: float, grate: float, events: list[Event]) -> None:
        """Judge every alarm."""
        attempt = self.faults.attempt
        look = attempt("what the alarms judge", now, lambda: self._rule_look(now), lambda: None, critical=True)
        if look is None:
            return
        if self._meat.due(now):
            marks = attempt("meat", now, lambda: self._look_at_meat(now, grate), _no_marks, critical=True)
            self._keep_marks(marks, events)
            look = replace(look, meat=self._meat.looks(now))
        events += self._rules.judge(look)
        self.judged_unix = now

    def _keep_marks(self, marks: list[Mark], events: list[Event]) -> None:
        add = self._book.add
        events += self.faults.attempt("events", self.now_unix, lambda: [add(mark) for mark in marks], _no_marks)

    def _look_at_fire(self, now: float, falls: tuple[float, float]) -> list[Mark]:
        grate = list(self._grate_members())
        return self._fire.look(
            now, self._fire_level(), *falls,
            shown_celsius=self._of_grate(self._field.level_celsius), heard_celsius=float(median(self._values[grate])),
        )  # fmt: skip

    def _trend_point(self, now: float, grate_celsius: float) -> TrendPoint:
        return TrendPoint(
            now,
            tuple(self._field.zone_celsius.tolist()),
            self._grate_spread(),
            grate_celsius,
            tuple(self._values.tolist()),
        )

    def _lose_values(self) -> None:
        """Know no probe's value at this look."""
        self._values[:] = np.nan
        self._usable[:] = False

    def _lose_field(self) -> None:
        """Know no zone at this look; a level is the median of its probes, so that the fire is still watched."""
        values = np.where(self._usable, self._values, np.nan)
        levels = np.array([median(values[members]) for members in self._members], dtype=np.float64)
        self._filled = values
        self._field = replace(self._unknown_field(), level_celsius=levels, level_standing_celsius=levels)

    def _lose_fire(self) -> list[Mark]:
        """Say nothing of the fire at this look."""
        self._fire_fails = True
        return []

    def _unknown_field(self) -> Estimate:
        zones, levels = np.full(len(self.plan.zones), np.nan), np.full(len(self._members), np.nan)
        return Estimate(zones, zones, zones, zones, zones, levels, levels)

    def _look_at_meat(self, now: float, grate_celsius: float) -> list[Mark]:
        believed = np.array([reason is Reason.NONE for reason in self._accusation])
        return self._meat.look(now, np.where(believed, self._values, np.nan), self._field.zone_celsius, grate_celsius)

    def _burnt_down(self) -> bool:
        """Tell whether the fire is so low that no probe stands as usual: then none of them is a liar for it."""
        return self._fire.level_celsius < self.plan.low_celsius - BURNT_DOWN_KELVIN

    def _begin_anew(self) -> None:
        """Know nothing of what is usual: at the start, and when the fire has long been out."""
        plan = self.plan
        self._fire = FireWatch(plan.low_celsius, plan.high_celsius, LOOK_SECONDS)
        self._forget_usual()

    def _forget_usual(self) -> None:
        """Learn anew how cold each zone usually runs, and how far each probe usually stands from its neighbours."""
        plan = self.plan
        self._cold = ColdWatch(len(plan.zones), LOOK_SECONDS)
        self._lying = LyingWatch(self._chamber, LOOK_SECONDS, plan.rule("probe-lying").limit, self._room.patches)
        self._patterns = [Pattern(members.size, LOOK_SECONDS) for members in self._members]
        self._scales_due_unix = -math.inf
        self._shared: Array = np.zeros(len(self._members))
        self._effect = self._room.bumps([()] * len(self._members))

    def _gather(self, now: float) -> None:
        """Reduce the readings since the last look to one value a probe."""
        for i, count in enumerate(self._count):
            if count:
                self._values[i] = self._gain[i] * (self._sum[i] / count) + self._offset[i]
                self._sum[i], self._count[i] = 0.0, 0
            elif self._offline[i] or now - self._good_at[i] > self._hold[i]:
                self._values[i] = np.nan
            accused = self._accusation[i] = self._accused(i)
            if accused is Reason.NONE and self._quality[i] is not Quality.GOOD and self._reason[i] is not Reason.SPIKE:
                accused = self._reason[i]
            if accused in (Reason.NONE, Reason.OFFLINE):
                self._doubted_since[i] = None
            elif self._doubted_since[i] is None:
                self._doubted_since[i] = now
            self._usable[i] = self._chamber[i] and accused is Reason.NONE and not math.isnan(self._values[i])

    def _estimate(self) -> None:
        """Work out zones and level means."""
        self._filled = np.where(self._usable, self._values, np.nan)
        change = np.zeros_like(self._filled)
        self._remembered = np.zeros(len(self._filled), dtype=bool)
        for k, (pattern, members) in enumerate(zip(self._patterns, self._members, strict=True)):
            used = self._usable[members]
            pattern.look(self._values[members], used)
            change[members] = np.where(used & np.isfinite(pattern.change), pattern.change, 0.0)
            missing = ~used & pattern.known
            if missing.any() and used.any():
                expected = self._expected(k)
                change[members[missing]] = expected[missing]
                self._filled[members[missing]] = (pattern.level_celsius + pattern.usual + expected)[missing]
                self._remembered[members[missing]] = True
        self._field = self._room.estimate(self._filled, change, self._effect, self._usable, self._remembered)

    def _expected(self, level: int) -> Array:
        """Say how far each place of a level should stand from its usual by what has changed, kelvin, shape (k,)."""
        return np.asarray(self._shared[level] + self._effect.probes_kelvin[self._members[level]])

    def _of_grate(self, of_levels: Array) -> float:
        """Pick the grate's value, shape (levels,); NaN where the pit has no grate."""
        return math.nan if self._grate is None else float(of_levels[self._grate])

    def _fire_level(self) -> float:
        """Give the mean of the grate as it would be but for what changed in places: a leak is no fading fire."""
        if self._grate is None:
            return math.nan
        used = self._usable[self._members[self._grate]]
        shared = float(median(self._patterns[self._grate].change[used]))
        return self._of_grate(self._field.level_standing_celsius) + (shared if shared == shared else 0.0)

    def _patched_kelvin(self) -> float:
        """Give what the patches add to the mean of the grate."""
        return 0.0 if self._grate is None else self._of_grate(self._effect.levels_kelvin)

    def _falls(self) -> tuple[float, float]:
        """Give how far the middle probe of the grate, and of the other levels, has fallen within a minute, kelvin.

        Each probe against its own past: one that comes or goes is no fall of the chamber.
        """
        past = self._ring.last(int(LID_SECONDS / LOOK_SECONDS))[: len(self.plan.probes)]
        fall = np.where(np.isfinite(past), past, -np.inf).max(axis=1, initial=-np.inf) - past[:, -1]
        fall = np.where(self._usable & np.isfinite(fall), fall, np.nan)
        grate = list(self._grate_members())
        others = [i for level, held in self._by_level() if level != GRATE for i in held]
        return float(median(fall[grate])), float(median(fall[others]))

    def _by_level(self) -> list[tuple[str, tuple[int, ...]]]:
        return list(zip(self._room.levels, self._room.members, strict=True))

    def _follow_deficits(self) -> None:
        field = self._field
        self._cold.look(self.now_unix, field.deficit_kelvin, field.standing_kelvin)
        below = self.plan.low_celsius - self._field.zone_celsius
        self._dose += np.where(below > 0, below, 0.0) * LOOK_SECONDS / 60.0

    def _look_for_changes(self) -> None:
        """Say which places of the chamber have changed against what is usual."""
        found: list[tuple[PatchView, ...]] = []
        for k, (pattern, members) in enumerate(zip(self._patterns, self._members, strict=True)):
            told = self._usable[members] & np.isfinite(pattern.change)
            shared, patches = self._room.changed(k, pattern.change, told, pattern.wander_kelvin)
            self._shared[k] = shared
            found.append(patches)
        self._effect = self._room.bumps(found)

    def _compare_neighbours(self, now: float) -> None:
        """Look who lies, and learn what is usual from the others."""
        for k, (pattern, members) in enumerate(zip(self._patterns, self._members, strict=True)):
            heard = np.isfinite(self._values[members])
            change = np.where(heard, pattern.change, np.nan)
            used = self._usable[members]
            look = LevelLook(
                now, tuple(members.tolist()), self._values[members], change, self._expected(k), pattern.usual,
                pattern.wander_kelvin, self._relied_on[members],
            )  # fmt: skip
            self._lying.look(look, SLOW_SECONDS)
            pattern.learn(now, self._values[members], used, SLOW_SECONDS)
        if now >= self._scales_due_unix:
            away = np.full(len(self.plan.probes), np.nan)
            for pattern, members in zip(self._patterns, self._members, strict=True):
                away[members] = pattern.standing
            if self._room.learn_scales(away):
                self._scales_due_unix = now + SCALES_SECONDS

    def _look_slowly(self, now: float) -> None:
        """Work out what moves slowly: slopes, envelope, stuck probes, evenness."""
        attempt = self.faults.attempt
        attempt("trends of probes and zones", now, self._find_trends, lambda: self._trend.fill(np.nan))
        attempt("slope of the fire", now, self._fire.look_at_slope, _nothing, critical=True)
        self._reasons = attempt("reasons for cold zones", now, self._cold_reasons, lambda: ("",) * len(self.plan.zones))
        attempt("stuck probes", now, self._look_for_stuck, _nothing, critical=True)
        self._evenness = attempt("evenness", now, self._find_evenness, _unknown_evenness)

    def _find_trends(self) -> None:
        bins = bin_medians(self._ring.last(int(900 / LOOK_SECONDS)), int(30.0 / LOOK_SECONDS))
        self._trend = slope_of_bins(bins, 30.0) * 3600.0

    def _look_for_stuck(self) -> None:
        self._lying.look_for_stuck(self._ring.last(int(1200 / LOOK_SECONDS))[: len(self.plan.probes)])

    def _find_evenness(self) -> EvennessView:
        half_hour = self._ring.last(int(1800 / LOOK_SECONDS))[: len(self.plan.probes)]
        grate = [i for i in self._grate_members() if self._usable[i]]
        record = half_hour[grate]
        x = np.array([self.plan.probes[i].x_m for i in grate], dtype=np.float64)
        swing = fluctuation(record)
        return EvennessView(
            self._grate_spread(),
            gradient(record),
            along(x, self._values[grate], self.plan.chamber.length_m),
            self._top_to_grate(),
            float(np.nanmax(swing)) if np.isfinite(swing).any() else math.nan,
        )

    def _grate_members(self) -> tuple[int, ...]:
        return () if self._grate is None else self._room.members[self._grate]

    def _grate_spread(self) -> float:
        grate = [i for i, z in enumerate(self.plan.zones) if z.level == GRATE]
        return spread(self._field.zone_celsius[grate])

    def _top_to_grate(self) -> float:
        above = [i for level, held in self._by_level() if level != GRATE for i in held if self._usable[i]]
        if not above or GRATE not in self._room.levels:
            return math.nan
        x = np.array([self.plan.probes[i].x_m for i in above], dtype=np.float64)
        y = np.array([self.plan.probes[i].y_m for i in above], dtype=np.float64)
        below = self._room.mean_at(self._filled, self._effect, self._usable, self._remembered, x, y)
        return top_to_grate(self._values[above], below)

    def _cold_reasons(self) -> tuple[str, ...]:
        """Say of each zone why it may run cold."""
        below, _ = self._fire.outside_kelvin()
        shut, rates = self._fire.lid.shut_unix, self._cold.rates
        doubted = [p for p, why in zip(self.plan.probes, self._accusation, strict=True) if why is not Reason.NONE]
        return tuple(
            likely_reason(
                grown=self._cold.grew(i),
                rate_kelvin_per_second=float(rates[i]),
                in_doubt=any(zone.holds(p) for p in doubted),
                since_lid_seconds=math.inf if shut is None else self.now_unix - shut,
                fire_below_kelvin=below,
                restless=self._fire.restless,
            )
            for i, zone in enumerate(self.plan.zones)
        )

    def _cold_base(self) -> Array:
        """Give what a deficit against the level's mean is reduced by, so that it is one against what the rule says."""
        match self.plan.rule("cold-spot").against:
            case "target":
                grate = self._fire.half_hour_celsius + self._patched_kelvin()
                return np.full_like(self._usual, grate - self.plan.target_celsius)
            case "usual":
                return np.nan_to_num(self._usual)
            case _:
                return np.zeros_like(self._usual)

    def _rule_look(self, now: float) -> Look:
        fire, nan = self._fire, math.nan
        below, above, floor, lost = nan, nan, nan, nan
        if not self._fire_fails:
            below, above = fire.outside_kelvin()
            floor, lost = fire.below_floor_kelvin(), fire.lost_since_lid_kelvin()
        level = fire.drift.level_celsius
        deficit = self._cold.judged(self._field.deficit_sd_kelvin, self._usual, self._cold_base())
        deficit = np.fmax(deficit, self._deficit_in_doubt())
        too_cold = deficit > self.plan.rule("cold-spot").limit
        self._relied_on = np.any(self._zone_of & too_cold, axis=1)
        age = np.array([now - (h if h is not None else self.started_unix) for h in self._heard_at])
        if self._away:
            age = np.zeros_like(age)
        doubted = np.array([0.0 if since is None else now - since + LOOK_SECONDS for since in self._doubted_since])
        phase = fire.phase
        return Look(
            now_unix=now,
            phase=phase,
            zone_deficit_kelvin=deficit,
            cold_reasons=self._reasons,
            spread_kelvin=self._grate_spread(),
            below_kelvin=below,
            above_kelvin=above,
            outside_now_kelvin=max(self.plan.low_celsius - level, level - self.plan.high_celsius),
            below_floor_kelvin=floor,
            lost_since_lid_kelvin=lost,
            fire_unlit=fire.reached_unix is None,
            age_seconds=age,
            offline=self._offline,
            covered=self._covered(),
            reasons=tuple(a or r for a, r in zip(self._accusation, self._reason, strict=True)),
            doubted_seconds=doubted,
            batteries=self._batteries,
        )

    def _deficit_in_doubt(self) -> Array:
        """Give the deficit of each zone of a probe that may lie, if it does not; NaN elsewhere, shape (zones,)."""
        believed = self._usable | (self._lying.in_doubt() & np.isfinite(self._values))
        doubted = believed & ~self._usable
        if not doubted.any():
            return np.full(len(self.plan.zones), np.nan)
        filled = np.where(doubted, self._values, self._filled)
        field = self._room.estimate(filled, np.zeros_like(filled), self._effect, believed, self._remembered & ~believed)
        inside = np.any(self._zone_of & doubted[:, None], axis=0)
        return np.where(inside, field.deficit_kelvin - self._cold_base(), np.nan)

    def _watched(self) -> NDArray[np.bool_]:
        """Tell which zones the map knows well enough for their alarm."""
        return self._room.watched(self.plan.rule("cold-spot").limit, self._field.deficit_sd_kelvin)

    def _covered(self) -> NDArray[np.bool_]:
        """Tell of which chamber probes the others say enough: each zone of the grate watched, or one more elsewhere."""
        covered = np.zeros(len(self.plan.probes), dtype=bool)
        for level, members in zip(self._room.levels, self._members, strict=True):
            used = self._usable[members]
            covered[members] = np.count_nonzero(used) - used >= (FEWEST if level == GRATE else 1)
        return np.asarray(covered & ~np.any(self._zone_of & ~self._watched(), axis=1))

    def believed(self, now_unix: float) -> int:
        """Count the probes of the plan that have a good value, believed and no older than they may be."""
        return sum(
            now_unix - good <= hold and accused is Reason.NONE
            for good, hold, accused in zip(self._good_at, self._hold, self._accusation, strict=True)
        )

    def rules(self) -> tuple[RuleView, ...]:
        """Show every rule and subject as it stands."""
        return self._rules.rules()

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The pieces of meat that are not off yet, as they are described now."""
        return self._meat.pieces

    def refusal(self, action: Action) -> str:
        """Say why an action on alarms may not be, or would come to nothing; empty when it may.

        Raises:
            KeyError: there is no alarm of that key, and no trouble ever has it.
        """
        if not action.subject.startswith(FAULT_KEY):
            return self._rules.refusal(action)
        if action.kind is not ActionKind.ACKNOWLEDGE:
            return "a fault of coldside's can only be acknowledged; it ends when its part works again"
        standing = {FAULT_KEY + fault.part for fault in self.faults.standing(self.now_unix)}
        return "" if action.subject in standing else f"{action.subject} does not stand now"

    def troubles(self) -> tuple[TroubleView, ...]:
        """Show what is wrong, once for all alarms of one cause, with the faults that are old enough to call anybody."""
        return self._troubles(calling_only=True)

    def _troubles(self, *, calling_only: bool) -> tuple[TroubleView, ...]:
        now = self.now_unix
        none: tuple[TroubleView, ...] = ()
        found = self.faults.attempt("alarms", now, self._rules.troubles, lambda: none, critical=True)
        return most_pressing_first((*found, *self.faults.troubles(now, calling_only=calling_only)))

    def snapshot(self) -> Snapshot:
        """Show the cook as it stands. Each part is built apart: one that fails is replaced, and `faults` names it."""
        plan, now, attempt = self.plan, self.now_unix, self.faults.attempt
        probes = [
            attempt(f"probe {p.name}", now, partial(self._probe_view, i), partial(self._unknown_probe, i))
            for i, p in enumerate(plan.probes)
        ]
        zones = [
            attempt(f"zone {z.name}", now, partial(self._zone_view, i), partial(self._unknown_zone, i), critical=True)
            for i, z in enumerate(plan.zones)
        ]
        blind = self.faults.failing("look")  # nothing was judged: what is left is of before
        if blind:
            zones = [self._unknown_zone(i) for i in range(len(plan.zones))]
        fire = _unavailable_fire() if self._fire_fails or blind else attempt(
            "view of the fire", now, self._fire_view, _unavailable_fire, critical=True
        )  # fmt: skip
        return Snapshot(
            now,
            self.cook,
            self.started_unix,
            plan.chamber,
            plan.target_celsius,
            plan.low_celsius,
            plan.high_celsius,
            tuple(probes),
            tuple(zones),
            attempt("map", now, self._maps, tuple),
            self._evenness,
            fire,
            attempt("alarms", now, self._rules.views, tuple, critical=True),
            attempt("marks", now, self._book.marks, tuple, keep=True),
            meat=self._meat.views(now),
            spots=attempt("readings by hand", now, self._meat.spots, tuple, keep=True),
            troubles=self._troubles(calling_only=False),
            faults=self.faults.views(now),
        )

    def _maps(self) -> tuple[FieldView, ...]:
        fields = (
            self._room.view(name, self._filled, self._effect, self._usable, self._remembered)
            for name in self._room.levels
        )
        return tuple(field for field in fields if field is not None)

    def _unknown_probe(self, i: int) -> ProbeView:
        probe = self.plan.probes[i]
        return ProbeView(
            probe.name, probe.duty, probe.level, probe.x_m, probe.y_m, math.nan, Quality.UNCERTAIN, Reason.NONE, None,
            math.nan, silent=False, used=False,
        )  # fmt: skip

    def _unknown_zone(self, i: int) -> ZoneView:
        zone, nan = self.plan.zones[i], math.nan
        return ZoneView(zone.name, zone.level, zone.x0_m, zone.x1_m, zone.y0_m, zone.y1_m, nan, nan, nan, nan, 0, nan)

    def _probe_view(self, i: int) -> ProbeView:
        probe, heard, raw = self.plan.probes[i], self._heard_at[i], self._newest[i]
        celsius = self._gain[i] * raw + self._offset[i]
        silent = bool(self._offline[i]) or self.now_unix - (heard or self.started_unix) > probe.stale_seconds
        return ProbeView(
            probe.name, probe.duty, probe.level, probe.x_m, probe.y_m, celsius, self._quality[i],
            self._reason[i], heard, float(self._trend[i]), silent, bool(self._usable[i]) and not silent,
            probe.target_celsius, raw, probe.tolerance_kelvin, None if probe.line is None else probe.line.time_unix,
            probe.line, probe.tolerance_class,
        )  # fmt: skip

    def _zone_view(self, i: int) -> ZoneView:
        zone = self.plan.zones[i]
        held = sum(1 for p, usable in zip(self.plan.probes, self._usable, strict=True) if usable and zone.holds(p))
        field = self._field
        return ZoneView(
            zone.name, zone.level, zone.x0_m, zone.x1_m, zone.y0_m, zone.y1_m, float(field.zone_celsius[i]),
            float(field.zone_sd_kelvin[i]), -float(field.deficit_kelvin[i]),
            float(self._trend[len(self.plan.probes) + i]), held, float(self._dose[i]), bool(self._watched()[i]),
        )  # fmt: skip

    def _fire_view(self) -> FireView:
        fire, rhythm = self._fire, self._fire.rhythm
        minutes, side = fire.to_limit()
        return FireView(
            fire.phase, self._of_grate(self._field.level_celsius),
            fire.drift.slope_kelvin_per_hour, fire.drift.slope_low, fire.drift.slope_high, minutes,
            fire.lid.open_unix, rhythm.refuels[-1] if rhythm.refuels else None,
            rhythm.period_seconds, None if math.isnan(rhythm.due_unix) else rhythm.due_unix, fire.lid.openings,
            rhythm.count, side, fire.going_out,
        )  # fmt: skip


def _unavailable_fire() -> FireView:
    """Stand for a fire that cannot be judged because coldside itself fails."""
    nan = math.nan
    return FireView(Phase.UNAVAILABLE, nan, nan, nan, nan, nan, None, None, nan, None, 0, 0, "")


def _unknown_evenness() -> EvennessView:
    return EvennessView(*[math.nan] * 5)


def _no_marks() -> list[Mark]:
    return []


def _nothing() -> None:
    """Stand in for a step of a look that only changes what later looks know."""
