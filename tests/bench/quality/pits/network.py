"""A pit of nodes: air, shell and grate joined by conductances, over charcoal that burns down slowly.

Air is carried along four lanes (front and back, low and high) through six cells each; every cell gives heat to its
shell and to the iron below it, and mixes with its neighbors. The charcoal's lit share spreads into what is not lit; it
burns as fast as the air through the vents allows, under its own ash. The balances are those of a thermal network
(Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, ch. 5: lumped capacitances); charcoal holds 30 MJ/kg
(common tables, from memory).
"""

from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.quality.pits.story import DT, Story

__all__ = ["Charcoal", "Network"]

Array = NDArray[np.float64]
CELLS = 6
LANES = ((0, 0), (0, 1), (1, 0), (1, 1))
"""Side (front, back) and height (low, high)."""
CP = 1010.0
JOULE_PER_KG = 30.0e6
AIR_PER_KG = 11.5
"""Air that burns a kilogram of charcoal, kg (stoichiometry of carbon)."""
AIR_TAU = 40.0


class Charcoal:
    """A bed of charcoal, kg, and the air it is given."""

    def __init__(self, kg: float, spread: float, rate: float, ash: float) -> None:
        self.unlit, self.lit, self.ash = 0.97 * kg, 0.03 * kg, 0.0
        self.full, self.spread, self.rate, self.ash_hinders = kg, spread, rate, ash

    def step(self, air_kg_per_s: float, seconds: float) -> float:
        """Burn for some seconds; give the heat, W."""
        breath = air_kg_per_s / (0.002 + air_kg_per_s)
        caught = self.spread * self.lit * self.unlit / self.full * breath
        hindered = 1.0 / (1.0 + self.ash_hinders * self.ash / self.full)
        burnt = min(self.rate * self.lit * breath * hindered, 0.7 * air_kg_per_s / AIR_PER_KG)
        caught, burnt = min(caught * seconds, self.unlit), min(burnt * seconds, self.lit)
        self.unlit -= caught
        self.lit += caught - burnt
        self.ash += 0.6 * burnt
        return burnt * JOULE_PER_KG / seconds

    def add_lit(self, kg: float, fresh_kg: float) -> None:
        """Rake the ash out and pour lit and fresh charcoal on."""
        self.lit += kg
        self.unlit += fresh_kg
        self.ash *= 0.2
        self.full = max(self.full, self.unlit + self.lit)


