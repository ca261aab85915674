"""A past cook, so kept that the dashboard of any of its moments is there at once.

The cook is played once through the engine, which is put aside every ten minutes of it; any moment is reached from the
newest of these before it, by the same steps as then. So it is exactly what the dashboard showed.
"""

import bisect
import pickle
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from collector.engine import Engine, Event
from collector.errors import StoreError
from collector.replay import runs, steps_between
from collector.snapshot import AlarmState, Mark, Priority, Snapshot, TrendPoint
from collector.store.record import Cook, Record
from collector.store.row import ordinal_at, unix_of

__all__ = ["Happening", "PastCook"]

ASIDE_SECONDS = 600.0


@dataclass(frozen=True, slots=True)
class Happening:
    """An alarm that was raised, or a mark."""

    time_unix: float
    kind: str
    """`urgent`, `soon` or `note` of an alarm; of a mark its kind."""
    text: str


@dataclass(frozen=True, slots=True)
class _Aside:
    """The engine at a moment."""

    unix: float
    after: int
    """The ordinal of what comes next."""
    until: int
    """Where its run ends."""
    engine: bytes


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
        self.happenings: list[Happening] = []
        self._trend: list[TrendPoint] = []
        self._asides: list[_Aside] = []

    @property
    def begun(self) -> bool:
        """Whether anything can be shown."""
        return bool(self._asides)

    @property
    def loaded(self) -> bool:
        """Whether all of it can be shown."""
        return self.loaded_unix >= self.end_unix

    def load(self, record: Record) -> Iterator[None]:
        """Play the cook; stop after every ten minutes of it."""
        for plan, began, since, until in runs(record, self.cook):
            engine = Engine(plan, self.cook.name, began)
            due = max(unix_of(since), began)
            self._put_aside(engine, ordinal_at(began), until, due)
            due += ASIDE_SECONDS
            for ordinal, _, happened in steps_between(record, engine, ordinal_at(began), until):
                if ordinal >= since:
                    self._take(happened)
                    if engine.now_unix >= due:
                        self._put_aside(engine, ordinal + 1, until, engine.now_unix)
                        due += ASIDE_SECONDS
                        yield
            end = min(self.end_unix, unix_of(until))
            if end > engine.now_unix:
                self._take(engine.advance(end))
            self._put_aside(engine, until, until, engine.now_unix)
        self.loaded_unix = self.end_unix
        yield

    def _put_aside(self, engine: Engine, after: int, until: int, unix: float) -> None:
        self._asides.append(_Aside(unix, after, until, zlib.compress(pickle.dumps(engine, protocol=5), 1)))
        self.loaded_unix = max(self.loaded_unix, min(unix, self.end_unix))

    def _take(self, happened: Sequence[Event]) -> None:
        for event in happened:
            if isinstance(event, TrendPoint):
                self._trend.append(event)
            elif isinstance(event, Mark):
                self.happenings.append(Happening(event.time_unix, event.kind, event.text))
            elif event.after is AlarmState.UNACKNOWLEDGED and event.before is not AlarmState.UNACKNOWLEDGED:
                kind = Priority(event.priority).name.lower()
                self.happenings.append(Happening(event.time_unix, kind, event.key))

    def snapshot(self, record: Record, unix: float) -> Snapshot:
        """Give what the dashboard showed at a moment that is loaded."""
        k = max(bisect.bisect_right([aside.unix for aside in self._asides], unix) - 1, 0)
        aside = self._asides[k]
        engine: Engine = pickle.loads(zlib.decompress(aside.engine))  # noqa: S301 - put aside by ourselves, in memory
        for _ in steps_between(record, engine, aside.after, min(ordinal_at(unix), aside.until)):
            pass
        if unix > engine.now_unix:
            engine.advance(unix)
        return engine.snapshot()

    def trend(self, unix: float) -> tuple[TrendPoint, ...]:
        """Give the trend up to a moment."""
        return tuple(self._trend[: bisect.bisect_right(self._trend, unix, key=lambda point: point.time_unix)])

    def next_happening(self, unix: float, step: int) -> Happening | None:
        """Give the next that happened after a moment (step 1), or the one before it (-1)."""
        times = [happening.time_unix for happening in self.happenings]
        if step > 0:
            k = bisect.bisect_right(times, unix + 0.5)
            return self.happenings[k] if k < len(times) else None
        k = bisect.bisect_left(times, unix - 0.5) - 1
        return self.happenings[k] if k >= 0 else None
