"""A field without a chamber: a smooth base, patches that are born, drift, grow and fade, and a level held by a fan.

No gas flows here. The field is a low polynomial whose coefficients wander, plus Gaussian patches: small ones at random
times and places, and one for each leak. The level follows the fan with a dead time and a lag (Seborg et al., Process
Dynamics and Control, 2011, ch. 5); a proportional-integral controller drives the fan, which cannot blow harder than it
can, over a bed that burns down.
"""

from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.quality.pits.story import DT, SPIN_UP, Story, noise

__all__ = ["Drifting", "FanFire"]

Array = NDArray[np.float64]
DOOR_TAU, DOOR_BACK_TAU = 130.0, 240.0


class FanFire:
    """A bed of coals, a fan, and the controller between the level and the fan. All in kelvin above the air outside."""

    def __init__(self, gain: float, lag: float, dead_time: float, tight: float) -> None:
        self.gain, self.lag = gain, lag
        # tuning for a process of first order with dead time (Skogestad's rules, J. Process Control 13, 2003)
        closed = dead_time * tight
        self.proportional = lag / (gain * (closed + dead_time))
        self.integral_time = min(lag, 4.0 * (closed + dead_time))
        self.waiting = [0.5] * max(1, round(dead_time / DT))
        self.sum, self.blows = 0.5, 0.5

    def step(self, level: float, wanted: float, bed: float, passive: float, forced: float | None = None) -> float:
        """Go on for one step; give the new level. `bed` scales what the fan can draw from the coals."""
        error = wanted - level
        raw = self.sum + self.proportional * error
        self.blows = min(1.0, max(0.0, raw)) if forced is None else forced
        if raw == self.blows or (raw - self.blows) * error < 0.0:  # no wind-up while the fan can do no more
            self.sum += self.proportional * error * DT / self.integral_time
        self.waiting.append(self.blows)
        arrives = self.waiting.pop(0)
        return level + (self.gain * bed * (passive + arrives) - level) * DT / self.lag


