"""A pit of two layers of gas under a steel shell, with a jet along the chamber, fed with splits of wood.

Hot gas enters at the firebox as a jet along the upper layer; the lower layer is fed by what the jet drags down and by
cold air from leaks. The boundary between them rises towards the stack, higher for a high outlet. Splits give off their
heat as they gas out (two stages in a row), and leave coals. This is the two-zone picture of compartment fires
(Quintiere, Fundamentals of Fire Phenomena, 2006, ch. 11), stretched along the chamber.
"""

from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.quality.pits.story import DT, SPIN_UP, Story

__all__ = ["Layers", "draft_kg_per_s", "split_watts"]

Array = NDArray[np.float64]
COLUMNS = 24
CP = 1010.0
"""Heat of air, J/(kg K)."""
STEEL = 7850.0 * 490.0 * 0.005
"""Heat of a shell of 5 mm, J/(m² K)."""
WOOD_JOULE, COAL_JOULE = 15.0e6, 30.0e6
"""Net heat of wood with 20 % water, and of coals, per kg (common tables, from memory)."""
COAL_SHARE = 0.28
JET_SPREAD = 0.094
"""Growth of a round jet's half width with distance (Pope, Turbulent Flows, 2000, table 5.1)."""
AIR_TAU, LOWER_TAU, BRICK_TAU = 35.0, 70.0, 1100.0


def draft_kg_per_s(height_m: float, area_m2: float, hot: float, cold: float) -> float:
    """Mass flow through a stack: A ρ_hot sqrt(2 g H (T_hot - T_cold) / T_cold), discharge 0.65; temperatures in °C.

    ASHRAE Handbook of Fundamentals, chapter on infiltration: the stack effect.
    """
    hot_kelvin, cold_kelvin = hot + 273.15, cold + 273.15
    speed = np.sqrt(max(2.0 * 9.81 * height_m * (hot_kelvin - cold_kelvin) / cold_kelvin, 0.0))
    return float(0.65 * area_m2 * 353.0 / hot_kelvin * speed)


def split_watts(kg: float, tau: float, seconds: Array) -> Array:
    """Heat of one split's gases over time, W: two stages of first order in a row, so that it swells and dies down."""
    return kg * (1.0 - COAL_SHARE) * WOOD_JOULE * seconds / tau**2 * np.exp(-seconds / tau)


