"""A past cook, so kept that the dashboard of any of its moments is there at once.

The cook is played once through the engine, which is put aside every five minutes of it; any moment is reached from the
newest of these before it, by the same steps as then. So it is exactly what the dashboard showed. While no collector ran
it shows what the last one had shown: nobody judged then, so no probe was silent for it.
"""

import bisect
import pickle
import zlib
from collections.abc import Iterator, Sequence
from operator import itemgetter

import msgspec

from collector.engine import Engine, Event
from collector.errors import StoreError
from collector.model.action import Action, ActionKind
from collector.model.plan import Plan
from collector.replay import Told, runs, steps_between
from collector.snapshot import AlarmState, Mark, Priority, Snapshot, TrendPoint, TrendStretch
from collector.store.record import Cook, Record
from collector.store.row import ordinal_at, unix_of
from collector.store.trend import PackedRow, row_of, stretches, table
from collector.words import PRIORITY_WORDS, SEEN_WORDS

__all__ = ["Happening", "PastCook", "stretches_of"]

ASIDE_SECONDS = 300.0
"""A quarter of a megabyte each, so some 45 MB for 14 hours; twice as long is half of that, and twice the wait."""
AWAY_SECONDS = 60.0
"""Nobody judged for longer than this between two engines: no collector ran."""
BREATH_STEPS = 5000
"""While an engine is told what was before its stretch, stop after so many readings: the dashboard may be closed."""


class Happening(msgspec.Struct, frozen=True):
    """An alarm that was raised, or a mark."""

    time_unix: float
    kind: str
    """`urgent`, `soon` or `minor` of an alarm; of a mark its kind."""
    text: str
    """In words."""
    event: str = ""
    """Identity of a mark that the curves show."""


class _Aside(msgspec.Struct, frozen=True):
    """The engine at a moment."""

    unix: float
    after: int
    """The ordinal of what comes next."""
    until: int
    """Where its run ends."""
    engine: bytes


def stretches_of(record: Record, cook: Cook) -> list[tuple[Plan, float, int, int]]:
    """List the stretches of a cook, see `collector.replay.runs`.

    Raises:
        StoreError: it has no plan, so it cannot be judged.
    """
    found = runs(record, cook)
    if not found:
        raise StoreError(f"the plan of the cook {cook.name} is not on record: it cannot be played")
    return found


