"""A night as it runs: fire, chamber, meat and probes advanced together, step by step, from one seed."""

import math

import msgspec
import numpy as np
from numpy.typing import NDArray

from adapters.rehearsal.brisket import Brisket
from adapters.rehearsal.chamber import Chamber
from adapters.rehearsal.firebox import Firebox
from adapters.rehearsal.night import AirLeak, LidOpening, Night, ProbeFault, Zone
from adapters.rehearsal.pit import RehearsalProbe
from adapters.rehearsal.places import Places
from adapters.rehearsal.roast import Roast, parts_of
from adapters.rehearsal.sensing import Sensing
from adapters.rehearsal.tending import Tending

__all__ = ["STEP_SECONDS", "Rehearsal", "Sent", "Simulation", "simulate"]

Array = NDArray[np.float64]
STEP_SECONDS = 2.0
_FULL_NIGHTFALL_SECONDS = 8 * 3600.0
_MAP_SECONDS = 300.0
_ROAST_SECONDS = 10.0


class Sent(msgspec.Struct, frozen=True):
    """One value a probe sent."""

    seconds: float
    """From the start of the night."""
    key: str
    celsius: float


class Simulation(msgspec.Struct, frozen=True):
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
    map_seconds: Array = msgspec.field(default_factory=lambda: np.zeros(0))
    """Times of the maps, shape (maps,)."""
    map_celsius: Array = msgspec.field(default_factory=lambda: np.zeros((0, 0, 0)))
    """True temperature at the centres of equal cells of the grate, shape (maps, rows, columns), the back first."""


class Rehearsal:
    """A night under way.

    `lids`, `leaks`, `faults`, `unattended`, `wet_fuel`, `intake_left`, `weather`, `bath_celsius` and `bundle_key` may
    be changed while it runs; so a drill works.
    """

    def __init__(self, night: Night) -> None:
        self.night = night
        self.lids: list[LidOpening] = list(night.lids)
        self.leaks: list[AirLeak] = list(night.leaks)
        self.faults: list[ProbeFault] = list(night.faults)
        self.unattended: list[tuple[float, float]] = list(night.unattended)
        self.wet_fuel: list[tuple[float, float]] = list(night.wet_fuel)
        self.intake_left: list[tuple[float, float, float]] = list(night.intake_left)
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
        self._roast: Roast | None = None
        if night.meat is not None and night.meat.flesh is not None:
            self._roast = Roast(parts_of(night.meat, night.meat.flesh))
        elif night.meat is not None:
            thicknesses = (night.meat.point_half_thickness_m, night.meat.flat_half_thickness_m)
            self._parts = [Brisket(thickness, night.meat.start_celsius) for thickness in thicknesses]
        self.sensing = Sensing(
            night.probes,
            probe_random,
            self.tips(),
            offset_kelvin=night.offset_kelvin,
            resolution_kelvin=night.resolution_kelvin,
        )

    @property
    def ambient_celsius(self) -> float:
        """Air outside now."""
        weather = self.weather
        dusk = min(1.0, self.now / _FULL_NIGHTFALL_SECONDS)
        return weather.ambient_celsius - weather.night_fall_kelvin * math.sin(0.5 * math.pi * dusk)

    @property
    def grate_celsius(self) -> float:
        """True mean over the grate."""
        return float(self.at(self._zones)[-1])

    def zones(self) -> Array:
        """Return the true mean of each zone of the night, °C, shape (zones,)."""
        return self.at(self._zones)[:-1]

    def tips(self) -> Array:
        """Return the true temperature at each probe's tip, °C, shape (probes,)."""
        values = self.at(self._tips)
        meat = self.night.meat
        for row, probe in enumerate(self.night.probes):
            if probe.duty == "ambient":
                values[row] = self.ambient_celsius
            elif probe.duty == "meat" and meat is not None:
                near_flat = abs(probe.x_m - meat.flat_x_m) < abs(probe.x_m - meat.point_x_m)
                part = int(near_flat)
                values[row] = self._parts[part].celsius[2] if self._roast is None else self._roast.tip_celsius[part]
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
        grate = self.grate_celsius
        self.tending.step(
            now,
            seconds,
            self.fire,
            grate,
            away=any(start <= now < end for start, end in self.unattended),
            damp=any(start <= now < end for start, end in self.wet_fuel),
            heaped=next((share for start, end, share in self.night.heaped if start <= now < end), 1.0),
        )
        opening = self._intake(now, grate) * (1.0 + 0.025 * self.wind)
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
        if self.night.meat is not None and now >= self.night.meat.on_seconds:
            if self._roast is None:
                self._cook(seconds, now)
            elif now % _ROAST_SECONDS == 0.0:
                self._cook_shells(self._roast, now)
        self.now = now + seconds
        self.sensing.still = self.bath_celsius is not None or self.bundle_key is not None
        sent = self.sensing.sample(self.now, seconds, self.tips(), self.faults)
        return [Sent(*values) for values in sent]

    def _intake(self, now: float, grate_celsius: float) -> float:
        left = (opening for start, end, opening in self.intake_left if start <= now < end)
        return next(left, self.tending.intake(grate_celsius))

    def _gust(self, seconds: float) -> None:
        weather = self.weather
        fade = math.exp(-seconds / weather.gust_seconds)
        shake = weather.gust_metres_per_second * math.sqrt(1.0 - fade * fade)
        mean = weather.wind_metres_per_second
        self.wind = max(0.0, mean + (self.wind - mean) * fade + shake * self._wind_random.standard_normal())

    def at(self, places: Places) -> Array:
        """Return the true temperature at some places, °C, shape (places,)."""
        ambient = self.ambient_celsius
        gust = self.wind - self.weather.wind_metres_per_second
        values = places.celsius(self.chamber.air, ambient, self.fire.celsius - ambient, gust)
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
        air = self.at(self._middle)
        for part, celsius in zip(self._parts, air, strict=True):
            part.wrapped = wrapped
            part.step(seconds, float(celsius))

    def _cook_shells(self, roast: Roast, now: float) -> None:
        """Cook meat of shells, less often than the rest: it is slow, and costs more."""
        meat = self.night.meat
        assert meat is not None, "there is no roast without meat"
        assert meat.flesh is not None, "a roast is made of it"
        wrapped = meat.wrap_seconds is not None and now >= meat.wrap_seconds
        through, let_in = (meat.flesh.wrap_open, meat.flesh.wrap_heat) if wrapped else (1.0, 1.0)
        roast.step(_ROAST_SECONDS, self.at(self._middle), open_share=np.full(2, through), heat_share=np.full(2, let_in))


