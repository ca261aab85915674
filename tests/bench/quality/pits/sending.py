"""What probes make of the truth and what arrives of it: lag, noise, faults, radio gaps, bursts and wrong clocks."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.quality.pits.placing import Place
from tests.bench.quality.pits.story import DT, SPIN_UP, noise

__all__ = ["Fault", "draw_faults", "send"]

Array = NDArray[np.float64]
SENTINELS = (0.0, -40.0, 999.9, 3276.7)
"""What senders put in place of a value that they do not have."""
TURBULENCE_F, TURBULENCE_TAU = 0.9, 45.0
"""Of the air round a tip: standard deviation and time constant, s."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a probe or, of type `clock`, with the gateway of a transport."""

    type: str
    probe: str
    start: float
    end: float
    param: float | str | None

    def label(self) -> dict[str, Any]:
        """Write it as a label."""
        return {"type": self.type, "probe": self.probe, "start": self.start, "end": self.end, "param": self.param}


def draw_faults(kind: str, random: Generator, places: Sequence[Place], end: float) -> list[Fault]:
    """Draw the faults of a night: several where it is `faulty`, seldom one elsewhere, gaps and clocks anywhere."""
    u = random.uniform
    grate = [p.name for p in places if p.kind == "grate"]
    sound, out = list(random.permutation(grate)), list[Fault]()
    if kind == "faulty":
        wanted = [
            "decal",
            "decal",
            *random.choice(["open", "short", "stuck", "spike", "swap", "silent"], 3, replace=False),
        ]
    else:
        wanted = [str(random.choice(["decal", "open", "short", "stuck", "spike", "silent"]))] if u() < 0.2 else []
    for what in wanted[: max(1, len(grate) // 2)]:
        at = float(u(0.05, 0.75) * end)
        lasts = end if what in ("decal", "swap") else at + float(u(1200.0, 9000.0))
        param: float | str | None = None
        if what == "decal":
            param = float(u(4.0, 14.0) * random.choice([-1.0, 1.0]))
        elif what in ("open", "short"):
            param = float(random.choice(SENTINELS))
        if what == "swap":
            if len(sound) < 2:
                continue
            param = str(sound.pop())
        out.append(Fault(str(what), str(sound.pop()), at, min(lasts, end), param))
    for name in sound[: int(random.integers(0, 1 + min(4, len(sound) // 2)))]:
        at = float(u(0.0, 0.9) * end)
        out.append(Fault("gaps", str(name), at, min(at + float(u(3600.0, 18000.0)), end), None))
    for transport in ("ble", "mqtt"):
        if u() < 0.12:  # a gateway's clock is an hour off, from the start or after it restarts
            at = 0.0 if u() < 0.5 else float(u(0.1, 0.7) * end)
            out.append(Fault("clock", transport, at, end, float(random.choice([-3600.0, 3600.0]))))
        elif u() < 0.25:
            out.append(Fault("clock", transport, 0.0, end, float(u(2.0, 45.0) * random.choice([-1.0, 1.0]))))
    return out


def lagged(x: Array, lags: Array) -> Array:
    """Put series (steps, probes) through first-order lags, s."""
    keep, out, now = np.exp(-DT / lags), np.empty_like(x), x[0].copy()
    for k in range(len(x)):
        now = keep * now + (1.0 - keep) * x[k]
        out[k] = now
    return out


def send(
    places: Sequence[Place], celsius: Array, faults: Sequence[Fault], random: Generator, start_unix: float, end: float
) -> list[bytes]:
    """Give the readings of a night in order of arrival, as encoded lines.

    Args:
        places: the probes.
        celsius: true temperature at each probe, from -SPIN_UP on, shape (steps, probes).
        faults: what is wrong with them.
        random: the night's own.
        start_unix: when the night starts.
        end: how long it lasts, s.
    """
    true = celsius * 1.8 + 32.0
    chamber = np.array([p.kind in ("grate", "top") for p in places])
    true = true + TURBULENCE_F * noise(random, len(true), TURBULENCE_TAU, columns=len(places)) * chamber
    felt = lagged(true, np.array([p.lag for p in places]))
    row = {p.name: k for k, p in enumerate(places)}
    grid, arrivals, lines = np.arange(len(felt)) * DT - SPIN_UP, list[Array](), list[list[bytes]]()
    for k, place in enumerate(places):
        t = np.arange(random.uniform(0.0, place.period), end, place.period)
        t = t + random.uniform(0.0, 0.04, len(t)) * place.period
        source = np.full(len(t), k)
        for fault in faults:
            if fault.type == "swap" and place.name in (fault.probe, fault.param):
                other = fault.param if place.name == fault.probe else fault.probe
                source[(t >= fault.start) & (t < fault.end)] = row[str(other)]
        value = np.empty(len(t))
        for j in set(source.tolist()):
            here = source == j
            value[here] = np.interp(t[here], grid, felt[:, j]) + places[j].offset
        value += place.noise * random.standard_normal(len(t))
        mine = [f for f in faults if f.probe == place.name]
        value, missing = _broken(value, t, mine, random)
        shown, missing = _in_unit(value, place), missing | (random.uniform(size=len(t)) < random.uniform(0.0, 0.06))
        shown = _with_sentinels(shown, t, mine)
        received, stamp = _radio(t, place, faults, random)
        arrivals.append(received[~missing])
        lines.append(
            [
                f'{{"rx": {start_unix + rx:.2f}, "t": {start_unix + at:.1f}, "id": "{place.name}", "value": {v:g}, '
                f'"unit": "{place.unit}"}}'.encode()
                for rx, at, v in zip(*(x[~missing].tolist() for x in (received, stamp, shown)), strict=True)
            ]
        )
    order = np.argsort(np.concatenate(arrivals), kind="stable")
    flat = [line for mine in lines for line in mine]
    return [flat[k] for k in order]


def _broken(value: Array, t: Array, faults: Sequence[Fault], random: Generator) -> tuple[Array, NDArray[np.bool_]]:
    """Let the sensor's own faults act; tell which readings are never sent."""
    missing = np.zeros(len(t), bool)
    for fault in faults:
        during = (t >= fault.start) & (t < fault.end)
        if fault.type == "decal" and isinstance(fault.param, float):
            value = value + np.where(during, fault.param * (t - fault.start) / 3600.0, 0.0)
        elif fault.type == "stuck" and during.any():
            value = np.where(during, value[np.argmax(during)], value)
        elif fault.type == "spike":
            hit = during & (random.uniform(size=len(t)) < 0.12)
            value = np.where(
                hit, value + random.uniform(40.0, 160.0, len(t)) * random.choice([-1.0, 1.0], len(t)), value
            )
        elif fault.type == "silent":
            missing |= during
        elif fault.type == "gaps":  # minutes without a word, as behind a closed door of steel
            silent, at = np.zeros(len(t), bool), fault.start
            while at < fault.end:
                at += random.exponential(900.0)
                lasts = random.uniform(90.0, 700.0)
                silent |= (t >= at) & (t < at + lasts)
                at += lasts
            missing |= silent & during
    return value, missing


def _in_unit(value: Array, place: Place) -> Array:
    shown = value if place.unit == "F" else (value - 32.0) / 1.8
    return np.round(shown / place.quantum) * place.quantum


def _with_sentinels(shown: Array, t: Array, faults: Sequence[Fault]) -> Array:
    for fault in faults:
        if fault.type in ("open", "short") and isinstance(fault.param, float):
            shown = np.where((t >= fault.start) & (t < fault.end), fault.param, shown)
    return shown


def _radio(t: Array, place: Place, faults: Sequence[Fault], random: Generator) -> tuple[Array, Array]:
    """Give when each reading arrives and the time that its sender puts on it."""
    received = t + random.exponential(0.35, len(t))
    for _ in range(int(random.poisson(0.6))):  # a gateway that reconnects sends at once what it kept
        at, lasts = random.uniform(0.0, t[-1]), random.uniform(30.0, 240.0)
        kept = (t >= at) & (t < at + lasts)
        received = np.where(kept, at + lasts + random.uniform(0.0, 2.0, len(t)), received)
    stamp = t.copy()
    for fault in faults:
        if fault.type == "clock" and fault.probe == place.transport and isinstance(fault.param, float):
            stamp = np.where((t >= fault.start) & (t < fault.end), stamp + fault.param, stamp)
    return received, stamp
