"""The script of a night: what the pit is, and what happens to it when. Times are seconds from the start."""

import enum
import math

import msgspec

from adapters.rehearsal.pit import FireHabit, Meat, Pit, RehearsalProbe, Weather

__all__ = ["AirLeak", "FaultKind", "LidOpening", "Night", "ProbeFault", "Zone"]


class FaultKind(enum.StrEnum):
    """What can happen to a probe."""

    STUCK = "stuck"
    """Repeats the value it had."""
    DRIFT = "drift"
    """Walks away from the truth by `kelvin_per_hour`, at most `kelvin`."""
    SPIKE = "spike"
    """Now and then (every `every_seconds` on average) one value that is off by about `kelvin`."""
    OPEN = "open"
    """A broken wire: the highest resistance a converter knows, 850 °C (end of the IEC 60751 table)."""
    SHORT = "short"
    """A shorted wire: no resistance at all, -200 °C (the other end of that table)."""
    SILENT = "silent"
    """Sends nothing."""
    SWAPPED = "swapped"
    """Its plug and that of `other` are exchanged."""
    WET = "wet"
    """Its tip was spritzed: it reads near the wet-bulb until dry."""


class ProbeFault(msgspec.Struct, frozen=True):
    """One fault of one probe."""

    key: str
    kind: FaultKind
    start: float
    end: float = math.inf
    kelvin: float = 8.0
    kelvin_per_hour: float = 2.0
    every_seconds: float = 240.0
    other: str = ""


class LidOpening(msgspec.Struct, frozen=True):
    """The door of the chamber stands open."""

    start: float
    seconds: float
    why: str = "a look"

    def open_at(self, seconds: float) -> bool:
        """Tell whether it is open at that time."""
        return self.start <= seconds < self.start + self.seconds


class AirLeak(msgspec.Struct, frozen=True):
    """Cold air drawn in at the grate: a gasket that gave way and a baffle that moved."""

    start: float
    grow_seconds: float = 45 * 60.0
    """Until it has its full size."""
    x_m: float = 0.89
    y_m: float = 0.28
    reach_m: float = 0.10
    """Standard deviation of its reach along the pit; across it reaches twice as far."""
    flow_capacity: float = 0.8
    """Mass flow times specific heat of the air drawn in, W/K: what mixes into the chamber."""
    pool_kelvin: float = 9.5
    """How much colder the air is where it has not mixed yet, at its middle."""
    end: float = math.inf

    def size_at(self, seconds: float) -> float:
        """Return the share of its full size at that time, 0 to 1."""
        if not self.start <= seconds < self.end:
            return 0.0
        return 1.0 if self.grow_seconds <= 0 else min(1.0, (seconds - self.start) / self.grow_seconds)


class Zone(msgspec.Struct, frozen=True):
    """A rectangle of a level whose true mean is asked for."""

    name: str
    level: str
    x0_m: float
    x1_m: float
    y0_m: float
    y1_m: float


class Night(msgspec.Struct, frozen=True):
    """Everything that decides a night; the same night gives the same readings, bit by bit."""

    name: str
    seed: int
    start_unix: float
    duration_seconds: float
    probes: tuple[RehearsalProbe, ...]
    zones: tuple[Zone, ...] = ()
    pit: Pit = msgspec.field(default_factory=Pit)
    habit: FireHabit = msgspec.field(default_factory=FireHabit)
    weather: Weather = msgspec.field(default_factory=Weather)
    meat: Meat | None = msgspec.field(default_factory=Meat)
    lids: tuple[LidOpening, ...] = ()
    leaks: tuple[AirLeak, ...] = ()
    faults: tuple[ProbeFault, ...] = ()
    unattended: tuple[tuple[float, float], ...] = ()
    """Spans in which nobody feeds the fire."""
    wet_fuel: tuple[tuple[float, float], ...] = ()
    """Spans in which the wood is wet (35 % water)."""
    intake_left: tuple[tuple[float, float, float], ...] = ()
    """Spans in which the intake stands where it was left, and how wide against its usual setting."""
    heaped: tuple[tuple[float, float, float], ...] = ()
    """Spans in which the bed is built up too high, and to how much of the usual."""
    offset_kelvin: float = 0.5
    """What the probes are off by all night, as a standard deviation; none by more than 2.4 of it."""
    resolution_kelvin: float = 0.1
    """Steps in which the probes send."""
