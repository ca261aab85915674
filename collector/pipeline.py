"""Reading to row, engine and batch: the one path that the live daemon, the demo and a rehearsal all take. No I/O."""

from collections.abc import Callable
from functools import lru_cache

from adapters.reading import FURTHEST_UNIX, Reading
from adapters.text import REPLACEMENT, clean_text
from collector.calls.record import CallRow, MessageRow
from collector.engine import Engine, Event
from collector.model.action import Action
from collector.model.alarm import Transition
from collector.model.vitals import DeviceVitals
from collector.snapshot import Mark, TrendPoint
from collector.store.database import Batch
from collector.store.row import Ordinals, reading_of, row_of, unix_of, with_verdict

__all__ = ["MAX_UNPLACED", "Pipeline"]

MOST_KEY_CHARACTERS = 300
MAX_UNPLACED = 512
"""Keys without a probe that are recorded; a topic filter that is too wide must not fill the disk with names."""


class Pipeline:
    """Feeds the engine what the disk will give again, and gathers what has to be written.

    Args:
        engine: the cook's engine.
        series: numbers of the series already on disk, by source and key.
        last_ordinal: the greatest ordinal on disk.
        on_event: called with each event of the engine.
    """

    def __init__(
        self,
        engine: Engine,
        series: dict[tuple[str, str], int],
        last_ordinal: int = 0,
        on_event: Callable[[Event], None] = lambda _: None,
    ) -> None:
        self.engine = engine
        self.batch = Batch()
        self.urgent = False
        """An alarm, an action or a mark waits: commit now, and to the device."""
        self.refused: dict[str, int] = {}
        """Readings of unplaced keys beyond `MAX_UNPLACED`, by source: not recorded, but settled."""
        self.unplaced: dict[tuple[str, str], float] = {}
        """Keys without a probe, and when each was last heard."""
        self.series = dict(series)
        self._next_series = max(self.series.values(), default=0) + 1
        self._ordinals = Ordinals(last_ordinal)
        self._on_event = on_event

    def take(self, reading: Reading) -> None:
        """Take one reading, at the time it was received or now, whichever is later; now where that is no time."""
        engine = self.engine
        source, key = reading.source, reading.key
        if reading.receipt is not None:
            self.batch.receipts[source] = reading.receipt
        number = self.series.get((source, key)) or self._number(source, key)
        if not number:
            self.refused[source] = self.refused.get(source, 0) + 1
            return
        received = reading.received_unix if abs(reading.received_unix) < FURTHEST_UNIX else engine.now_unix
        ordinal = self._ordinals.next(max(received, engine.now_unix))
        row = row_of(ordinal, number, reading)
        taken, events = engine.take(reading_of(row, source, key), unix_of(ordinal))
        self.batch.rows.append(with_verdict(row, taken.quality, taken.reason))
        if taken.probe is None:
            self.unplaced[source, _cleaned(key)] = received
        if events:
            self._file(events)

    def _number(self, source: str, key: str) -> int:
        """Give a new series its number; 0 when there are too many that no probe claims.

        A key that no probe claims is recorded by its cleaned form, so that no name of a stranger reaches a terminal.
        """
        if not any((p.source, p.key) == (source, key) for p in self.engine.plan.probes):
            key = _cleaned(key)
            if (source, key) in self.series:
                return self.series[source, key]
            if len(self.unplaced) >= MAX_UNPLACED:
                return 0
        number, self._next_series = self._next_series, self._next_series + 1
        self.series[source, key] = number
        self.batch.series.append((number, source, key))
        return number

    def advance(self, now_unix: float) -> None:
        """Let time pass."""
        self._file(self.engine.advance(now_unix))

    def note(self, vitals: DeviceVitals, now_unix: float) -> None:
        """Put on record how a source's device fares."""
        vitals = vitals.rounded()
        ordinal = self._ordinals.next(max(now_unix, self.engine.now_unix))
        self.batch.vitals.append((ordinal, vitals))
        self._file(self.engine.note(vitals, unix_of(ordinal)))

    def act(self, action: Action, now_unix: float) -> list[Event]:
        """Do what a person asks; return what followed.

        Raises:
            KeyError: there is no alarm of that key, or no event of that identity.
        """
        ordinal = self._ordinals.next(max(now_unix, self.engine.now_unix))
        events = self.engine.act(action, unix_of(ordinal))
        self.batch.actions.append((ordinal, action))
        self.urgent = True
        self._file(events)
        return events

    def keep(self, row: CallRow | MessageRow) -> None:
        """Put a call or a message on record as it stands now; of several states before a commit the last counts."""
        if isinstance(row, CallRow):
            self.batch.calls[row.call.number] = row
        else:
            self.batch.messages[row.id] = row

    def settle(self, cook: int) -> None:
        """Put on record that the server holds everything of a cook."""
        self.batch.settled.add(cook)

    def _file(self, events: list[Event]) -> None:
        """Put events into the batch, and only then tell of them: what shows them may fail, the record may not."""
        for event in events:
            if isinstance(event, TrendPoint):
                self.batch.trend.append(event)
            elif isinstance(event, Transition):
                self.batch.transitions.append(event)
                self.urgent = True
            elif isinstance(event, Mark):
                self.batch.marks.append(event)
                self.urgent = True
        self.engine.faults.attempt(
            "news of events", self.engine.now_unix, lambda: [self._on_event(event) for event in events], list
        )

    def cut(self) -> Batch:
        """Hand over what has gathered and start anew."""
        batch, self.batch, self.urgent = self.batch, Batch(), False
        return batch


@lru_cache(maxsize=2 * MAX_UNPLACED)
def _cleaned(key: str) -> str:
    """Clean the key of a stranger; two keys that differ by what is taken out stay apart from one without it."""
    return clean_text(key, MOST_KEY_CHARACTERS, instead=REPLACEMENT)
