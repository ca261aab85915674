"""The life of one alarm as a table, after ISA-18.2 / IEC 62682, with delays and deadband.

The table is walked, never branched around. Confirmation is not used; where the standard's state chart is silent on a
pair, the pair is absent and the state stays. A rule that latches returns by the event `LATCH` where another returns by
`INACTIVE`, so one table serves both.
"""

import enum
from collections.abc import Iterable

import msgspec

from collector.model.plan import Rule
from collector.snapshot import AlarmState, Priority

__all__ = ["TRANSITIONS", "Alarm", "AlarmEvent", "Transition", "in_order"]


class AlarmEvent(enum.StrEnum):
    """What can happen to an alarm."""

    ACTIVE = "condition true"
    INACTIVE = "condition over"
    LATCH = "condition over, latched"
    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    SUPPRESS = "suppress"
    UNSUPPRESS = "unsuppress"
    REMOVE = "out of service"
    RESTORE = "in service"


_S = AlarmState
_E = AlarmEvent
TRANSITIONS: dict[tuple[AlarmState, AlarmEvent], AlarmState] = {
    (_S.NORMAL, _E.ACTIVE): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _E.ACKNOWLEDGE): _S.ACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _E.INACTIVE): _S.RETURNED,
    (_S.ACKNOWLEDGED, _E.INACTIVE): _S.NORMAL,
    (_S.RETURNED, _E.ACKNOWLEDGE): _S.NORMAL,
    (_S.RETURNED, _E.ACTIVE): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _E.LATCH): _S.LATCHED_UNACKNOWLEDGED,
    (_S.ACKNOWLEDGED, _E.LATCH): _S.LATCHED,
    (_S.NORMAL, _E.LATCH): _S.LATCHED_UNACKNOWLEDGED,
    (_S.LATCHED_UNACKNOWLEDGED, _E.ACTIVE): _S.UNACKNOWLEDGED,
    (_S.LATCHED, _E.ACTIVE): _S.UNACKNOWLEDGED,
    (_S.LATCHED_UNACKNOWLEDGED, _E.ACKNOWLEDGE): _S.LATCHED,
    (_S.LATCHED_UNACKNOWLEDGED, _E.RESET): _S.RETURNED,
    (_S.LATCHED, _E.RESET): _S.NORMAL,
    (_S.NORMAL, _E.SHELVE): _S.SHELVED,
    (_S.UNACKNOWLEDGED, _E.SHELVE): _S.SHELVED,
    (_S.ACKNOWLEDGED, _E.SHELVE): _S.SHELVED,
    (_S.RETURNED, _E.SHELVE): _S.SHELVED,
    (_S.LATCHED_UNACKNOWLEDGED, _E.SHELVE): _S.SHELVED,
    (_S.LATCHED, _E.SHELVE): _S.SHELVED,
    (_S.SHELVED, _E.UNSHELVE): _S.NORMAL,
    (_S.NORMAL, _E.SUPPRESS): _S.SUPPRESSED,
    (_S.SUPPRESSED, _E.UNSUPPRESS): _S.NORMAL,
    (_S.NORMAL, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.UNACKNOWLEDGED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.ACKNOWLEDGED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.RETURNED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.LATCHED_UNACKNOWLEDGED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.LATCHED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.SHELVED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.SUPPRESSED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.OUT_OF_SERVICE, _E.RESTORE): _S.NORMAL,
}
"""ISA-18.2-2016 state chart (states seen in a library's documentation that implements it, letters from memory): A
normal, B unacknowledged, C acknowledged, D returned unacknowledged, E latched unacknowledged, F latched acknowledged, G
shelved, H suppressed, I out of service. After G, H and I the condition is looked at again from normal. A standing alarm
is not suppressed: a lid opened over a cold spot does not hide it, so only A -> H.

Latching is defined by OPC UA Part 9, 3.1.13: such an alarm stays after its condition is over until an operator resets
it. That E is acknowledged to F, reset to D, and F reset to A is from memory of the standard's chart. Ours: A -> E by
`LATCH`, so that what latched on the shelf is latched still when its time there is over; and E and F go to B when the
condition comes again, for it is news."""


class Transition(msgspec.Struct, frozen=True):
    """One step of an alarm, as it goes on record."""

    time_unix: float
    key: str
    event: AlarmEvent
    before: AlarmState
    after: AlarmState
    value: float
    limit: float
    message: str
    priority: Priority


def in_order(steps: Iterable[Transition]) -> list[Transition]:
    """Put an alarm log in the order in which it happened: those of one alarm at one moment follow from each other."""
    by_moment: dict[tuple[float, str], list[Transition]] = {}
    for step in sorted(steps, key=lambda s: s.time_unix):
        by_moment.setdefault((step.time_unix, step.key), []).append(step)
    state: dict[str, AlarmState] = {}
    ordered: list[Transition] = []
    for (_, key), group in by_moment.items():
        while group:
            at = state.get(key)
            following = next((s for s in group if s.before is at), None) or _first(group)
            group.remove(following)
            ordered.append(following)
            state[key] = following.after
    return ordered


def _first(group: list[Transition]) -> Transition:
    """Find the step that follows from none of the others."""
    afters = {s.after for s in group}
    return next((s for s in group if s.before not in afters), group[0])


