"""A piece of meat as the cook describes it: cut, mass, where it lies, its probes and where they are to arrive. Pure."""

import enum
import math

import msgspec

from collector.model.meat.cooling import CoolingRule

__all__ = [
    "APART_KELVIN",
    "DAY_SECONDS",
    "FOOD_CODE_HOLD_CELSIUS",
    "ON_FIRE",
    "POUND_KG",
    "SOONEST_SECONDS",
    "Cut",
    "MeatPhase",
    "Part",
    "Piece",
    "Species",
    "species_of",
]

POUND_KG = 0.45359237
"""The avoirdupois pound is so many kilograms by definition."""

APART_KELVIN = 3.0
"""From here on parts of a piece, and the air around them, are told apart."""
DAY_SECONDS = 86_400.0
SOONEST_SECONDS = 4 * 3600.0
"""What is to be served sooner after it went on cannot be meant for today."""
FOOD_CODE_HOLD_CELSIUS = (135.0 - 32.0) / 1.8
"""135 °F: the hot-holding floor of the FDA Food Code, 3-501.16."""


class Cut(enum.StrEnum):
    """What it is cut from, as the trade calls it."""

    BRISKET = "brisket"
    PORK_SHOULDER = "pork shoulder"
    RIBS = "ribs"
    OTHER = "other"


class Species(enum.StrEnum):
    """Whose meat it is; tables of safety are by species."""

    BEEF = "beef"
    PORK = "pork"
    LAMB = "lamb"
    POULTRY = "poultry"
    UNKNOWN = "species not said"
    """No table and no minimum but the strictest may be applied."""


def species_of(cut: Cut) -> Species:
    """Give the species that a cut is of by its name alone; ribs, and cuts without a name, may be anything's."""
    return {Cut.BRISKET: Species.BEEF, Cut.PORK_SHOULDER: Species.PORK}.get(cut, Species.UNKNOWN)


class MeatPhase(enum.StrEnum):
    """Where a piece is in the night."""

    WAITING = "not on yet"
    COOKING = "cooking"
    WRAPPED = "wrapped"
    RESTING = "resting"
    HOLDING = "holding"
    COOLING = "cooling"
    OFF = "off"


ON_FIRE = (MeatPhase.COOKING, MeatPhase.WRAPPED)
"""Phases in which it lies in the pit."""


class Part(msgspec.Struct, frozen=True):
    """A part of a piece with a probe in it."""

    name: str
    """`flat`, `point`, as the cook calls it."""
    probe: str
    """Name of its probe."""
    wrap_at: float | None = None
    done_at: float | None = None
    """Where it is to arrive, °C; None: the cook has not said."""

    @property
    def wrap_celsius(self) -> float:
        """Where it is to be wrapped; NaN: not said."""
        return math.nan if self.wrap_at is None else self.wrap_at

    @property
    def done_celsius(self) -> float:
        """Where it is done; NaN: not said."""
        return math.nan if self.done_at is None else self.done_at


class Piece(msgspec.Struct, frozen=True):
    """One piece of meat."""

    name: str
    cut: Cut = Cut.BRISKET
    parts: tuple[Part, ...] = ()
    mass_kg: float | None = None
    species: Species = Species.BEEF
    intact: bool | None = None
    """False: injected, bladed, tied open or ground. No piece here is intact, since a probe pierces it; a True from an
    older config changes nothing."""
    place: tuple[float, float, float, float] | None = None
    """Where it lies on the grate, metres: x from and to, y from and to; None: not said."""
    hold_celsius: float = FOOD_CODE_HOLD_CELSIUS
    """No colder than this while it is held hot."""
    rest_seconds: float = 3600.0
    """From done until it is to be served, at least."""
    serve_day_seconds: float | None = None
    """When it is to be served, second of the day in UTC; None: not said."""

    clocks_change: tuple[float, float] | None = None
    """When clocks here are next put forward, Unix seconds, and by how many seconds (back: less than nothing); None:
    they are not. `serve_day_seconds` holds until then."""
    cooling: CoolingRule = CoolingRule.FOOD_CODE
    """Whose limits it is cooled by."""
    was: tuple[str, ...] = ()
    """What the config called it before in this cook, the oldest name first."""

    def serve_unix(self, on_unix: float, soonest_seconds: float = SOONEST_SECONDS) -> float:
        """Give when it is to be served: the first such time of day that is not too soon after it went on.

        NaN where no time of day is set, or it is not on.
        """
        if self.serve_day_seconds is None or math.isnan(on_unix):
            return math.nan
        least = on_unix + soonest_seconds
        first = least - DAY_SECONDS + (self.serve_day_seconds - least) % DAY_SECONDS
        return min(at for at in (self._by_the_clock(first + k * DAY_SECONDS) for k in range(4)) if at >= least)

    def _by_the_clock(self, unix: float) -> float:
        """Move a time of day that lies beyond a change of the clocks, so that the clock shows the same."""
        if self.clocks_change is None or unix < self.clocks_change[0]:
            return unix
        return unix - self.clocks_change[1]
