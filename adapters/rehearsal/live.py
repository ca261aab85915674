"""The rehearsed pit as a source: it burns for as long as somebody listens, at any speed."""

from collections.abc import AsyncIterator, Callable

from adapters.errors import LinkReason
from adapters.reading import Reading
from adapters.recording import Pace
from adapters.rehearsal.drill import call_drill, drills
from adapters.rehearsal.night import Night
from adapters.rehearsal.rehearsal import Rehearsal
from adapters.source import Link, LinkState, SourceCounts

__all__ = ["RehearsalPit"]


class RehearsalPit:
    """A night under way as a `Source`. It never ends of itself; a new iteration goes on where the last stopped."""

    def __init__(
        self,
        night: Night,
        name: str = "rehearsal",
        *,
        speed: float = 1.0,
        start_unix: float | None = None,
        skip_seconds: float = 0.0,
        clock: Callable[[], float] | None = None,
    ) -> None:
        """Light the fire.

        Args:
            night: pit, probes, weather, seed and what is to happen; its duration is not looked at.
            name: name of the source.
            speed: seconds of the night per second; `math.inf` as fast as readings are taken.
            start_unix: when the first reading is to be heard, Unix seconds UTC; the night's own start when None.
            skip_seconds: how far the night is along at that moment: 4500 begins with a hot pit.
            clock: monotonic seconds for the pacing; the loop's when None.
        """
        if not speed > 0.0:
            raise ValueError(f"a speed of {speed}: it must be above 0")
        self.name = name
        self.counts = SourceCounts()
        self.run = Rehearsal(night)
        while self.run.now < skip_seconds:
            self.run.step()
        self._lit_unix = (night.start_unix if start_unix is None else start_unix) - self.run.now
        self._speed = speed
        self._clock = clock
        self._link = Link(LinkState.DOWN, LinkReason.NOT_STARTED)

    @property
    def link(self) -> Link:
        """The link as it stands: up once somebody listens."""
        return self._link

    def committed(self, receipt: int) -> None:
        """Do nothing: nobody sends again here."""

    def restore(self, receipts: list[int]) -> None:
        """Do nothing, as `committed`."""

    def drills(self) -> dict[str, str]:
        """Return the drills that can be called, each with its line."""
        return drills()

    def drill(self, name: str, **arguments: str | float) -> None:
        """Let a drill begin now.

        Raises:
            SourceConfigError: no such drill, probe or argument.
        """
        call_drill(self.run, name, arguments)

    async def __aiter__(self) -> AsyncIterator[Reading]:
        """Burn and yield what the probes send."""
        self._link = Link(LinkState.UP)
        pace = Pace(self._speed, self._clock)
        began = self.run.now
        while True:
            for sent in self.run.step():
                await pace.until(sent.seconds - began)
                heard_unix = self._lit_unix + sent.seconds
                self.counts.heard += 1
                self.counts.yielded += 1
                yield Reading(self.name, sent.key, sent.celsius, heard_unix, heard_unix)
            await pace.until(self.run.now - began)
