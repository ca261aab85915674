"""What happens in a night: weather, doors, leaks, the fire's accidents. The same for every generator.

A generator makes of it what its own physics make: the story says when a gasket leaks and how wide, not how cold it
gets.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

__all__ = ["DT", "KINDS", "SPIN_UP", "Door", "Leak", "Story", "draw_story"]

Array = NDArray[np.float64]
DT = 10.0
"""Step of every simulation, s."""
SPIN_UP = 5400.0
"""Every simulation begins this long before the night, s."""
HOURS = 14.0
KINDS = ("quiet", "cold", "fire-dies", "runaway", "wind-rain", "doors", "faulty", "change")
WIND_TAU = 25.0
"""Time constant of gusts, s; turbulence near the ground has scales of 20 to 60 s (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Door:
    """One opening of the chamber's door."""

    start: float
    end: float
    reason: str
    share: float
    """How wide: 1 is fully open."""


@dataclass(frozen=True, slots=True)
class Leak:
    """Cold air that enters at one place, or a load that shades it."""

    start: float
    end: float
    x_share: float
    """Where along the chamber, 0 to 1."""
    front: bool
    size: float
    """1 takes some 25 °F from the zone."""
    growth_seconds: float
    """Time constant with which it opens."""


@dataclass(slots=True)
class Story:
    """One night. Times are seconds from its start; series have one value a step from -SPIN_UP on."""

    kind: str
    target_celsius: float
    t: Array
    ambient: Array
    """°C"""
    wind: Array
    """m/s"""
    rain: Array
    """0 to 1"""
    doors: list[Door] = field(default_factory=list)
    leaks: list[Leak] = field(default_factory=list)
    shift_at: float = np.inf
    """From then on the flow leans to one side."""
    shift: float = 0.0
    fading: tuple[float, float] | None = None
    """From when nobody tends the fire, and when it is lit again."""
    fading_share: float = 1.0
    """How far the tending stops: 1 altogether, less where the fire is fed too little."""
    runaway: tuple[float, float] | None = None
    change: float = 0.0
    """What is changed at the stack, as a share of the largest change."""
    spells: list[tuple[float, float]] = field(default_factory=list)
    """Of rain."""

    def open_share(self) -> Array:
        """How wide the door is open, one value a step."""
        out = np.zeros(len(self.t))
        for door in self.doors:
            inside = np.clip(np.minimum(self.t + DT - door.start, door.end - self.t) / DT, 0.0, 1.0)
            out = np.maximum(out, door.share * inside)
        return out

    def leak_sizes(self) -> Array:
        """How far each leak is open, shape (leaks, steps)."""
        rows = []
        for leak in self.leaks:
            grown = 1.0 - np.exp(-np.maximum(self.t - leak.start, 0.0) / leak.growth_seconds)
            closed = np.exp(-np.maximum(self.t - leak.end, 0.0) / 300.0)
            rows.append(leak.size * grown * closed)
        return np.array(rows).reshape(len(self.leaks), len(self.t))

    def lean(self) -> Array:
        """How far the flow leans to one side, one value a step."""
        return self.shift / (1.0 + np.exp(-np.clip((self.t - self.shift_at) / 120.0, -50.0, 50.0)))

    def between(self, spell: tuple[float, float] | None) -> NDArray[np.bool_]:
        """Tell which steps lie within a spell."""
        if spell is None:
            return np.zeros(len(self.t), bool)
        return (self.t >= spell[0]) & (self.t < spell[1])


def noise(random: Generator, steps: int, tau: float, step: float = DT, columns: int | None = None) -> Array:
    """Draw noise of the first order with standard deviation 1, shape (steps,) or (steps, columns)."""
    keep = float(np.exp(-step / tau))
    drive = random.standard_normal((steps, columns or 1))
    out, now, gain = np.empty_like(drive), drive[0], np.sqrt(1.0 - keep * keep)
    for k in range(steps):
        now = keep * now + gain * drive[k]
        out[k] = now
    return out if columns else out[:, 0]


def draw_story(kind: str, random: Generator, change: float) -> Story:
    """Draw a night.

    Args:
        kind: one of `KINDS`.
        random: the night's own.
        change: what was changed at the stack before it; 0 before the change.
    """
    u, end = random.uniform, HOURS * 3600.0
    t = np.arange(-SPIN_UP, end, DT)
    windy = kind == "wind-rain"
    mean_wind = u(4.0, 8.0) if windy else u(0.3, 2.5)
    intensity = u(0.45, 0.75) if windy else u(0.15, 0.35)
    slow = 1.0 + 0.25 * noise(random, len(t), 4000.0)
    wind = np.maximum(mean_wind * slow * (1.0 + intensity * noise(random, len(t), WIND_TAU)), 0.0)
    if windy:  # single blasts, as from round a corner
        for at in u(0.0, end, int(random.integers(40, 120))):
            wind += mean_wind * u(0.8, 2.5) * np.exp(-np.abs(t - at) / u(15.0, 60.0))
    ambient = (
        u(-2.0, 28.0) - u(0.0, 5.0) * np.sin(np.pi * np.clip(t / end, 0.0, 1.0)) + 0.5 * noise(random, len(t), 2400.0)
    )
    story = Story(kind, u(107.0, 132.0), t, ambient, wind, np.zeros(len(t)), change=change)
    _draw_doors(story, random, end)
    _draw_leaks(story, random, end)
    if windy:
        for at in u(0.0, end, int(random.integers(1, 4))):
            spell = (float(at), float(at + u(1800.0, 7200.0)))
            story.spells.append(spell)
            story.rain = np.maximum(story.rain, u(0.4, 1.0) * story.between(spell))
    if kind == "fire-dies":
        at = u(2.0, 9.0) * 3600.0
        story.fading = (float(at), float(at + u(2.0, 4.5) * 3600.0))
        story.fading_share = float(u(0.4, 1.0))
    if kind == "runaway":
        at = u(2.0, 10.0) * 3600.0
        story.runaway = (float(at), float(at + u(1.2, 2.5) * 3600.0))
    return story


def _draw_doors(story: Story, random: Generator, end: float) -> None:
    u = random.uniform
    count = int(random.integers(12, 26)) if story.kind == "doors" else int(random.integers(2, 7))
    for at in np.sort(u(1200.0, end - 1200.0, count)):
        reason = str(random.choice(["look", "spritz", "turn"]))
        story.doors.append(Door(float(at), float(at + u(25.0, 110.0)), reason, float(u(0.6, 1.0))))
    if u() < (0.35 if story.kind in ("doors", "wind-rain") else 0.12):  # not shut again properly
        last = story.doors[int(random.integers(len(story.doors)))]
        story.leaks.append(Leak(last.end, last.end + u(1800.0, 7200.0), u(0.2, 0.9), True, u(0.5, 1.3), 60.0))


def _draw_leaks(story: Story, random: Generator, end: float) -> None:
    u = random.uniform
    count = {"cold": 3, "faulty": 1, "wind-rain": 1}.get(story.kind, int(u() < 0.45))
    for k in range(count):
        at = u(k / count, (k + 0.8) / count) * end if count > 1 else u(0.05, 0.8) * end
        lasts, growth = u(2400.0, 14400.0), float(np.exp(u(np.log(120.0), np.log(2400.0))))
        story.leaks.append(Leak(at, at + lasts, u(0.1, 0.95), u() < 0.65, u(0.5, 1.8), growth))
    if story.kind == "cold" or u() < 0.12:
        story.shift_at, story.shift = u(0.1, 0.8) * end, u(0.4, 1.0) * random.choice([-1.0, 1.0])