class Network:
    """One pit of this kind."""

    name = "network"

    def __init__(self, random: Generator) -> None:
        u = random.uniform
        self.length_m, self.width_m = float(u(0.9, 1.7)), float(u(0.42, 0.6))
        self.grate_z_m = self.width_m * float(u(0.42, 0.5))
        self.area = np.pi * self.width_m * self.length_m / (CELLS * 4)
        self.inside, self.outside = u(9.0, 15.0), u(6.0, 11.0)
        self.steel = 7850.0 * 490.0 * u(0.003, 0.006)
        self.iron, self.iron_joins = u(1500.0, 3500.0), u(1.2, 3.0)
        self.lane_shares = random.dirichlet([7.0, 7.0, 7.0, 7.0])
        self.mix_side, self.mix_height, self.back_flow = u(6.0, 16.0), u(3.0, 9.0), u(55.0, 140.0)
        self.gap = u(0.05, 0.25, (CELLS, 4)) * np.array([1.0, 0.3, 0.8, 0.2])
        self.food_cells = random.integers(1, CELLS, 2)
        self.food_pull = u(0.5, 1.8)
        self.shade, self.shade_reach = u(0.04, 0.22), u(0.07, 0.16)
        self.uneven = np.exp(random.normal(0.0, 0.5, (CELLS, 4)))
        self.stack_low = bool(u() < 0.5)
        self.glow, self.blend = u(0.02, 0.08), u(0.15, 0.35)
        self.vent, self.vent_most, self.bypass = u(0.35, 0.55), u(0.004, 0.006), u(0.018, 0.03)
        self.kg, self.refills = u(8.0, 13.0), bool(u() < 0.7)
        self.check_seconds = u(900.0, 2400.0)

    def describe(self) -> dict[str, Any]:
        """What its owner can see of it."""
        return {"stack": "grate" if self.stack_low else "high", "baffle": False}

    def run(self, story: Story, places: Array, random: Generator) -> tuple[Array, Array, list[dict[str, Any]]]:
        """Simulate a night; as `Layers.run`."""
        t, target, nodes = story.t, story.target_celsius, CELLS * 4
        air = np.full((CELLS, 4), target)
        shell, iron = np.full((CELLS, 4), target - 25.0), np.full((CELLS, 2), target - 5.0)
        food = 15.0
        opening, sizes, lean = story.open_share(), story.leak_sizes(), story.lean()
        wide = self._leak_conductances(story)
        fire = _Tended(self, story, random)
        hot, level = target + 80.0, target
        kept_air, kept_iron = np.empty((len(t), CELLS, 4)), np.empty((len(t), CELLS, 2))
        shaded = np.empty(len(t))
        index = np.arange(nodes).reshape(CELLS, 4)
        film = self.inside * self.area * self.uneven
        joints = self._joints(index, film)
        sides = np.array([lane[0] for lane in LANES])
        low = np.array([lane[1] == 0 for lane in LANES])
        for k in range(len(t)):
            outside = story.ambient[k]
            wind = story.wind[k]
            level += (float(air[:, low].mean()) - level) * DT / (240.0 + DT)
            flow, watts = fire.step(t[k], level, outside, wind)
            carried = flow * CP  # through the coals and past them
            hot += (outside + watts * 0.72 * (1.0 - 0.4 * opening[k]) / max(carried, 4.0) - hot) * DT / (90.0 + DT)
            shares = self._shares(lean[k], story.change)
            loss = self.gap * (0.25 + 0.28 * wind)
            loss[:, sides == 0] += opening[k] * 7.0
            loss[:, sides == 1] += opening[k] * 3.0
            if len(sizes):
                loss += np.tensordot(sizes[:, k], wide, 1)
            balance = self._balance(joints, index, carried * shares, hot, film, shell, iron, loss, outside, food)
            air += (balance - air) * DT / (AIR_TAU + DT)
            losing = (self.outside + 1.3 * wind + 11.0 * story.rain[k]) * self.area * np.array([1.0, 1.2, 0.8, 1.0])
            shell += (film * (air - shell) - losing * (shell - outside)) * DT / (self.steel * self.area)
            near = np.stack([air[:, 0], air[:, 2]], 1)
            glow = self.glow * max(hot - 60.0, 0.0) * np.exp(-np.arange(CELLS) * 1.3)[:, None]
            iron += (self.iron_joins * (near + glow - iron)) * DT / self.iron
            food += (target * 0.85 - food) * DT / 22000.0
            kept_air[k], kept_iron[k], shaded[k] = air, iron, max(level - food, 0.0)
        felt = self._at(places, kept_air, kept_iron) - self._shade(places, shaded)
        return felt, kept_air[:, -1].mean(1), fire.causes

    def _leak_conductances(self, story: Story) -> Array:
        """Conductance of each leak at its full size, W/K, shape (leaks, cells, 4): mostly low, somewhat downstream."""
        out = np.zeros((len(story.leaks), CELLS, 4))
        for row, leak in zip(out, story.leaks, strict=True):
            cell, lane = min(int(leak.x_share * CELLS), CELLS - 1), 0 if leak.front else 2
            row[cell, lane : lane + 2] += (7.0, 1.5)
            if cell + 1 < CELLS:
                row[cell + 1, lane] += 2.0
        return out

    def _shares(self, lean: float, change: float) -> Array:
        """How the air divides over the lanes: baffle, a flow that leans, and the height of the outlet."""
        tilt = np.array([1.0 + 0.6 * lean, 1.0 + 0.6 * lean, 1.0 - 0.6 * lean, 1.0 - 0.6 * lean])
        lower = np.array([1.0 + 0.9 * change, 1.0 - 0.5 * change] * 2)
        shares = self.lane_shares * tilt * lower * (np.array([1.25, 0.8] * 2) if self.stack_low else 1.0)
        return shares / shares.sum()

    def _joints(self, index: NDArray[np.int64], film: Array) -> Array:
        """The part of the balance that never changes: films, iron, food, mixing and the flow that turns back."""
        matrix, own = np.zeros((index.size, index.size)), film.copy()
        back = self.back_flow / 4.0
        own[1:] += back
        own[:-1] += back
        matrix[index[:-1], index[1:]] -= back
        matrix[index[1:], index[:-1]] -= back
        for one, other, joins in (
            (0, 2, self.mix_side),
            (1, 3, self.mix_side),
            (0, 1, self.mix_height),
            (2, 3, self.mix_height),
        ):
            own[:, [one, other]] += joins / CELLS
            matrix[index[:, one], index[:, other]] -= joins / CELLS
            matrix[index[:, other], index[:, one]] -= joins / CELLS
        own[:, [0, 2]] += self.iron_joins
        own[self.food_cells, [0, 2]] += self.food_pull
        matrix[index.ravel(), index.ravel()] += own.ravel()
        return matrix

    def _balance(
        self,
        joints: Array,
        index: NDArray[np.int64],
        along: Array,
        hot: float,
        film: Array,
        shell: Array,
        iron: Array,
        loss: Array,
        outside: float,
        food: float,
    ) -> Array:
        """Balance the air of all cells at once: what flows in, mixes, is given away and is lost; shape (cells, 4).

        Args:
            joints: from `_joints`.
            index: of each cell's node.
            along: heat that the flow carries in each lane, W/K, shape (4,).
            hot: temperature of the gas that enters.
            film: conductance to the shell, W/K.
            shell: its temperature.
            iron: temperature of the grate, shape (cells, 2).
            loss: conductance to the air outside through gaps, leaks and the door, W/K.
            outside: its temperature.
            food: temperature of the meat.
        """
        matrix, right = joints.copy(), film * shell + loss * outside
        right[0] += along * hot
        right[:, [0, 2]] += self.iron_joins * iron
        right[self.food_cells, [0, 2]] += self.food_pull * food
        nodes = index.ravel()
        matrix[nodes, nodes] += (loss + along).ravel()
        matrix[index[1:], index[:-1]] -= along
        return np.linalg.solve(matrix, right.ravel()).reshape(CELLS, 4)

    def _shade(self, places: Array, kelvin: Array) -> Array:
        """How much cold meat cools what lies beside it, kelvin, shape (steps, places)."""
        out = np.zeros((len(kelvin), len(places)))
        for side, cell in enumerate(self.food_cells):
            x, y = (cell + 0.5) / CELLS * self.length_m, (-0.2 if side == 0 else 0.2) * self.width_m
            square = (places[:, 0] - x) ** 2 + (places[:, 1] - y) ** 2 + (places[:, 2] - self.grate_z_m) ** 2
            out += np.outer(self.shade * kelvin, np.exp(-square / self.shade_reach**2))
        return out

    def _at(self, places: Array, air: Array, iron: Array) -> Array:
        """Temperatures at places: linear between the middles of the cells, part of it the iron's radiation."""
        along = places[:, 0] / self.length_m * CELLS - 0.5
        left = np.clip(along.astype(int), 0, CELLS - 2)
        share = np.clip(along - left, -0.35, 1.35)
        front = np.clip(0.5 - places[:, 1] / self.width_m * 1.6, -0.25, 1.25)
        high = np.clip((places[:, 2] - 0.3 * self.width_m) / (0.42 * self.width_m), 0.0, 1.15)
        weights = np.zeros((len(places), CELLS, 4))
        metal = np.zeros((len(places), CELLS, 2))
        for n in range(len(places)):
            for cell, part in ((left[n], 1.0 - share[n]), (left[n] + 1, share[n])):
                sides = (front[n], 1.0 - front[n])
                for lane, (side, height) in enumerate(LANES):
                    weights[n, cell, lane] += part * sides[side] * (high[n] if height else 1.0 - high[n])
                for side in (0, 1):
                    metal[n, cell, side] += part * sides[side]
        steps = len(air)
        felt = (1.0 - self.blend) * air.reshape(steps, -1) @ weights.reshape(len(places), -1).T
        return felt + self.blend * iron.reshape(steps, -1) @ metal.reshape(len(places), -1).T


