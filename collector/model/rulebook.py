"""The alarm rules applied to one look at the pit: which value each alarm is fed, and when it may not speak."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from adapters.reading import Reason
from collector.model.action import Action, ActionKind
from collector.model.alarm import Alarm, AlarmEvent, Transition
from collector.model.field import Array
from collector.model.plan import GRATE, Plan
from collector.snapshot import AlarmState, AlarmView, Phase

__all__ = ["LYING_WORDS", "Look", "RuleBook"]

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


@dataclass(frozen=True, slots=True)
class Look:
    """What the rules judge, at one moment."""

    now_unix: float
    phase: Phase
    zone_deficit_kelvin: Array
    """Level mean less zone mean, smoothed, shape (zones,)."""
    cold_reasons: tuple[str, ...]
    """Why each zone may run cold."""
    spread_kelvin: float
    outside_kelvin: float
    """How far the grate stands outside its own saw-tooth or the band."""
    outside_side: str
    lost_since_lid_kelvin: float
    """How far below where a lid opening found it the grate stands without rising."""
    fire_unlit: bool
    """The grate has not reached the band yet, or the lid is open: drift may not speak."""
    age_seconds: Array
    """Since each probe was last heard, shape (probes,)."""
    offline: NDArray[np.bool_]
    """Which probes their source says are gone, shape (probes,)."""
    reasons: tuple[Reason, ...]
    """Why each probe is not believed now; NONE where it is."""
    doubted_seconds: Array
    """For how long, shape (probes,)."""
    batteries: Mapping[str, float]
    """Percent left, by source, of those that told."""


class RuleBook:
    """All alarms of a plan."""

    def __init__(self, plan: Plan) -> None:
        cold, drift, spread = plan.rule("cold-spot"), plan.rule("drift"), plan.rule("spread")
        silent, lying = plan.rule("probe-silent"), plan.rule("probe-lying")
        self._zones = [(i, Alarm(cold, z.name, "kelvin")) for i, z in enumerate(plan.zones) if z.level == GRATE]
        self._drift = Alarm(drift, GRATE, "kelvin")
        self._spread = Alarm(spread, GRATE, "kelvin")
        self._lid = Alarm(plan.rule("lid-open"), "lid", "kelvin")
        self._silent = [Alarm(silent, p.name, "seconds") for p in plan.probes]
        self._silent_after = [silent.limit or p.stale_seconds for p in plan.probes]
        self._lying = [Alarm(lying, p.name, "seconds") for p in plan.probes]
        sources = dict.fromkeys(p.source for p in plan.probes)
        self._batteries = {s: Alarm(plan.rule("battery-low"), s, "percent") for s in sources}
        self.alarms: dict[str, Alarm] = {
            a.key: a
            for a in (
                *(a for _, a in self._zones),
                self._drift,
                self._spread,
                self._lid,
                *self._silent,
                *self._lying,
                *self._batteries.values(),
            )
        }

    def judge(self, look: Look) -> list[Transition]:
        """Feed every alarm; return the steps that followed."""
        now, quiet = look.now_unix, look.phase is not Phase.STEADY
        steps: list[Transition] = []
        for zone, alarm in self._zones:
            steps += alarm.update(
                now,
                float(look.zone_deficit_kelvin[zone]),
                limit=alarm.rule.limit,
                message=f"the {alarm.subject} runs cold; {look.cold_reasons[zone]}",
                suppress=quiet,
            )
        fading = look.outside_side == "fading"
        steps += self._drift.update(
            now,
            look.outside_kelvin,
            limit=self._drift.rule.limit,
            message="the fire is fading: look at the firebox" if fading else "the pit is running hot",
            suppress=look.fire_unlit,
        )
        steps += self._spread.update(
            now,
            look.spread_kelvin,
            limit=self._spread.rule.limit,
            message="the grate is uneven from end to end",
            suppress=quiet,
        )
        steps += self._lid.update(
            now,
            look.lost_since_lid_kelvin,
            limit=self._lid.rule.limit,
            message="the lid is open or the heat is gone: look at lid and firebox",
        )
        for source, percent in look.batteries.items():
            alarm = self._batteries[source]
            message = f"the battery of {source} runs low: change or charge it"
            steps += alarm.update(now, percent, limit=alarm.rule.limit, message=message)
        return steps + self._judge_probes(look)

    def _judge_probes(self, look: Look) -> list[Transition]:
        steps: list[Transition] = []
        now = look.now_unix
        for i, alarm in enumerate(self._silent):
            limit = self._silent_after[i]
            age = float("inf") if look.offline[i] else float(look.age_seconds[i])
            if age > limit or alarm.state is not AlarmState.NORMAL:
                words = "has gone: its source says so" if look.offline[i] else "is not heard any more"
                steps += alarm.update(now, age, limit=limit, message=f"{alarm.subject} {words}")
        for i, alarm in enumerate(self._lying):
            doubted = float(look.doubted_seconds[i])
            if doubted > 0.0 or alarm.active or alarm.state is not AlarmState.NORMAL:
                words = LYING_WORDS.get(look.reasons[i], "is believed again")
                steps += alarm.update(
                    now,
                    doubted if look.age_seconds[i] <= self._silent_after[i] else float("nan"),
                    limit=0.0,
                    message=f"{alarm.subject} {words}",
                )
        return steps

    def act(self, action: Action, now_unix: float) -> list[Transition]:
        """Do what a person asks of one alarm, or of all that stand.

        Raises:
            KeyError: no alarm of that key.
        """
        alarms = [self.alarms[action.subject]] if action.subject else list(self.alarms.values())
        steps: list[Transition] = []
        for alarm in alarms:
            if action.kind is ActionKind.ACKNOWLEDGE:
                steps += alarm.apply(AlarmEvent.ACKNOWLEDGE, now_unix, alarm.rule.limit)
            elif action.kind is ActionKind.SHELVE:
                steps += alarm.shelve(now_unix, action.seconds, alarm.rule.limit)
            elif action.kind is ActionKind.UNSHELVE:
                steps += alarm.apply(AlarmEvent.UNSHELVE, now_unix, alarm.rule.limit)
        return steps

    def views(self) -> tuple[AlarmView, ...]:
        """Show every alarm that somebody may have to look at, the most pressing first."""
        hidden = (AlarmState.NORMAL, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE)
        shown = [a for a in self.alarms.values() if a.state not in hidden]
        order = list(AlarmState)
        shown.sort(key=lambda a: (order.index(a.state), a.rule.priority, a.raised_unix))
        return tuple(
            AlarmView(
                a.key, a.rule.name, a.subject, a.rule.priority, a.state, a.active, a.since_unix, a.raised_unix,
                a.value, self._limit(a), a.unit, a.message, a.shelved_until_unix,
            )
            for a in shown
        )  # fmt: skip

    def _limit(self, alarm: Alarm) -> float:
        if alarm.rule.name == "probe-silent":
            return self._silent_after[self._silent.index(alarm)]
        return alarm.rule.limit