class Drifting:
    """One pit of this kind."""

    name = "drifting"

    def __init__(self, random: Generator) -> None:
        u = random.uniform
        self.length_m, self.width_m = float(u(0.8, 2.0)), float(u(0.45, 0.75))
        self.grate_z_m = self.width_m * float(u(0.38, 0.52))
        self.slopes = random.normal(0.0, 1.0, 5) * np.array([10.0, 5.0, 4.0, 3.0, 3.0])
        self.slopes[0] -= 6.0
        """Kelvin at a unit of x, y, x², y² and xy, each from -1 to 1."""
        self.edge, self.edge_reach = u(0.0, 10.0), u(0.08, 0.2)
        self.climb = u(4.0, 40.0)
        """Kelvin a metre of height."""
        self.patch_rate, self.patch_kelvin = u(0.3, 1.0) / 3600.0, u(4.0, 9.0)
        self.lag, self.dead_time, self.tight = u(900.0, 2400.0), u(60.0, 240.0), u(1.0, 4.0)
        self.wind_kelvin = u(0.3, 1.0)
        self.strength = u(1.25, 1.8)

    def describe(self) -> dict[str, Any]:
        """What its owner can see of it."""
        return {"stack": "high", "baffle": False}

    def run(self, story: Story, places: Array, random: Generator) -> tuple[Array, Array, list[dict[str, Any]]]:
        """Simulate a night; as `Layers.run`."""
        level, causes = self._level(story, random)
        unit = np.column_stack([2.0 * places[:, 0] / self.length_m - 1.0, 2.0 * places[:, 1] / self.width_m])
        x, y = unit.T
        basis = np.stack([x, y, x * x - 1 / 3, y * y - 1 / 3, x * y])
        wander = self.slopes + noise(random, len(story.t), 5400.0, columns=5) * np.array([3.0, 1.2, 1.5, 1.0, 1.0])
        wander[:, 0] += 12.0 * story.change
        wander[:, 1] += 13.0 * story.lean()
        rise = np.maximum(level - story.ambient, 0.0) / 95.0
        field = (wander @ basis) * rise[:, None]
        field += np.outer(
            rise, self.edge * np.exp(-places[:, 0] / self.edge_reach) + self.climb * (places[:, 2] - self.grate_z_m)
        )
        field += self._patches(story, places, random) * rise[:, None]
        return level[:, None] + field, level + 25.0, causes

    def _level(self, story: Story, random: Generator) -> tuple[Array, list[dict[str, Any]]]:
        """The level of the grate, °C, and the fire's accidents."""
        t, causes = story.t, list[dict[str, Any]]()
        excess = story.target_celsius - story.ambient.mean()
        fire = FanFire(excess * self.strength * 0.8, self.lag, self.dead_time, self.tight)
        opening = story.open_share()
        hum = noise(random, len(t), 3000.0) * 1.5
        probe = noise(random, len(t), 7200.0) * 2.0  # what the controller's own probe is off by
        level, bed, lost = float(excess), 1.0, 0.0
        out = np.empty(len(t))
        fading, wild = story.between(story.fading), story.between(story.runaway)
        burns_down, next_fuel = random.uniform(0.03, 0.09) / 3600.0, random.uniform(3.0, 6.0) * 3600.0
        dies = random.uniform(2400.0, 6000.0) / story.fading_share
        for k in range(len(t)):
            if fading[k]:
                if not causes:
                    causes.append({"cause": "fire dying", "start": float(t[k]), "direction": -1})
                bed *= 1.0 - DT / dies
            elif causes and causes[0]["cause"] == "fire dying" and bed < 0.9:
                bed += (1.1 - bed) * DT / 900.0  # lit again
            else:
                bed -= burns_down * DT
                if t[k] >= next_fuel:
                    bed, next_fuel = 1.0, t[k] + random.uniform(3.0, 6.0) * 3600.0
            forced = None
            if wild[k]:
                if not causes:
                    causes.append({"cause": "runaway", "start": float(t[k]), "direction": 1})
                forced = 1.3
            passive = 0.1 + (0.35 if wild[k] else 0.0)
            wanted = story.target_celsius - story.ambient[k]
            level = fire.step(level, wanted + probe[k], max(bed, 0.02), passive, forced)
            level -= (0.14 + 0.1 * story.rain[k]) * max(story.wind[k] - 2.0, 0.0) * DT / 60.0
            lost += opening[k] * (0.5 * level - lost) * DT / DOOR_TAU - (1.0 - opening[k]) * lost * DT / DOOR_BACK_TAU
            level -= 0.12 * opening[k] * level * DT / DOOR_TAU
            out[k] = level - lost
        gusts = self.wind_kelvin * (story.wind - _slow(story.wind, 600.0))
        return out + story.ambient + hum - _slow(gusts, 20.0), causes

    def _patches(self, story: Story, places: Array, random: Generator) -> Array:
        """Patches, kelvin, shape (steps, places): most are cold, since cold air enters and hot air mixes."""
        t, u = story.t, random.uniform
        out = np.zeros((len(t), len(places)))
        for _ in range(int(random.poisson(self.patch_rate * (t[-1] - t[0])))):
            born, lives = u(-SPIN_UP, t[-1]), float(np.exp(u(np.log(1200.0), np.log(14400.0))))
            shape = np.exp(-(((t - born - lives / 2.0) / (0.35 * lives)) ** 2))
            kelvin = -self.patch_kelvin * np.exp(u(-0.7, 0.7)) * (1.0 if u() < 0.75 else -0.7)
            start, speed = u(0.0, 1.0, 2), u(-0.35, 0.35, 2) / lives
            self._add(out, places, t - born, shape * kelvin, start, speed, u(0.18, 0.45, 2))
        for leak, size in zip(story.leaks, story.leak_sizes(), strict=True):
            start = np.array([leak.x_share, u(0.05, 0.3) if leak.front else u(0.7, 0.95)])
            ragged = 1.0 + 0.12 * noise(random, len(t), 600.0)
            self._add(
                out, places, t - leak.start, -17.0 * size * ragged, start, u(-0.06, 0.06, 2) / 7200.0, u(0.2, 0.4, 2)
            )
        return out

    def _add(
        self, out: Array, places: Array, age: Array, kelvin: Array, start: Array, speed: Array, reach: Array
    ) -> None:
        """Add one patch where it is felt at all; start, speed and reach as shares of length and width."""
        here = np.flatnonzero(np.abs(kelvin) > 0.05)
        if not len(here):
            return
        part = slice(int(here[0]), int(here[-1]) + 1)
        x = places[None, :, 0] / self.length_m - (start[0] + speed[0] * age[part])[:, None]
        y = places[None, :, 1] / self.width_m + 0.5 - (start[1] + speed[1] * age[part])[:, None]
        out[part] += kelvin[part][:, None] * np.exp(-((x / reach[0]) ** 2) - (y / (1.6 * reach[1])) ** 2)


def _slow(x: Array, tau: float) -> Array:
    """Low-pass of first order."""
    keep, out, now = float(np.exp(-DT / tau)), np.empty_like(x), float(x[0])
    for k, value in enumerate(x.tolist()):
        now = keep * now + (1.0 - keep) * value
        out[k] = now
    return out
