"""The rehearsed pit as a source: it burns for as long as somebody listens, at any speed."""

import heapq
import math
from collections.abc import AsyncIterator, Callable, Sequence

from adapters.errors import LinkReason
from adapters.reading import Reading
from adapters.recording import Pace
from adapters.rehearsal.drill import call_drill, check_drill, drills
from adapters.rehearsal.night import Night
from adapters.rehearsal.pit import FireHabit, Pit, RehearsalProbe
from adapters.rehearsal.rehearsal import Rehearsal
from adapters.source import Link, LinkState, SourceCounts

__all__ = ["RehearsalPit", "drills"]


class RehearsalPit:
    """A night under way as a `Source`. It never ends of itself; a new iteration goes on where the last stopped."""

    def __init__(
        self,
        name: str,
        probes: Sequence[RehearsalProbe],
        *,
        seed: int = 1,
        speed: float = 1.0,
        start_unix: float = 0.0,
        skip_seconds: float = 0.0,
        pit: Pit | None = None,
        target_celsius: float | None = None,
        clock: Callable[[], float] | None = None,
    ) -> None:
        """Light the fire.

        Args:
            name: name of the source.
            probes: what to simulate. Two sources of one seed and one pit have the very same fire.
            seed: which night.
            speed: seconds of the night per second; `math.inf` as fast as readings are taken.
            start_unix: Unix seconds UTC of the moment the first reading can be heard.
            skip_seconds: how far the night is along at that moment: 7200 begins with a hot pit.
            pit: the steel; the usual when None.
            target_celsius: what the cook feeds the fire for; the usual when None.
            clock: monotonic seconds for the pacing; the loop's when None.
        """
        if not speed > 0.0:
            raise ValueError(f"a speed of {speed}: it must be above 0")
        self.name = name
        self.counts = SourceCounts()
        habit = FireHabit() if target_celsius is None else FireHabit(target_celsius=target_celsius)
        self.run = Rehearsal(Night(name, seed, start_unix, math.inf, tuple(probes), pit=pit or Pit(), habit=habit))
        while self.run.now < skip_seconds:
            self.run.step()
        self._lit_unix = start_unix - self.run.now
        self._speed = speed
        self._clock = clock
        self._link = Link(LinkState.DOWN, LinkReason.NOT_STARTED)
        self._ordered: list[tuple[float, int, str, dict[str, str | float]]] = []
        """Drills to come: when, which in turn, name, arguments; a heap."""
        self._orders = 0

    @property
    def vitals(self) -> None:
        """Say nothing: there is no radio here."""

    @property
    def link(self) -> Link:
        """The link as it stands: up once somebody listens."""
        return self._link

    def committed(self, receipt: int) -> None:
        """Do nothing: nobody sends again here."""

    def restore(self, receipts: list[int]) -> None:
        """Do nothing, as `committed`."""

    def knows(self, key: str) -> bool:
        """Tell whether one of its probes has that key."""
        return any(probe.key == key for probe in self.run.night.probes)

    def drill(
        self, name: str, *, key: str | None = None, at_unix: float | None = None, **arguments: str | float
    ) -> None:
        """Let a drill begin.

        Args:
            name: one of `drills()`.
            key: which probe, where the drill is one of a probe.
            at_unix: when, Unix seconds UTC of the night; now when None or past.
            arguments: what else the drill names in its line.

        Raises:
            SourceConfigError: no such drill, probe or argument; nothing has changed then.
        """
        given = arguments if key is None else {"key": key, **arguments}
        check_drill(self.run, name, given)
        at = self.run.now if at_unix is None else at_unix - self._lit_unix
        heapq.heappush(self._ordered, (at, self._orders, name, given))
        self._orders += 1
        self._begin_drills()

    def _begin_drills(self) -> None:
        while self._ordered and self._ordered[0][0] <= self.run.now:
            _, _, name, arguments = heapq.heappop(self._ordered)
            call_drill(self.run, name, arguments)

    async def __aiter__(self) -> AsyncIterator[Reading]:
        """Burn and yield what the probes send."""
        self._link = Link(LinkState.UP)
        pace = Pace(self._speed, self._clock)
        began = self.run.now
        while True:
            self._begin_drills()
            for sent in self.run.step():
                await pace.until(sent.seconds - began)
                heard_unix = self._lit_unix + sent.seconds
                self.counts.heard += 1
                self.counts.yielded += 1
                yield Reading(self.name, sent.key, sent.celsius, heard_unix, heard_unix)
            await pace.until(self.run.now - began)