class _Tended:
    """The charcoal and the pitmaster at its vents."""

    def __init__(self, pit: Network, story: Story, random: Generator) -> None:
        self.pit, self.story, self.random = pit, story, random
        self.bed = Charcoal(pit.kg, random.uniform(1.0, 1.8) / 1000.0, random.uniform(2.0, 3.2) / 10000.0, 2.0)
        self.bed.lit, self.bed.unlit = 0.16 * pit.kg, 0.84 * pit.kg
        self.vent, self.check, self.causes, self.relit = pit.vent, 0.0, list[dict[str, Any]](), False
        self.last_off = 0.0

    def step(self, now: float, level: float, outside: float, wind: float) -> tuple[float, float]:
        """Give the air that flows through and past the coals, kg/s, and the heat, W."""
        story = self.story
        self._accidents(now)
        if now >= self.check and self._awake(now):
            off = story.target_celsius - level
            turn = 0.0025 * off + 0.005 * (off - self.last_off)
            self.vent = float(np.clip(self.vent + np.clip(turn, -0.15, 0.15), 0.06, 1.0))
            self.last_off = off
            gap = 300.0 if now < 0.0 else self.pit.check_seconds * self.random.uniform(0.7, 1.3)
            self.check = now + gap
            left = self.bed.lit + self.bed.unlit
            if self.pit.refills and (left < 0.3 * self.bed.full or (off > 14.0 and self.vent > 0.95)):
                self.bed.add_lit(0.05 * self.pit.kg, 0.3 * self.pit.kg)
        pull = np.sqrt(max(level - outside, 1.0) / 90.0) * (1.0 + 0.05 * (wind - 2.0))
        through_coals = self.pit.vent_most * self.vent * max(pull, 0.1)
        return through_coals + self.pit.bypass * max(pull, 0.1), self.bed.step(through_coals, DT)

    def _awake(self, now: float) -> bool:
        story = self.story
        asleep = story.fading is not None and story.fading[0] <= now < story.fading[1]
        return not asleep and not (story.runaway is not None and story.runaway[0] <= now < story.runaway[1])

    def _accidents(self, now: float) -> None:
        """Let the bed burn out under its ash, or the ash door stand open."""
        story = self.story
        if story.fading is not None and now >= story.fading[0]:
            if not self.causes:
                self.causes.append({"cause": "fire dying", "start": now, "direction": -1})
                left = 0.07 / story.fading_share
                self.bed.unlit, self.bed.lit = 0.02 * self.pit.kg, min(self.bed.lit, left * self.pit.kg)
            if now >= story.fading[1] and not self.relit:
                self.relit = True
                self.bed.add_lit(0.14 * self.pit.kg, 0.6 * self.pit.kg)
                self.vent = self.pit.vent
        if story.runaway is not None and story.runaway[0] <= now < story.runaway[1]:
            if not self.causes:
                self.causes.append({"cause": "runaway", "start": now, "direction": 1})
            self.vent = 1.9
        elif story.runaway is not None and now >= story.runaway[1] and self.vent > 1.0:
            self.vent = 0.3