class PastCook:
    """One cook, as far as it is loaded.

    Args:
        cook: which.
        end_unix: where its record ends.

    Raises:
        StoreError: nothing was recorded in it.
    """

    def __init__(self, cook: Cook, end_unix: float) -> None:
        if not cook.readings:
            raise StoreError(f"nothing was recorded in the cook {cook.name}: there is nothing to show")
        self.cook = cook
        self.start_unix, self.end_unix = cook.started_unix, max(end_unix, cook.started_unix + 1.0)
        self.loaded_unix = cook.started_unix
        """It can be shown up to here."""
        self.absences: list[tuple[float, float]] = []
        """When no collector ran, oldest first."""
        self._happenings: list[Happening] = []
        self._struck: set[str] = set()
        self._trend: list[PackedRow] = []
        self._asides: list[_Aside] = []

    @property
    def begun(self) -> bool:
        """Whether anything can be shown."""
        return bool(self._asides)

    @property
    def loaded(self) -> bool:
        """Whether all of it can be shown."""
        return self.loaded_unix >= self.end_unix

    @property
    def happenings(self) -> list[Happening]:
        """What happened as far as it is loaded, in order of time, but for what the cook said was none."""
        return [happening for happening in self._happenings if happening.event not in self._struck]

    def load(self, record: Record) -> Iterator[None]:
        """Play the cook; stop after every five minutes of it.

        Raises:
            StoreError: it has no plan, so it cannot be judged.
        """
        parts = stretches_of(record, self.cook)
        self.absences = [
            (unix_of(ordinal) - action.seconds, unix_of(ordinal))
            for ordinal, action in record.actions(self.cook)
            if action.kind is ActionKind.RESUME
        ]
        rows = [unix for part in record.trend_stretches(self.cook) for unix in table(part)[0].tolist()]
        for k, (plan, began, since, until) in enumerate(parts):
            engine = Engine(plan, self.cook.name, began)
            for n, _ in enumerate(steps_between(record, engine, ordinal_at(began), since), start=1):
                if n % BREATH_STEPS == 0:
                    yield
            first = max(unix_of(since), began)
            self._put_aside(engine, since, until, first)
            due = first + ASIDE_SECONDS
            for ordinal, told, happened in steps_between(record, engine, since, until):
                self._take(told, happened, first)
                if engine.now_unix >= due:
                    self._put_aside(engine, ordinal + 1, until, engine.now_unix)
                    due += ASIDE_SECONDS
                    yield
            end = min(self.end_unix, unix_of(until))
            if k + 1 < len(parts):  # its clock went on until the last row of the trend, and no further
                newest = rows[: bisect.bisect_left(rows, end)][-1:]
                end = min(end, max(record.last_reading_between(since, until), *newest))
            end = (self.away(end) or (end,))[0]
            if end > engine.now_unix:
                self._take(None, engine.advance(end), first)
            self._put_aside(engine, until, until, engine.now_unix)
            if k + 1 < len(parts):
                begins = unix_of(parts[k + 1][2])
                if begins - engine.now_unix > AWAY_SECONDS and not self.away(begins):
                    bisect.insort(self.absences, (engine.now_unix, begins))
        self.loaded_unix = self.end_unix
        yield

    def away(self, unix: float) -> tuple[float, float] | None:
        """Give from when to when no collector ran, if none did at a moment."""
        return next(((since, until) for since, until in self.absences if since < unix < until), None)

    def _put_aside(self, engine: Engine, after: int, until: int, unix: float) -> None:
        self._asides.append(_Aside(unix, after, until, zlib.compress(pickle.dumps(engine, protocol=5), 1)))
        self.loaded_unix = max(self.loaded_unix, min(unix, self.end_unix))

    def _take(self, told: Told | None, happened: Sequence[Event], first_unix: float) -> None:
        """Keep what followed from a step; what was before the stretch of this engine another has told."""
        for event in happened:
            if isinstance(event, Mark):
                text = SEEN_WORDS.get(event.kind) or f"{event.kind} {event.text}".strip()
                self._keep(Happening(event.time_unix, event.kind, text, event.event))
            elif event.time_unix < first_unix:
                continue
            elif isinstance(event, TrendPoint):
                self._trend.append(row_of(event))
            elif event.after is AlarmState.UNACKNOWLEDGED and event.before is not AlarmState.UNACKNOWLEDGED:
                kind = "minor" if event.priority == Priority.NOTE else Priority(event.priority).name.lower()
                words = f"{PRIORITY_WORDS[Priority(event.priority)]}: {event.key.replace('/', ', ')}"
                self._keep(Happening(event.time_unix, kind, words))
        if isinstance(told, Action) and told.kind is ActionKind.DELETE:
            self._struck.add(told.subject)
        elif isinstance(told, Action) and told.kind is ActionKind.CONFIRM:
            self._struck.discard(told.subject)

    def _keep(self, happening: Happening) -> None:
        """Put it where it was: an event is seen in the curves some minutes after it."""
        bisect.insort(self._happenings, happening, key=lambda h: h.time_unix)

    def snapshot(self, record: Record, unix: float) -> Snapshot:
        """Give what the dashboard showed at a moment that is loaded."""
        unix = (self.away(unix) or (unix,))[0]
        k = max(bisect.bisect_right([aside.unix for aside in self._asides], unix) - 1, 0)
        aside = self._asides[k]
        engine: Engine = pickle.loads(zlib.decompress(aside.engine))  # noqa: S301 - put aside by ourselves, in memory
        for _ in steps_between(record, engine, aside.after, min(ordinal_at(unix), aside.until)):
            pass
        if unix > engine.now_unix:
            engine.advance(unix)
        return engine.snapshot()

    def trend(self, unix: float) -> tuple[TrendStretch, ...]:
        """Give the trend up to a moment."""
        return stretches(self._trend[: bisect.bisect_right(self._trend, unix, key=itemgetter(0))])

    def next_happening(self, unix: float, step: int) -> Happening | None:
        """Give the next that happened after a moment (step 1), or the one before it (-1)."""
        found = self.happenings
        times = [happening.time_unix for happening in found]
        if step > 0:
            k = bisect.bisect_right(times, unix + 0.5)
            return found[k] if k < len(times) else None
        k = bisect.bisect_left(times, unix - 0.5) - 1
        return found[k] if k >= 0 else None