class Layers:
    """One pit of this kind."""

    name = "layers"

    def __init__(self, random: Generator) -> None:
        u = random.uniform
        self.length_m, self.width_m = float(u(1.1, 2.1)), float(u(0.46, 0.66))
        self.grate_z_m = self.width_m * float(u(0.4, 0.52))
        self.high_stack, self.baffle = bool(u() < 0.6), bool(u() < 0.5)
        self.stack_m, self.stack_m2 = u(0.7, 1.1), np.pi * u(0.065, 0.085) ** 2
        self.inside, self.outside = u(11.0, 17.0), u(9.0, 14.0)
        self.drag, self.lower_wall = u(0.45, 0.75), u(0.25, 0.45)
        self.boundary, self.rise, self.blur = u(0.28, 0.42), u(0.06, 0.22), u(0.05, 0.1)
        self.jet, self.jet_y, self.jet_sway = u(1.0, 3.5), u(-0.2, 0.2), u(0.08, 0.3)
        self.jet_width, self.efficiency = u(0.1, 0.16), u(0.5, 0.7)
        self.door_gap, self.radiant = u(0.01, 0.06), u(4.0, 16.0)
        self.tau, self.coal_tau = u(450.0, 750.0), u(2400.0, 3600.0)
        self.eddy, self.brick = u(0.14, 0.3), u(0.45, 0.7)
        self.gap_seconds, self.care = u(1600.0, 2700.0), u(0.08, 0.25)

    def describe(self) -> dict[str, Any]:
        """What its owner can see of it."""
        return {"stack": "high" if self.high_stack else "grate", "baffle": self.baffle}

    def run(self, story: Story, places: Array, random: Generator) -> tuple[Array, Array, list[dict[str, Any]]]:
        """Simulate a night.

        Args:
            story: what happens.
            places: m, shape (n, 3).
            random: the night's own.

        Returns:
            Temperatures at the places and in the flue, °C, shape (steps, n) and (steps,), and the fire's causes.
        """
        t, target = story.t, story.target_celsius
        x = (np.arange(COLUMNS) + 0.5) / COLUMNS * self.length_m
        dx, half_girth = self.length_m / COLUMNS, 0.5 * np.pi * self.width_m
        rise = self.rise * (1.0 if self.high_stack else 0.4) * (1.0 - 0.8 * story.change)
        opening, leaks, lean = story.open_share(), story.leak_sizes(), story.lean()
        dip = self._leak_shapes(story, x)
        upper, lower = np.full(COLUMNS, target + 8.0), np.full((COLUMNS, 2), target - 4.0)
        shell_up, shell_low = np.full(COLUMNS, target - 25.0), np.full((COLUMNS, 2), target - 30.0)
        kept_up, kept_low, kept_hot = np.empty((len(t), COLUMNS)), np.empty((len(t), COLUMNS, 2)), np.empty(len(t))
        fire = _LogFire(self, story, random)
        hot, brick = target + 60.0, 4000.0
        level = target
        draft_noise = np.clip(1.0 + 0.05 * (story.wind - story.wind.mean()), 0.5, 1.8)
        for k in range(len(t)):
            air = story.ambient[k]
            flow = fire.damper * draft_noise[k] * draft_kg_per_s(self.stack_m, self.stack_m2, float(upper[-1]), air)
            level += (0.6 * float(lower.mean()) + 0.4 * float(upper.mean()) - level) * DT / (500.0 + DT)
            watts = fire.step(t[k], level, flow, target - air) * (1.0 - 0.5 * opening[k])
            capacity = max(flow, 0.008) * CP
            brick += (watts - brick) * DT / BRICK_TAU
            watts += self.brick * (brick - watts)
            hot += (air + self.efficiency * watts / capacity - hot) * DT / (AIR_TAU + DT)
            # eddies carry more gas along the chamber than the stack draws
            inlet = (flow * hot + self.eddy * float(lower.mean())) / (flow + self.eddy)
            carried = capacity + self.eddy * CP
            # the upper layer: a plug of gas that gives heat to the shell and to the layer below
            to_shell, to_lower = self.inside * half_girth * dx, self.drag * 1.2 * carried / COLUMNS
            under = lower.mean(1)
            decay = np.exp(-(to_shell + to_lower) / carried)
            meets = (to_shell * shell_up + to_lower * under) / (to_shell + to_lower)
            along = np.cumprod(np.full(COLUMNS, decay))
            gas = along * (inlet + np.cumsum((1.0 - decay) * meets / along))
            upper += (gas - upper) * DT / (AIR_TAU + DT)
            # the lower layer: dragged down gas, its own shell, air from leaks, and an exchange along the chamber
            rows = self.drag * upper[:, None] + self.lower_wall * shell_low
            weight = np.full((COLUMNS, 2), self.drag + self.lower_wall)
            cold = np.zeros((COLUMNS, 2))
            cold[:, 0] = self.door_gap * (0.3 + 0.3 * story.wind[k])
            cold += np.tensordot(leaks[:, k], dip, 1) if len(leaks) else 0.0
            cold += opening[k] * np.array([0.4, 0.2])
            balance = (rows + cold * air) / (weight + cold)
            lower += (balance - lower) * DT / (LOWER_TAU / (1.0 + 2.0 * opening[k]) + DT)
            lower[1:-1] += 0.12 * (lower[2:] - 2.0 * lower[1:-1] + lower[:-2])
            upper += opening[k] * (air - upper) * DT / 240.0
            losing = self.outside + 1.6 * story.wind[k] + 14.0 * story.rain[k]
            shell_up += (self.inside * (upper - shell_up) - losing * (shell_up - air)) * DT / STEEL
            weather = np.array([losing, 0.75 * self.outside + 0.6 * story.wind[k]])
            shell_low += (self.inside * (lower - shell_low) - weather * (shell_low - air)) * DT / STEEL
            kept_up[k], kept_low[k], kept_hot[k] = upper, lower, hot
        felt = self._at(places, x, kept_up, kept_low, kept_hot, rise, lean)
        return felt, kept_up[:, -1].copy(), fire.causes

    def _leak_shapes(self, story: Story, x: Array) -> Array:
        """Where the cold air of each leak goes: a plume that trails towards the stack; shape (leaks, columns, 2)."""
        shapes = []
        for leak in story.leaks:
            away = x - leak.x_share * self.length_m
            plume = np.exp(-((away / np.where(away > 0, 0.3, 0.14)) ** 2))
            shares = np.array([1.0, 0.25]) if leak.front else np.array([0.25, 1.0])
            shapes.append(0.28 * plume[:, None] * shares)
        return np.array(shapes).reshape(len(shapes), len(x), 2)

    def _at(self, places: Array, x: Array, up: Array, low: Array, hot: Array, rise: float, lean: Array) -> Array:
        """Temperatures at places: both layers mixed by height, the jet across them, and the firebox's glow."""
        near = np.clip((places[:, 0] / self.length_m) * COLUMNS - 0.5, 0.0, COLUMNS - 1.001)
        left, share = near.astype(int), near - near.astype(int)
        above = up[:, left] * (1.0 - share) + up[:, left + 1] * share
        side = np.clip(0.5 + places[:, 1] / self.width_m, 0.0, 1.0)
        both = low[..., 0][:, left] * (1.0 - share) + low[..., 0][:, left + 1] * share
        back = low[..., 1][:, left] * (1.0 - share) + low[..., 1][:, left + 1] * share
        below = both * (1.0 - side) + back * side
        boundary = (self.boundary + rise * places[:, 0] / self.length_m) * self.width_m
        mixed = 1.0 / (1.0 + np.exp(-(places[:, 2] - boundary) / (self.blur * self.width_m)))
        wide = self.jet_width + JET_SPREAD * places[:, 0] * (0.6 if self.baffle else 1.0)
        middle = self.width_m * (self.jet_y + self.jet_sway * lean[:, None]) * (0.3 + places[:, 0] / self.length_m)
        profile = np.exp(-(((places[:, 1] - middle) / wide) ** 2))
        mean = wide * np.sqrt(np.pi) / self.width_m * 0.8
        excess = self.jet * (hot - low.mean((1, 2)))[:, None] / 100.0 * (self.jet_width / wide)
        glow = self.radiant * np.exp(-places[:, 0] / 0.16) * np.clip((hot - 100.0) / 120.0, 0.0, 2.0)[:, None]
        return below + mixed * (above - below) + excess * (profile - mean) + glow


