"""The alarm rules applied to one look at the pit: which value each alarm is fed, and when it may not speak."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial

import msgspec
import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from adapters.reading import Reason
from collector.faults import FaultBook
from collector.model.action import Action, ActionKind
from collector.model.alarm import TRANSITIONS, Alarm, AlarmEvent, Transition
from collector.model.field import Array
from collector.model.meat.alarms import MeatAlarms
from collector.model.meat.piece_watch import PieceLook
from collector.model.plan import GRATE, Plan
from collector.model.suppression import SUPPRESSED_WHILE, Circumstance, circumstances, suppressed
from collector.model.trouble import FADING_FIRE, could_be, troubles
from collector.snapshot import AlarmState, AlarmView, Phase, RuleView, TroubleView

__all__ = ["LYING_WORDS", "Look", "RuleBook"]

FADING, HOT = "the fire is fading", "the pit is running hot"
FLOOR = "the pit is far below its band: look at firebox and lid; an unattended fire that is lit again can run away"

HOT_FIRE = "hot fire"
"""Subject of the drift alarm for a level above its band."""
OLD_DRIFT = "drift/grate"
"""What both alarms of drift were called while they were one: stored actions name it."""

LYING_WORDS = {
    Reason.STUCK: "has not moved while the others did: look at its plug and cable",
    Reason.DISAGREES: "stands away from its neighbours: it moved, touches something, or its place alone is so",
    Reason.SPIKE: "jumps: look at its plug and cable",
    Reason.OPEN_OR_SHORT: "reads like a broken or shorted lead",
    Reason.OUT_OF_RANGE: "reads outside what it can measure",
    Reason.NOT_A_NUMBER: "says that it has no value: is it plugged in?",
    Reason.UNDECODABLE: "sends what cannot be read",
    Reason.CLOCK_FUTURE: "sends times ahead of ours: its clock is wrong",
    Reason.CLOCK_PAST: "sends old values: its clock is wrong or it sends late",
    Reason.DUPLICATE: "repeats itself",
    Reason.OUT_OF_ORDER: "sends its values out of order",
    Reason.LAST_KNOWN: "has only a kept value of unknown age",
    Reason.OFFLINE: "is gone, says its source",
    Reason.TOO_FAST: "moves faster than air or meat can: look at its plug and cable",
    Reason.SWAPPED: "seems to have changed places with another: look at the plugs",
    Reason.WET: "stays near the wet bulb as if wetted: look whether it drips on or touches meat",
    Reason.DRIFTS: "walks away slowly: it slipped, it fails, or its place alone goes that way",
}
"""Why a probe is not believed and what to look at; for every reason but none."""


class Look(msgspec.Struct, frozen=True):
    """What the rules judge, at one moment."""

    now_unix: float
    phase: Phase
    zone_deficit_kelvin: Array
    """Level mean less zone mean, smoothed, shape (zones,)."""
    cold_reasons: tuple[str, ...]
    """Why each zone may run cold."""
    spread_kelvin: float
    below_kelvin: float
    """How far the grate is below its band, now or soon; NaN where it is not known."""
    above_kelvin: float
    """How far it is above its band."""
    outside_now_kelvin: float
    """How far it is outside its band now, on either side; negative inside."""
    below_floor_kelvin: float
    """How far all that is heard of the grate has been below its band."""
    lost_since_lid_kelvin: float
    """How far below where a lid opening found it the grate stands without rising."""
    fire_unlit: bool
    """The grate has not reached the band yet: drift may not speak."""
    age_seconds: Array
    """Since each probe was last heard, shape (probes,)."""
    offline: NDArray[np.bool_]
    """Which probes their source says are gone, shape (probes,)."""
    covered: NDArray[np.bool_]
    """Of which places the map knows enough without their probe, shape (probes,)."""
    reasons: tuple[Reason, ...]
    """Why each probe is not believed now; NONE where it is."""
    doubted_seconds: Array
    """For how long, shape (probes,)."""
    batteries: Mapping[str, float]
    """Percent left, by source, of those that told."""
    meat: Sequence[PieceLook] = ()
    """Of every piece, once a minute; nothing at the looks between."""


class RuleBook:
    """All alarms of a plan.

    Args:
        plan: the rules and their subjects.
        faults: contains the fault of one alarm, so that the others are judged all the same.
    """

    def __init__(self, plan: Plan, faults: FaultBook | None = None) -> None:
        self._faults = faults or FaultBook()
        cold, drift, spread = plan.rule("cold-spot"), plan.rule("drift"), plan.rule("spread")
        silent = plan.rule("probe-silent")
        # its limit and deadband are kelvin, for `LyingWatch`; the alarm itself stands while there is any doubt
        lying = replace(plan.rule("probe-lying"), deadband=0.0)
        self._zones = [(i, Alarm(cold, z.name, "kelvin")) for i, z in enumerate(plan.zones) if z.level == GRATE]
        self._low, self._high = Alarm(drift, FADING_FIRE, "kelvin"), Alarm(drift, HOT_FIRE, "kelvin")
        self._floor = Alarm(plan.rule("pit-low"), GRATE, "kelvin")
        self._spread = Alarm(spread, GRATE, "kelvin")
        self._lid = Alarm(plan.rule("lid-open"), "lid", "kelvin")
        self._silent = [Alarm(silent, p.name, "seconds") for p in plan.probes]
        self._silent_after = [silent.limit or p.stale_seconds for p in plan.probes]
        self._lying = [Alarm(lying, p.name, "seconds") for p in plan.probes]
        sources = dict.fromkeys(p.source for p in plan.probes)
        self._batteries = {s: Alarm(plan.rule("battery-low"), s, "percent") for s in sources}
        self._source_of = {p.name: p.source for p in plan.probes}
        owned = {s: [i for i, p in enumerate(plan.probes) if p.source == s] for s in sources}
        self._sources = [
            (Alarm(plan.rule("source-silent"), source, "seconds"), members, max(self._silent_after[i] for i in members))
            for source, members in owned.items()
            if len(members) > 1
        ]
        """Of each source with several probes, and for how long the last of these must be silent."""
        self._why_silent: dict[str, frozenset[Circumstance]] = {}
        """Why the silence of a probe is suppressed, by its alarm's key."""
        self._circumstances: frozenset[Circumstance] = frozenset({Circumstance.UNHEARD})
        self._look: Look | None = None
        self.alarms: dict[str, Alarm] = {
            a.key: a
            for a in (
                *(a for _, a in self._zones),
                self._low,
                self._high,
                self._floor,
                self._spread,
                self._lid,
                *(alarm for alarm, _, _ in self._sources),
                *self._silent,
                *self._lying,
                *self._batteries.values(),
            )
        }
        self._meat = MeatAlarms(plan, self._faults)
        self.alarms |= self._meat.alarms

    def judge(self, look: Look) -> list[Transition]:
        """Feed every alarm; return the steps that followed."""
        now = look.now_unix
        fading = self._low.active
        self._look, self._circumstances = look, circumstances(look.phase, fire_unlit=look.fire_unlit, fading=fading)
        quiet = suppressed(self._circumstances)
        steps: list[Transition] = []
        groups: tuple[tuple[str, Callable[[], Iterator[list[Transition]]]], ...] = (
            ("alarms of the grate", lambda: self._judge_grate(look, quiet)),
            ("alarms of batteries", lambda: self._judge_batteries(look)),
            ("alarms of probes", lambda: self._judge_probes(look)),
            ("alarms of the meat", lambda: iter([self._meat.judge(now, look.meat, quiet)])),
        )
        for part, judge in groups:  # what one group has raised stays, whatever comes after it
            self._faults.attempt(part, now, partial(_extend, steps, judge), _nothing, critical=True)
        return steps

    def _judge_grate(self, look: Look, quiet: Mapping[str, bool]) -> Iterator[list[Transition]]:
        now = look.now_unix
        freeze = look.phase in (Phase.LID_OPEN, Phase.UNKNOWN)
        for zone, alarm in self._zones:
            out = alarm.active and look.phase is Phase.COLD  # without a fire no zone is colder than it should be
            deficit = 0.0 if out else float(look.zone_deficit_kelvin[zone])
            words = f"the {alarm.subject} runs cold; {look.cold_reasons[zone]}"
            yield self._feed(alarm, now, deficit, words, suppress=quiet["cold-spot"] and not out, freeze=freeze)
        for alarm, kelvin, what, advice in (
            (self._low, look.below_kelvin, FADING, "look at the firebox"),
            (self._high, look.above_kelvin, HOT, "look at intake and firebox"),
        ):
            ahead = look.outside_now_kelvin <= 0.0 < kelvin  # not where either is unknown
            words = f"{what}{', out of its band within half an hour' if ahead else ''}: {advice}"
            yield self._feed(alarm, now, kelvin, words, suppress=quiet["drift"], freeze=freeze)
        yield self._feed(self._floor, now, look.below_floor_kelvin, FLOOR)
        words = "the grate is uneven from end to end"
        yield self._feed(self._spread, now, look.spread_kelvin, words, suppress=quiet["spread"], freeze=freeze)
        words = "the lid is open or the heat is gone: look at lid and firebox"
        yield self._feed(self._lid, now, look.lost_since_lid_kelvin, words)

    def _judge_batteries(self, look: Look) -> Iterator[list[Transition]]:
        for source, alarm in self._batteries.items():
            percent = look.batteries.get(source, float("nan"))
            words = f"the battery of {source} runs low: change or charge it"
            yield self._feed(alarm, look.now_unix, percent, words)

    def _feed(
        self,
        alarm: Alarm,
        now: float,
        value: float,
        message: str,
        *,
        limit: float | None = None,
        suppress: bool = False,
        freeze: bool = False,
    ) -> list[Transition]:
        """Feed one alarm its value; a fault in it takes none of the others with it."""
        limit = alarm.rule.limit if limit is None else limit
        return self._faults.attempt(
            f"alarm {alarm.key}",
            now,
            lambda: alarm.update(now, value, limit=limit, message=message, suppress=suppress, freeze=freeze),
            list,
            critical=True,
        )

    def watch_meat(self, pieces: Iterable[str]) -> None:
        """Watch over these pieces too."""
        for piece in pieces:
            self._meat.add(piece)
        self.alarms |= self._meat.alarms

    def _judge_probes(self, look: Look) -> Iterator[list[Transition]]:
        now = look.now_unix
        ages = np.where(look.offline, np.inf, look.age_seconds)
        for alarm, members, limit in self._sources:
            age = float(ages[members].min())
            if age > limit or not alarm.at_rest:
                yield self._feed(alarm, now, age, f"source {alarm.subject} is not heard any more", limit=limit)
        mute = {alarm.subject for alarm, _, limit in self._sources if alarm.active and alarm.value > limit}
        for i, alarm in enumerate(self._silent):
            limit, age = self._silent_after[i], float(ages[i])
            if age > limit or not alarm.at_rest:
                self._why_silent.pop(alarm.key, None)
                if self._source_of[alarm.subject] in mute:
                    self._why_silent[alarm.key] = frozenset({Circumstance.SOURCE_SILENT})
                elif look.covered[i]:
                    self._why_silent[alarm.key] = frozenset({Circumstance.COVERED})
                words = "has gone: its source says so" if look.offline[i] else "is not heard any more"
                suppress = age > limit and alarm.key in self._why_silent
                yield self._feed(alarm, now, age, f"{alarm.subject} {words}", limit=limit, suppress=suppress)
        for i, alarm in enumerate(self._lying):
            doubted = float(look.doubted_seconds[i])
            if doubted > 0.0 or not alarm.at_rest:
                words = LYING_WORDS.get(look.reasons[i], "is believed again")
                doubted = doubted if look.age_seconds[i] <= self._silent_after[i] else float("nan")
                yield self._feed(alarm, now, doubted, f"{alarm.subject} {words}", limit=0.0)

    def act(self, action: Action, now_unix: float) -> list[Transition]:
        """Do what a person asks of one alarm, of those of a trouble as it stands now, or of all.

        Raises:
            KeyError: no alarm of that key, and no trouble ever has it.
        """
        steps: list[Transition] = []
        for alarm in self._named(action.subject):
            event = _EVENTS.get(action.kind)
            if action.kind is ActionKind.SHELVE:
                steps += alarm.shelve(now_unix, action.seconds, alarm.rule.limit)
            elif event is not None and (alarm.rule.enabled or event is not AlarmEvent.RESTORE):
                steps += alarm.apply(event, now_unix, alarm.rule.limit)
        return steps

    def knows(self, key: str) -> bool:
        """Tell whether there is an alarm of this key, or may be a trouble of it."""
        return key in self.alarms or key == OLD_DRIFT or could_be(key, self._source_of)

    def _named(self, key: str) -> list[Alarm]:
        if not key:
            return list(self.alarms.values())
        if key in self.alarms:
            return [self.alarms[key]]
        if key == OLD_DRIFT:
            return [self._low, self._high]
        if not self.knows(key):
            raise KeyError(key)
        return [self.alarms[k] for trouble in self.troubles() if trouble.key == key for k in trouble.alarms]

    def refusal(self, action: Action) -> str:
        """Say why an action on alarms would come to nothing as they stand, or may not be; empty when it may.

        Raises:
            KeyError: no alarm of that key, and no trouble ever has it.
        """
        alarms = self._named(action.subject)
        if not alarms:
            return f"{action.subject} does not stand now"
        if not action.subject:
            return ""
        for alarm in alarms:
            most = alarm.rule.shelve_at_most_seconds
            if action.kind is ActionKind.SHELVE and not 0.0 < action.seconds <= most:
                longest = f"for at most {most / 60:.0f} min: shelve_at_most in [alarm.{alarm.rule.name}] says so"
                return f"{alarm.key} may {f'be shelved {longest}' if most else 'not be shelved: its config says so'}"
            if action.kind is ActionKind.RESTORE and not alarm.rule.enabled:
                return f"{alarm.key} is switched off in the config: set enabled = true in [alarm.{alarm.rule.name}]"
        event = _EVENTS.get(action.kind, AlarmEvent.SHELVE)
        if any((a.state, event) in TRANSITIONS for a in alarms):
            return ""
        if action.kind is ActionKind.SHELVE and all(a.state is AlarmState.SHELVED for a in alarms):
            return ""  # for longer, or shorter
        return f"{action.subject} is {alarms[0].state}: {_NEEDS[event]}"

    def views(self) -> tuple[AlarmView, ...]:
        """Show every alarm that somebody may have to look at, the most pressing first."""
        hidden = (AlarmState.NORMAL, AlarmState.SUPPRESSED)
        shown = [a for a in self.alarms.values() if a.rule.enabled and a.state not in hidden]
        order = list(AlarmState)
        shown.sort(key=lambda a: (order.index(a.state), a.rule.priority, a.raised_unix))
        return tuple(
            AlarmView(
                a.key, a.rule.name, a.subject, a.rule.priority, a.state, a.active, a.since_unix, a.raised_unix,
                self._shown(a, a.value), self._limit(a), a.unit, a.message, a.shelved_until_unix, a.removed_unix,
            )
            for a in shown
        )  # fmt: skip

    def troubles(self) -> tuple[TroubleView, ...]:
        """Group what stands by what is wrong, the most pressing first."""
        return troubles(self.views(), self._source_of, lid_open=Circumstance.LID_OPEN in self._circumstances)

    def rules(self) -> tuple[RuleView, ...]:
        """Show every rule and subject as it stands, alarm or not."""
        present = self._present()
        views = []
        for alarm in self.alarms.values():
            rule, limit = alarm.rule, self._limit(alarm)
            value = self._shown(alarm, present.get(alarm.key, alarm.value))
            suppressed = alarm.state is AlarmState.SUPPRESSED
            known = self._circumstances | self._why_silent.get(alarm.key, frozenset())
            why = tuple(c for c in SUPPRESSED_WHILE.get(rule.name, ()) if suppressed and c in known)
            views.append(
                RuleView(
                    alarm.key, rule.name, alarm.subject, rule.priority, alarm.state, alarm.active, value, limit,
                    value - limit if rule.below else limit - value, alarm.unit, rule.deadband, rule.on_delay_seconds,
                    rule.off_delay_seconds, alarm.pending_unix, alarm.since_unix if alarm.active else None, why,
                    alarm.shelved_until_unix, alarm.removed_unix, rule.enabled, rule.latch, rule.shelve_at_most_seconds,
                    self._meat.own_celsius(alarm.key),
                )
            )  # fmt: skip
        return tuple(views)

    def _shown(self, alarm: Alarm, value: float) -> float:
        """Give the value of an alarm; NaN where it is not judged: no value of before is taken for the present one."""
        parts = ("look", "what the alarms judge", f"alarm {alarm.key}")
        return float("nan") if any(map(self._faults.failing, parts)) else value

    def _present(self) -> dict[str, float]:
        """Give the values of the alarms that are not fed while all is well."""
        if self._look is None:
            return {}
        ages = {a.key: float(v) for a, v in zip(self._silent, self._look.age_seconds, strict=True)}
        doubts = {a.key: float(v) for a, v in zip(self._lying, self._look.doubted_seconds, strict=True)}
        return ages | doubts

    def _limit(self, alarm: Alarm) -> float:
        if alarm.rule.name == "probe-silent":
            return self._silent_after[self._silent.index(alarm)]
        if alarm.rule.name == "source-silent":
            return next(limit for other, _, limit in self._sources if other is alarm)
        if alarm.rule.name == "probe-lying":
            return 0.0  # its rule's limit is kelvin; doubt itself has none
        return alarm.rule.limit


_EVENTS = {
    ActionKind.ACKNOWLEDGE: AlarmEvent.ACKNOWLEDGE,
    ActionKind.UNSHELVE: AlarmEvent.UNSHELVE,
    ActionKind.RESET: AlarmEvent.RESET,
    ActionKind.REMOVE: AlarmEvent.REMOVE,
    ActionKind.RESTORE: AlarmEvent.RESTORE,
}
_NEEDS = {
    AlarmEvent.ACKNOWLEDGE: "there is nothing to acknowledge",
    AlarmEvent.UNSHELVE: "only what is shelved is taken back",
    AlarmEvent.RESET: "only what is latched is reset",
    AlarmEvent.REMOVE: "it is out already",
    AlarmEvent.RESTORE: "only what is out of service is put back",
    AlarmEvent.SHELVE: "it makes no noise that could be shelved",
}
"""What each event of a person needs, where the table has none for the state."""


def _extend(steps: list[Transition], judge: Callable[[], Iterator[list[Transition]]]) -> None:
    for found in judge():
        steps += found


def _nothing() -> None:
    """Stand in for a group of alarms that fails."""