class Alarm:
    """One rule applied to one subject.

    `update` is fed the value at each evaluation, larger meaning worse, or smaller where the rule says `below`. NaN
    means that it cannot be told, and changes nothing: an alarm neither comes nor goes for want of data.
    """

    __slots__ = (
        "_beyond_since", "_updated_unix", "_within_since", "active", "key", "message", "raised_unix", "removed_unix",
        "rule", "shelved_until_unix", "since_unix", "state", "subject", "unit", "unreset", "value",
    )  # fmt: skip

    def __init__(self, rule: Rule, subject: str, unit: str) -> None:
        self.rule = rule
        self.subject = subject
        self.unit = unit
        self.key = f"{rule.name}/{subject}"
        self.state = AlarmState.NORMAL if rule.enabled else AlarmState.OUT_OF_SERVICE
        self.active = False
        self.value = float("nan")
        self.message = ""
        self.since_unix = 0.0
        self.raised_unix = 0.0
        self.shelved_until_unix: float | None = None
        self.removed_unix: float | None = None
        """Since when a person has taken it out of service."""
        self.unreset = False
        """Its condition stood since it was last reset: of a rule that latches."""
        self._beyond_since: float | None = None
        self._within_since: float | None = None
        self._updated_unix = 0.0

    def update(
        self,
        now_unix: float,
        value: float,
        *,
        limit: float,
        message: str,
        suppress: bool = False,
        freeze: bool = False,
    ) -> list[Transition]:
        """Feed the value at this moment; return the steps it caused.

        Args:
            now_unix: the time.
            value: in the unit of the rule; NaN is not judged.
            limit: what it is held against.
            message: what the alarm says while it stands.
            suppress: whether it is suppressed by design.
            freeze: whether what is under way stands still: the delays go on afterwards where they were.
        """
        if freeze:
            self._pause(now_unix - self._updated_unix)
            value = float("nan")
        self._updated_unix = now_unix
        steps: list[Transition] = []
        if self.shelved_until_unix is not None and now_unix >= self.shelved_until_unix:
            steps += self.apply(AlarmEvent.UNSHELVE, now_unix, limit)
        hidden = suppress and not self.active  # what stands is not suppressed, not even as it comes off the shelf
        steps += self.apply(AlarmEvent.SUPPRESS if hidden else AlarmEvent.UNSUPPRESS, now_unix, limit)
        if value == value:  # not NaN
            self.value = value
            self._judge(now_unix, value, limit, suppress)
        if self.active:
            self.unreset = self.unreset or (self.rule.latch and self.state is not AlarmState.OUT_OF_SERVICE)
            if (self.state, AlarmEvent.ACTIVE) in TRANSITIONS:
                self.message = message
                self.raised_unix = now_unix
            elif message:
                self.message = message
        return steps + self.apply(self._condition(), now_unix, limit)

    def _pause(self, seconds: float) -> None:
        """Move the beginning of the delays that run."""
        if self._beyond_since is not None and not self.active:
            self._beyond_since += seconds
        if self._within_since is not None:
            self._within_since += seconds

    def _condition(self) -> AlarmEvent:
        """Say how the condition stands, as an event."""
        if self.active:
            return AlarmEvent.ACTIVE
        return AlarmEvent.LATCH if self.unreset else AlarmEvent.INACTIVE

    @property
    def pending_unix(self) -> float | None:
        """Since when the value is beyond the limit while the on-delay runs."""
        return None if self.active else self._beyond_since

    @property
    def at_rest(self) -> bool:
        """Nothing is under way: the state is normal, no delay runs and there is nothing to reset."""
        under_way = self.active or self.unreset or self._beyond_since is not None
        return not under_way and self.state is AlarmState.NORMAL

    def _judge(self, now_unix: float, value: float, limit: float, suppress: bool) -> None:
        """Move the condition by deadband and delays: a delay must be served whole, any drop outside restarts it."""
        deadband = self.rule.deadband
        if self.rule.below:
            value, limit = -value, -limit
        if not self.active:
            if value <= limit or suppress:
                self._beyond_since = None
            elif self._beyond_since is None:
                self._beyond_since = now_unix
            if self._beyond_since is not None and now_unix - self._beyond_since >= self.rule.on_delay_seconds:
                self.active = True
                self.since_unix = self._beyond_since
                self._within_since = None
            return
        if value > limit - deadband or suppress:
            self._within_since = None
        elif self._within_since is None:
            self._within_since = now_unix
        if self._within_since is not None and now_unix - self._within_since >= self.rule.off_delay_seconds:
            self.active = False
            self._beyond_since = None

    def shelve(self, now_unix: float, seconds: float, limit: float) -> list[Transition]:
        """Put aside for a stated time."""
        steps = self.apply(AlarmEvent.SHELVE, now_unix, limit)
        if self.state is AlarmState.SHELVED:
            self.shelved_until_unix = now_unix + seconds
        return steps

    def apply(self, event: AlarmEvent, now_unix: float, limit: float) -> list[Transition]:
        """Walk the table by one event; return the step, or nothing where the table has none."""
        after = TRANSITIONS.get((self.state, event))
        if after is None:
            return []
        step = Transition(
            now_unix, self.key, event, self.state, after, self.value, limit, self.message, self.rule.priority
        )
        self.state = after
        if after is not AlarmState.SHELVED:
            self.shelved_until_unix = None
        self.removed_unix = now_unix if after is AlarmState.OUT_OF_SERVICE else None
        if event in (AlarmEvent.RESET, AlarmEvent.REMOVE):
            self.unreset = False
        return [step]
