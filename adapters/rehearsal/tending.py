"""The cook at the firebox: lights it, and builds its bed up with a split now and then, higher when the grate is low."""

from numpy.random import Generator

from adapters.rehearsal.firebox import WOOD_JOULES, Firebox
from adapters.rehearsal.pit import FireHabit

__all__ = ["Tending"]

_DAMP_MOISTURE = 0.35
_HEARD_SECONDS = 900.0
"""How slowly the cook's idea of the grate follows it: he looks at a trend, not at a flare."""


class Tending:
    """Feeds a firebox by habit. `refuels` keeps when and how much, seconds and kilograms."""

    def __init__(self, habit: FireHabit, random: Generator) -> None:
        self._habit = habit
        self._random = random
        self._next = 0.0
        self._warm = False
        self._believed: float | None = None
        self.refuels: list[tuple[float, float]] = []

    @property
    def warming(self) -> bool:
        """Whether the chamber is still being brought up, with the intake wide open."""
        return not self._warm

    def intake(self, grate_celsius: float) -> float:
        """Return how wide the intake stands against its usual setting."""
        if self.warming:
            return 1.35
        habit = self._habit
        believed = grate_celsius if self._believed is None else self._believed
        return min(1.35, max(0.65, 1.0 + habit.intake_per_kelvin * (habit.target_celsius - believed)))

    def step(
        self,
        now: float,
        seconds: float,
        fire: Firebox,
        grate_celsius: float,
        *,
        away: bool,
        damp: bool,
        heaped: float = 1.0,
    ) -> None:
        """Feed the fire if it is time; nothing is done, and the intake stays, while he is away.

        Args:
            now: seconds from the start of the night.
            seconds: length of the step.
            fire: what to feed.
            grate_celsius: mean of the grate.
            away: nobody is there.
            damp: the wood at hand is wet.
            heaped: how high he builds the bed against his habit.
        """
        habit = self._habit
        if self._believed is None:
            self._believed = grate_celsius
            fire.add_embers(habit.embers_kilograms)
        if not away:
            self._believed += (grate_celsius - self._believed) * min(1.0, seconds / _HEARD_SECONDS)
        if self.warming and grate_celsius > habit.target_celsius - 14.0:
            self._warm = True
            self._believed = grate_celsius + 8.0
            self._next = now + 0.25 * habit.period_seconds
        if now < self._next or away:
            return
        bed, period = habit.warm_up_bed_megajoules, habit.warm_up_period_seconds
        if not self.warming:
            bed = habit.bed_megajoules * (1.0 + habit.gain_per_kelvin * (habit.target_celsius - self._believed))
            period = habit.period_seconds * self._random.uniform(1.0 - habit.period_share, 1.0 + habit.period_share)
        bed *= heaped
        moisture = _DAMP_MOISTURE if damp else habit.moisture
        lacking = (bed * 1e6 - fire.bed_joules) / (WOOD_JOULES * (1.0 - moisture))
        split = min(heaped * habit.largest_split_kilograms, max(0.3, lacking)) * self._random.uniform(0.93, 1.07)
        self._next = now + period
        fire.add_wood(split, moisture)
        self.refuels.append((now, split))