class _LogFire:
    """Splits and coals, and the pitmaster who puts splits on."""

    def __init__(self, pit: Layers, story: Story, random: Generator) -> None:
        self.pit, self.story, self.random = pit, story, random
        self.damper, self.green, self.gassing, self.coals = 0.6, 0.3, 0.3, 0.5
        self.need, self.due, self.causes, self.relit = 0.9, -SPIN_UP, list[dict[str, Any]](), 0
        self.fast = 1.0

    def step(self, now: float, level: float, flow: float, excess: float) -> float:
        """Burn for one step; give the heat, W."""
        pit, story = self.pit, self.story
        wild = story.runaway is not None and story.runaway[0] <= now < story.runaway[1]
        if wild and self.fast == 1.0:
            self.fast, self.damper = 1.7, 1.0
            self.green += 2.2 * self.need
            self.causes.append({"cause": "runaway", "start": now, "direction": 1})
        elif not wild and self.fast > 1.0:
            self.fast, self.damper = 1.0, 0.6
        if now >= self.due:
            self._feed(now, level, excess, wild=wild)
        tau, coal_tau = pit.tau / self.fast, pit.coal_tau / self.fast / max(0.4, min(1.5, flow / 0.02))
        moved = self.green * DT / tau
        gassed = self.gassing * DT / tau
        burnt = self.coals * DT / coal_tau
        self.green -= moved
        self.gassing += moved - gassed
        self.coals += COAL_SHARE * gassed - burnt
        return ((1.0 - COAL_SHARE) * gassed * WOOD_JOULE + burnt * COAL_JOULE) / DT

    def _feed(self, now: float, level: float, excess: float, *, wild: bool) -> None:
        """Put splits on, more where the level is low, or sleep."""
        pit, story, u = self.pit, self.story, self.random.uniform
        off = story.target_celsius - level
        asleep = story.fading is not None and story.fading[0] <= now < story.fading[1]
        if asleep:
            if not any(cause["cause"] == "fire dying" for cause in self.causes):
                self.causes.append({"cause": "fire dying", "start": now, "direction": -1})
            self.relit = 2
            self.green += self.need * (1.0 - story.fading_share)
            self.due = now + pit.gap_seconds
            return
        if now < 0.0:  # the first splits find out what this pit burns
            self.need = float(np.clip(self.need * (1.0 + 0.012 * np.clip(off, -25.0, 25.0)), 0.1, 4.0))
        else:
            self.need = float(np.clip(self.need * (1.0 + 0.0025 * np.clip(off, -20.0, 20.0)), 0.1, 4.0))
        more = 1.0 + 0.014 * np.clip(off, -40.0, 40.0)
        self.green += float(self.need * more * u(1.0 - pit.care, 1.0 + pit.care)) * (1.8 if self.relit or wild else 1.0)
        self.relit = max(0, self.relit - 1)
        gap = pit.gap_seconds * (0.5 if now < 0.0 else u(0.8, 1.2))
        self.due = now + gap
