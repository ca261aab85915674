"""A night as it runs: fire, chamber, meat and probes advanced together, step by step, from one seed."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from adapters.rehearsal.brisket import Brisket
from adapters.rehearsal.chamber import Chamber
from adapters.rehearsal.firebox import Firebox
from adapters.rehearsal.night import AirLeak, LidOpening, Night, ProbeFault, Zone
from adapters.rehearsal.pit import RehearsalProbe
from adapters.rehearsal.places import Places
from adapters.rehearsal.sensing import Sensing
from adapters.rehearsal.tending import Tending

__all__ = ["STEP_SECONDS", "Rehearsal", "Sent", "Simulation", "simulate"]

Array = NDArray[np.float64]
STEP_SECONDS = 2.0
_FULL_NIGHTFALL_SECONDS = 8 * 3600.0


@dataclass(frozen=True, slots=True)
class Sent:
    """One value a probe sent."""

    seconds: float
    """From the start of the night."""
    key: str
    celsius: float


@dataclass(frozen=True, slots=True)
class Simulation:
    """A whole night: what was sent, and what was true."""

    sent: tuple[Sent, ...]
    seconds: Array
    """Times of the truth, one a minute, shape (times,)."""
    grate_celsius: Array
    """True mean over the grate, shape (times,)."""
    zone_celsius: Array
    """True mean over each zone of the night, shape (times, zones)."""
    probe_celsius: Array
    """True temperature at each tip, shape (times, probes)."""
    refuels: tuple[tuple[float, float], ...]
    """Seconds and kilograms of each split."""


class Rehearsal:
    """A night under way.

    `lids`, `leaks`, `faults`, `unattended`, `wet_fuel`, `weather`, `bath_celsius` and `bundle_key` may be changed while
    it runs; so a drill works.
    """

    def __init__(self, night: Night) -> None:
        self.night = night
        self.lids: list[LidOpening] = list(night.lids)
        self.leaks: list[AirLeak] = list(night.leaks)
        self.faults: list[ProbeFault] = list(night.faults)
        self.unattended: list[tuple[float, float]] = list(night.unattended)
        self.wet_fuel: list[tuple[float, float]] = list(night.wet_fuel)
        self.weather = night.weather
        self.bath_celsius: float | None = None
        """All tips are in water of this temperature."""
        self.bundle_key: str | None = None
        """All tips are tied together at the place of this probe."""
        self.now = 0.0
        """Seconds from the start."""
        fire_random, wind_random, probe_random = (
            np.random.default_rng(seed) for seed in np.random.SeedSequence(night.seed).spawn(3)
        )
        self._wind_random = wind_random
        ambient = night.weather.ambient_celsius
        self.wind = night.weather.wind_metres_per_second
        self.chamber = Chamber(night.pit, ambient)
        self.fire = Firebox(night.pit, ambient)
        self.tending = Tending(night.habit, fire_random)
        self._middle = Places(night.pit, self.chamber.x_m, _spots_of_meat(night))
        self._tips = Places(night.pit, self.chamber.x_m, night.probes)
        whole = Zone("grate", "grate", 0.0, night.pit.length_m, 0.0, night.pit.width_m)
        self._zones = Places(night.pit, self.chamber.x_m, (*night.zones, whole))
        self._parts: list[Brisket] = []
        if night.meat is not None:
            thicknesses = (night.meat.point_half_thickness_m, night.meat.flat_half_thickness_m)
            self._parts = [Brisket(thickness, night.meat.start_celsius) for thickness in thicknesses]
        self.sensing = Sensing(night.probes, probe_random, self.tips())

    @property
    def ambient_celsius(self) -> float:
        """Air outside now."""
        weather = self.weather
        dusk = min(1.0, self.now / _FULL_NIGHTFALL_SECONDS)
        return weather.ambient_celsius - weather.night_fall_kelvin * math.sin(0.5 * math.pi * dusk)

    @property
    def grate_celsius(self) -> float:
        """True mean over the grate."""
        return float(self._field(self._zones)[-1])

    def zones(self) -> Array:
        """Return the true mean of each zone of the night, °C, shape (zones,)."""
        return self._field(self._zones)[:-1]

    def tips(self) -> Array:
        """Return the true temperature at each probe's tip, °C, shape (probes,)."""
        values = self._field(self._tips)
        meat = self.night.meat
        for row, probe in enumerate(self.night.probes):
            if probe.duty == "ambient":
                values[row] = self.ambient_celsius
            elif probe.duty == "meat" and meat is not None:
                near_flat = abs(probe.x_m - meat.flat_x_m) < abs(probe.x_m - meat.point_x_m)
                values[row] = self._parts[int(near_flat)].celsius[2]
        if self.bath_celsius is not None:
            values[:] = self.bath_celsius
        elif self.bundle_key is not None:
            values[:] = values[[probe.key for probe in self.night.probes].index(self.bundle_key)]
        return values

    def step(self) -> list[Sent]:
        """Advance by `STEP_SECONDS` and return what the probes sent, in order of time."""
        seconds, now, ambient = STEP_SECONDS, self.now, self.ambient_celsius
        self._gust(seconds)
        door_open = any(lid.open_at(now) for lid in self.lids)
        self.tending.step(
            now,
            seconds,
            self.fire,
            self.grate_celsius,
            away=any(start <= now < end for start, end in self.unattended),
            damp=any(start <= now < end for start, end in self.wet_fuel),
        )
        opening = self.tending.intake(self.grate_celsius) * (1.0 + 0.025 * self.wind)
        flow = self.chamber.flow_capacity(ambient, opening)
        self.fire.step(seconds, flow / self.night.pit.flow_capacity, flow, ambient)
        self.chamber.step(
            seconds,
            inlet_celsius=self.fire.celsius,
            flow_capacity=flow,
            ambient_celsius=ambient,
            wind=self.wind,
            door_open=door_open,
            leak=self._leak(now),
        )
        if self._parts and self.night.meat is not None and now >= self.night.meat.on_seconds:
            self._cook(seconds, now)
        self.now = now + seconds
        self.sensing.still = self.bath_celsius is not None or self.bundle_key is not None
        sent = self.sensing.sample(self.now, seconds, self.tips(), self.faults)
        return [Sent(*values) for values in sent]

    def _gust(self, seconds: float) -> None:
        weather = self.weather
        fade = math.exp(-seconds / weather.gust_seconds)
        shake = weather.gust_metres_per_second * math.sqrt(1.0 - fade * fade)
        mean = weather.wind_metres_per_second
        self.wind = max(0.0, mean + (self.wind - mean) * fade + shake * self._wind_random.standard_normal())

    def _field(self, places: Places) -> Array:
        values = places.celsius(self.chamber.air, self.ambient_celsius)
        heat = float(self.chamber.air[0].mean() - self.ambient_celsius) / 100.0
        for leak in self.leaks:
            if size := leak.size_at(self.now):
                values -= heat * size * places.pool(leak)
        return values

    def _leak(self, now: float) -> Array:
        x_m = self.chamber.x_m
        total = np.zeros_like(x_m)
        for leak in self.leaks:
            if size := leak.size_at(now):
                reach = np.exp(-0.5 * ((x_m - leak.x_m) / leak.reach_m) ** 2)
                total += size * leak.flow_capacity * reach / reach.sum()
        return total

    def _cook(self, seconds: float, now: float) -> None:
        meat = self.night.meat
        wrapped = meat is not None and meat.wrap_seconds is not None and now >= meat.wrap_seconds
        air = self._field(self._middle)
        for part, celsius in zip(self._parts, air, strict=True):
            part.wrapped = wrapped
            part.step(seconds, float(celsius))


def _spots_of_meat(night: Night) -> list[RehearsalProbe]:
    if night.meat is None:
        return []
    middle = night.pit.width_m / 2.0
    return [RehearsalProbe("", x_m=x, y_m=middle) for x in (night.meat.point_x_m, night.meat.flat_x_m)]


def simulate(night: Night, until_seconds: float | None = None) -> Simulation:
    """Run a night, or its beginning, as fast as the machine can.

    Args:
        night: the script.
        until_seconds: stop there; the whole night when None.
    """
    end = night.duration_seconds if until_seconds is None else min(until_seconds, night.duration_seconds)
    run = Rehearsal(night)
    sent: list[Sent] = []
    seconds: list[float] = []
    truth: list[tuple[float, Array, Array]] = []
    while run.now < end:
        if run.now % 60.0 == 0.0:
            seconds.append(run.now)
            truth.append((run.grate_celsius, run.zones(), run.tips()))
        sent.extend(run.step())
    return Simulation(
        tuple(sent),
        np.array(seconds),
        np.array([grate for grate, _, _ in truth]),
        np.array([zones for _, zones, _ in truth]),
        np.array([tips for _, _, tips in truth]),
        tuple(run.tending.refuels),
    )
