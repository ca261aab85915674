"""Who is to be told of what, and when. Pure: troubles and the time in, what is due out; whoever sends it keeps count.

A trouble that nobody has acknowledged is a *call*. Its ladder says who is told at once, after some minutes, and again;
the last step repeats. Only an acknowledgement ends it, or its being over: sent is not delivered, and delivered is not
woken. Quiet hours of a person hold back what is not urgent; the most urgent they never hold back.
"""

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Literal

import msgspec
from msgspec.structs import replace

from collector.snapshot import AlarmState, Priority, TroubleView

__all__ = ["Call", "Due", "Escalation", "Ladder", "Person", "Quiet", "Step", "Word"]

OPEN = (AlarmState.UNACKNOWLEDGED, AlarmState.LATCHED_UNACKNOWLEDGED)


class Quiet(msgspec.Struct, frozen=True):
    """Hours of every day, local time, minutes after midnight; they may pass midnight."""

    start: int
    end: int

    def holds(self, minute: int) -> bool:
        """Tell whether a minute of the day lies in them."""
        if self.start <= self.end:
            return self.start <= minute < self.end
        return minute >= self.start or minute < self.end


class Person(msgspec.Struct, frozen=True):
    """Somebody who can be told."""

    name: str
    channels: tuple[str, ...]
    """Names of the channels that reach him, each of which gets every message."""
    quiet: Quiet | None = None


class Step(msgspec.Struct, frozen=True):
    """One rung of a ladder."""

    after_seconds: float
    """Since the call began."""
    people: tuple[str, ...]


class Ladder(msgspec.Struct, frozen=True):
    """How troubles of some priorities are told."""

    priorities: frozenset[Priority]
    steps: tuple[Step, ...]
    """In the order of their times."""
    repeat_seconds: float
    """The last step comes again after this, and again."""


Word = Literal["raised", "again", "over", "test"]
"""What a message says; a ladder never says `test`."""


class Call(msgspec.Struct, frozen=True):
    """A trouble that somebody is being told of."""

    number: int
    trouble: str
    priority: Priority
    began_unix: float
    rung: int = 0
    """How many steps have been taken, repetitions included."""
    told: tuple[tuple[str, str], ...] = ()
    """Person and channel of whom it was told."""
    held: tuple[str, ...] = ()
    """Whom quiet hours have kept from being told."""


class Due(msgspec.Struct, frozen=True):
    """One message to one person by one channel, now."""

    call: int
    rung: int
    trouble: str
    person: str
    channel: str
    word: Word
    unix: float


class Escalation:
    """Follows the calls of one cook.

    Args:
        people: by name, all that the ladders name.
        ladders: for each priority the first that has it counts; a priority in none is told to nobody.
        zone: where the quiet hours are told; the machine's own when None.
        calls: those that were open when the collector stopped.
        last_number: the greatest number ever given to a call.
    """

    def __init__(
        self,
        people: Sequence[Person],
        ladders: Sequence[Ladder],
        *,
        zone: dt.tzinfo | None = None,
        calls: Iterable[Call] = (),
        last_number: int = 0,
    ) -> None:
        self._people = {person.name: person for person in people}
        self._ladders = tuple(ladders)
        self._zone = zone
        self.calls: dict[str, Call] = {call.trouble: call for call in calls}
        """The open ones, by trouble."""
        self._last = max([last_number, *(call.number for call in self.calls.values())])
        self.ended: list[tuple[Call, str]] = []
        """Calls that have ended since this was last emptied, and why: `acknowledged` or `over`."""

    def state(self) -> "tuple[dict[str, Call], int]":
        """Give what `restore` brings back, so that a due whose message could not be written is not used up."""
        return dict(self.calls), self._last

    def restore(self, state: "tuple[dict[str, Call], int]") -> None:
        """Go back to an earlier state."""
        calls, self._last = state
        self.calls = dict(calls)
        self.ended.clear()

    def look(self, now_unix: float, troubles: Iterable[TroubleView]) -> list[Due]:
        """Take the troubles as they stand; give the messages that are due."""
        due: list[Due] = []
        standing = {trouble.key: trouble for trouble in troubles}
        for key, call in list(self.calls.items()):
            trouble = standing.get(key)
            open_still = trouble is not None and trouble.state in OPEN and trouble.active
            if open_still:
                continue
            del self.calls[key]
            acknowledged = trouble is not None and trouble.active
            self.ended.append((call, "acknowledged" if acknowledged else "over"))
            if not acknowledged:
                due += [Due(call.number, call.rung, key, *who, "over", now_unix) for who in call.told]
        for key, trouble in standing.items():
            if trouble.state in OPEN and trouble.active and self._ladder(trouble.priority) is not None:
                due += self._climb(now_unix, key, trouble.priority)
        return due

    def _ladder(self, priority: Priority) -> Ladder | None:
        return next((ladder for ladder in self._ladders if priority in ladder.priorities), None)

    def _climb(self, now_unix: float, key: str, priority: Priority) -> list[Due]:
        """Take the steps whose time has come."""
        call = self.calls.get(key)
        if call is None or priority < call.priority:  # a lower number is more urgent: its ladder begins anew
            self._last += 1
            call = Call(self._last, key, priority, now_unix)
        ladder = self._ladder(call.priority)
        due: list[Due] = []
        if ladder is not None:
            late = [name for name in call.held if not self._keeps_quiet(name, call.priority, now_unix)]
            if late:
                call, found = self._tell(call, late, "raised", now_unix)
                call = replace(call, held=tuple(name for name in call.held if name not in late))
                due += found
            names: list[str] = []
            reached = call.rung
            while now_unix >= call.began_unix + _seconds(ladder, reached):  # several, where nobody looked for a while
                names += ladder.steps[min(reached, len(ladder.steps) - 1)].people
                reached += 1
            if names:
                word: Word = "raised" if call.rung == 0 else "again"
                call, found = self._tell(call, dict.fromkeys(names), word, now_unix)
                call = replace(call, rung=reached)
                due += found
        self.calls[key] = call
        return due

    def _tell(self, call: Call, names: Iterable[str], word: Word, now_unix: float) -> tuple[Call, list[Due]]:
        due: list[Due] = []
        told, held = list(call.told), list(call.held)
        for name in names:
            if self._keeps_quiet(name, call.priority, now_unix):
                held += [] if name in held else [name]
                continue
            for channel in self._people[name].channels:
                due.append(Due(call.number, call.rung, call.trouble, name, channel, word, now_unix))
                if (name, channel) not in told:
                    told.append((name, channel))
        return replace(call, told=tuple(told), held=tuple(held)), due

    def _keeps_quiet(self, name: str, priority: Priority, now_unix: float) -> bool:
        quiet = self._people[name].quiet
        if quiet is None or priority is Priority.URGENT:
            return False
        now = dt.datetime.fromtimestamp(now_unix, dt.UTC).astimezone(self._zone)
        return quiet.holds(60 * now.hour + now.minute)


def _seconds(ladder: Ladder, rung: int) -> float:
    """Give how long after a call began a step is due; behind the last step, one repetition after the other."""
    last = len(ladder.steps) - 1
    return ladder.steps[min(rung, last)].after_seconds + max(0, rung - last) * ladder.repeat_seconds