def _spots_of_meat(night: Night) -> list[RehearsalProbe]:
    if night.meat is None:
        return []
    middle = night.pit.width_m / 2.0
    return [RehearsalProbe("", x_m=x, y_m=middle) for x in (night.meat.point_x_m, night.meat.flat_x_m)]


def _cells(night: Night, columns: int, rows: int) -> list[RehearsalProbe]:
    x_m = (np.arange(columns) + 0.5) / columns * night.pit.length_m
    y_m = (np.arange(rows) + 0.5) / rows * night.pit.width_m
    return [RehearsalProbe("", x_m=x, y_m=y) for y in y_m.tolist() for x in x_m.tolist()]


def simulate(night: Night, until_seconds: float | None = None, *, cells: tuple[int, int] | None = None) -> Simulation:
    """Run a night, or its beginning, as fast as the machine can.

    Args:
        night: the script.
        until_seconds: stop there; the whole night when None.
        cells: columns and rows of the maps to keep, one every five minutes; none are kept when None.
    """
    end = night.duration_seconds if until_seconds is None else min(until_seconds, night.duration_seconds)
    run = Rehearsal(night)
    sent: list[Sent] = []
    seconds: list[float] = []
    truth: list[tuple[float, Array, Array]] = []
    columns, rows = cells or (0, 0)
    map_places = Places(night.pit, run.chamber.x_m, _cells(night, columns, rows))
    map_seconds: list[float] = []
    maps: list[Array] = []
    while run.now < end:
        if run.now % 60.0 == 0.0:
            seconds.append(run.now)
            truth.append((run.grate_celsius, run.zones(), run.tips()))
        if cells and run.now % _MAP_SECONDS == 0.0:
            map_seconds.append(run.now)
            maps.append(run.at(map_places).reshape(rows, columns))
        sent.extend(run.step())
    return Simulation(
        tuple(sent),
        np.array(seconds),
        np.array([grate for grate, _, _ in truth]),
        np.array([zones for _, zones, _ in truth]),
        np.array([tips for _, _, tips in truth]),
        tuple(run.tending.refuels),
        np.array(map_seconds),
        np.array(maps).reshape(len(maps), rows, columns),
    )
