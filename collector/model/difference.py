"""What a change of the pit did to the chamber, place by place, out of cooks before and after it. Pure.

All cooks go into one Gaussian model (universal kriging; Rasmussen and Williams, *Gaussian Processes for Machine
Learning*, 2.7). What a probe says of a steady stretch is the sum of

- the level of that cook, about which nothing is held beforehand,
- the pit's own pattern, the same in every cook,
- the change, in the cooks after it: a tilt along the pit and a smooth field on top,
- what that cook had of its own: wood, ash, the meat's place; a tilt and a smooth field too,
- the probe's own error, the same wherever and whenever that probe is used,
- where it was put this time: a finger's breadth, times how steep the chamber is there,
- noise in time.

So what both sides have in common cancels by itself, whichever probes stand where: the same probe in the same place
takes its error and the pattern with it, an exchanged one does not. What is asked (how much colder a zone is than its
level, say) is linear in the change, so its variance falls apart into those sources: the budget. How rough the change
is and how far one cook stands from another are not known; they are weighed by the evidence and what is held of them
beforehand, and the answer is a mixture over them.
"""

import math
from collections.abc import Sequence
from statistics import NormalDist
from typing import Protocol

import msgspec
import numpy as np
from numpy.typing import NDArray

from collector.model.block_bootstrap import mean_covariance
from collector.model.comparison import mean_variance
from collector.model.field import Array
from collector.model.plan import GRATE

__all__ = [
    "AIR_KNOWN",
    "AIR_NOT_KNOWN",
    "GUESSED_CELSIUS",
    "SOURCES",
    "Difference",
    "Look",
    "PlacedProbe",
    "Question",
    "Stretch",
    "long_run_covariance",
]

SOURCES = (
    "one cook is not the other",
    "where the probes were put",
    "probes that are not the same",
    "places that are not the same",
    "between the probes",
    "weather",
    "noise in time",
)
"""Where an answer's variance comes from, in the order of `Look.variances`."""

GUESSED_CELSIUS = 15.0
"""The air outside where no probe told of it."""
AIR_KNOWN, AIR_NOT_KNOWN = 0.02, 0.06
"""How far off `Stretch.scale` is, one standard deviation: 2 K of some 100 K with a probe outside, 6 K by guess."""
_LEVEL_KELVIN = 100.0
_PATTERN_TILT_KELVIN, _PATTERN_KELVIN = 12.0, 3.0
_PATTERN_REACH = (0.3, 0.5)
"""Of length and width of the grate, as all reaches here."""
_STEEP_REACH = 0.15
_TILT_KELVIN = 40.0
"""How much more one end may gain by a change than the other, a standard deviation. Wide: little is held of it."""
_CHANGE_REACH = (0.25, 0.8)
_COOK_REACH = (0.5, 0.8)
_PLACE_M = 0.03
"""How far from where it was a probe is put back, along and across each (common practice, no source)."""
_OTHER_LEVEL = 0.5
"""Correlation of the fields of two levels."""
_ROUGH_STEPS = np.array([0.2, 0.4, 0.8, 1.2, 1.8, 2.7, 4.0, 6.0])
"""Standard deviations of the change about its tilt that are weighed, kelvin."""
_ROUGH_LEAST_KELVIN, _ROUGH_SHARE, _ROUGH_LOG_SD = 0.4, 0.4, 0.7
"""What is held of it beforehand: the least, the share of the tilt found, and how sure (log scale)."""
_COOK_STEPS = np.array([0.3, 0.45, 0.6, 0.8, 1.05, 1.4, 1.9])
_COOK_KELVIN, _COOK_LOG_SD = 1.0, 0.4
"""How far the same pit stands from itself on another night (weighed on rehearsed pairs, no source), and how sure."""
_COOK_TILT, _COOK_UPPER = 1.4, 2.0
"""The tilt of that, end to end, and how far another level stands apart of itself, in its standard deviations."""
_ONE_COOK = 0.8
"""How much of that two stretches of one cook share: ash grows and meat shrinks (a guess, no source)."""


class PlacedProbe(msgspec.Struct, frozen=True):
    """A chamber probe and where it stood."""

    name: str
    identity: str
    """By which it is the same probe in another cook."""
    level: str
    x_m: float
    y_m: float
    tolerance_kelvin: float


class Stretch(msgspec.Struct, frozen=True):
    """Steady minutes of one cook."""

    cook: str
    """Stretches of one cook share what it had of its own, and where its probes were put."""
    probes: tuple[PlacedProbe, ...]
    celsius: Array
    """Shape (minutes, probes), no NaN."""
    scale: float = 1.0
    """What differences within the chamber are multiplied by, to be those of a night like the others: the pit is the
    more uneven the hotter it stands over the air outside."""
    scale_sd: float = AIR_KNOWN
    """How far off that factor may be, as a share: more where the air outside was not recorded."""


class Question(msgspec.Struct, frozen=True):
    """A weighted sum of the field over places of levels; the weights of each level sum to nothing or are a contrast."""

    level: tuple[str, ...]
    x_m: Array
    y_m: Array
    weight: Array
    """All of shape (places,)."""


class Look(msgspec.Struct, frozen=True):
    """The answer to one question: a mixture of normal distributions."""

    means: Array
    sds: Array
    shares: Array
    """Shape (weighed,) each."""
    variances: tuple[float, ...]
    """By source, kelvin squared, in the order of `SOURCES`."""

    @property
    def kelvin(self) -> float:
        """The mean."""
        return float(self.shares @ self.means)

    @property
    def sd_kelvin(self) -> float:
        """Standard deviation."""
        return math.sqrt(float(self.shares @ (self.sds**2 + (self.means - self.kelvin) ** 2)))

    def quantile(self, probability: float) -> float:
        """Give a quantile, kelvin."""
        low = float(np.min(self.means - 9.0 * self.sds))
        high = float(np.max(self.means + 9.0 * self.sds))
        normal = NormalDist()
        for _ in range(60):
            middle = 0.5 * (low + high)
            below = sum(
                w * normal.cdf((middle - m) / s)
                for w, m, s in zip(self.shares.tolist(), self.means.tolist(), self.sds.tolist(), strict=True)
            )
            low, high = (middle, high) if below < probability else (low, middle)
        return 0.5 * (low + high)


class _Rows(msgspec.Struct, frozen=True):
    """Every probe of every stretch, one after the other."""

    x_m: Array
    y_m: Array
    level: NDArray[np.intp]
    after: Array
    """1 where it is a stretch after the change."""
    cook: NDArray[np.intp]
    stretch: NDArray[np.intp]
    probe: NDArray[np.intp]
    """Which physical one."""
    tolerance: Array
    mean: Array
    weather: Array
    """Covariance from a factor for the weather that may be wrong, shape (rows, rows)."""
    time: Array
    """Covariance from noise in time, shape (rows, rows)."""


class Difference:
    """Cooks before a change and after it, and what they say of it.

    Args:
        before: stretches before the change, one or more.
        after: stretches after it.
        length_m: of the grate, from the fire end.
        width_m: of the grate.

    Raises:
        ValueError: a side is empty or has fewer than two probes at the grate.
    """

    def __init__(self, before: Sequence[Stretch], after: Sequence[Stretch], length_m: float, width_m: float) -> None:
        for stretches, word in ((before, "before"), (after, "after")):
            if not stretches:
                raise ValueError(f"there is no cook {word} the change")
            if not all(math.isfinite(s.scale) and s.scale > 0.0 for s in stretches):
                raise ValueError(f"a cook {word} the change has no factor that brings it to the others")
            if max(sum(p.level == GRATE for p in s.probes) for s in stretches) < 2:
                raise ValueError(f"no cook {word} the change has two probes at the grate")
        self.length_m, self.width_m = length_m, width_m
        self._levels = (GRATE, *sorted({p.level for s in (*before, *after) for p in s.probes} - {GRATE}))
        self._rows = rows = self._lined_up(before, after)
        same_cook = rows.cook[:, None] == rows.cook[None, :]
        same_stretch = rows.stretch[:, None] == rows.stretch[None, :]
        same_probe = rows.probe[:, None] == rows.probe[None, :]
        both_after = np.outer(rows.after, rows.after)
        self._tilt_part = both_after * self._tilted(rows, rows)
        self._rough_part = both_after * self._rough(rows, rows)
        alike = np.where(same_stretch, 1.0, _ONE_COOK * same_cook)
        self._cook_part = alike * self._of_a_cook(rows, rows)
        pattern = self._pattern(rows, rows) + _LEVEL_KELVIN**2 * same_stretch
        probe = np.outer(rows.tolerance, rows.tolerance) * same_probe
        place = (self._steepness() * _PLACE_M) ** 2 * (same_cook & same_probe)
        self._fixed = pattern + probe + place + rows.weather + rows.time
        self._pieces = {
            "where the probes were put": place,
            "probes that are not the same": probe,
            "places that are not the same": pattern,
            "weather": rows.weather,
            "noise in time": rows.time,
        }
        self._weighed = self._weigh()

    # -- what is known ---------------------------------------------------------------------------------------------

    def _lined_up(self, before: Sequence[Stretch], after: Sequence[Stretch]) -> _Rows:
        stretches = (*before, *after)
        cooks = list(dict.fromkeys(s.cook for s in stretches))
        identities = list(dict.fromkeys(p.identity for s in stretches for p in s.probes))
        probes = [(k, s, p) for k, s in enumerate(stretches) for p in s.probes]
        count = len(probes)
        time, weather, mean, at = np.zeros((count, count)), np.zeros((count, count)), np.zeros(count), 0
        for s in stretches:
            here = slice(at, at + len(s.probes))
            grate = [k for k, p in enumerate(s.probes) if p.level == GRATE]
            level = s.celsius[:, grate].mean(axis=1, keepdims=True) if grate else np.zeros((len(s.celsius), 1))
            # The saw-tooth of the fire is in all probes alike and cancels in what is asked: it is no noise
            apart = s.scale * (s.celsius - level)
            mean[here] = apart.mean(axis=0)
            weather[here, here] = s.scale_sd**2 * np.outer(mean[here], mean[here])
            time[here, here] = long_run_covariance(apart)
            at += len(s.probes)
        return _Rows(
            np.array([p.x_m for _, _, p in probes]),
            np.array([p.y_m for _, _, p in probes]),
            np.array([self._levels.index(p.level) for _, _, p in probes], dtype=np.intp),
            np.array([float(k >= len(before)) for k, _, _ in probes]),
            np.array([cooks.index(s.cook) for _, s, _ in probes], dtype=np.intp),
            np.array([k for k, _, _ in probes], dtype=np.intp),
            np.array([identities.index(p.identity) for _, _, p in probes], dtype=np.intp),
            np.array([p.tolerance_kelvin for _, _, p in probes]),
            mean,
            weather,
            time,
        )

    def _line(self, a: "_At", b: "_At") -> Array:
        """Covariance of a straight line along the pit that stands one apart, end to end."""
        middle = 0.5 * self.length_m
        return np.outer((a.x_m - middle) / self.length_m, (b.x_m - middle) / self.length_m)

    def _near(self, a: "_At", b: "_At", reach: tuple[float, float]) -> Array:
        dx = (a.x_m[:, None] - b.x_m[None, :]) / (reach[0] * self.length_m)
        dy = (a.y_m[:, None] - b.y_m[None, :]) / (reach[1] * self.width_m)
        return np.asarray(np.exp(-0.5 * (dx * dx + dy * dy)))

    def _pattern(self, a: "_At", b: "_At") -> Array:
        """Covariance of the pit's own pattern; how far another level stands from the grate is left open."""
        near = _PATTERN_KELVIN**2 * self._near(a, b, _PATTERN_REACH)
        return _tied(a, b) * (_PATTERN_TILT_KELVIN**2 * self._line(a, b) + near) + _LEVEL_KELVIN**2 * _upper(a, b)

    def _tilted(self, a: "_At", b: "_At") -> Array:
        """Covariance of the straight part of the change."""
        return _TILT_KELVIN**2 * (_tied(a, b) * self._line(a, b) + _upper(a, b))

    def _rough(self, a: "_At", b: "_At") -> Array:
        """Correlation of the rest of it."""
        return _tied(a, b) * self._near(a, b, _CHANGE_REACH)

    def _of_a_cook(self, a: "_At", b: "_At") -> Array:
        """Covariance of what a cook has of its own, in units of its variance."""
        own = _COOK_TILT**2 * self._line(a, b) + self._near(a, b, _COOK_REACH)
        return _tied(a, b) * own + _COOK_UPPER**2 * _upper(a, b)

    def _steepness(self) -> Array:
        """Give how steep the chamber is at two rows, kelvin a metre, their geometric mean, shape (rows, rows).

        At a row: the line through its stretch's probes, and what they stand off that line, over a reach.
        """
        rows = self._rows
        steep = np.zeros(len(rows.x_m))
        for stretch in np.unique(rows.stretch):
            for level in np.unique(rows.level):
                here = (rows.stretch == stretch) & (rows.level == level)
                slope, off = 0.0, _PATTERN_KELVIN
                if here.sum() > 3 and np.ptp(rows.x_m[here]) > 0.1 * self.length_m:
                    line = np.polyfit(rows.x_m[here], rows.mean[here], 1)
                    left = rows.mean[here] - np.polyval(line, rows.x_m[here])
                    slope, off = float(line[0]), max(math.sqrt(float(left @ left) / (here.sum() - 2)), 1.0)
                along, across = off / (_STEEP_REACH * self.length_m), off / (_PATTERN_REACH[1] * self.width_m)
                steep[here] = math.sqrt(slope**2 + along**2 + 0.5 * across**2)
        return np.sqrt(np.outer(steep, steep))

    # -- what is weighed -------------------------------------------------------------------------------------------

    def _weigh(self) -> list[tuple[float, float, float, Array]]:
        """Weigh how rough the change is and how far cooks stand apart: (share, rough, cook, inverse) each."""
        tilt = self._tilt_found()
        expected = math.hypot(_ROUGH_LEAST_KELVIN, _ROUGH_SHARE * tilt)
        found: list[tuple[float, float, float, Array]] = []
        for rough in _ROUGH_STEPS.tolist():
            for cook in _COOK_STEPS.tolist():
                inverse, log_determinant = self._inverse(rough, cook)
                fit = -0.5 * (log_determinant + float(self._rows.mean @ inverse @ self._rows.mean))
                held = -0.5 * (math.log(rough / expected) / _ROUGH_LOG_SD) ** 2
                held -= 0.5 * (math.log(cook / _COOK_KELVIN) / _COOK_LOG_SD) ** 2
                found.append((fit + held, rough, cook, inverse))
        best = max(weight for weight, _, _, _ in found)
        total = sum(math.exp(weight - best) for weight, _, _, _ in found)
        shares = [(math.exp(weight - best) / total, r, c, inverse) for weight, r, c, inverse in found]
        kept = [entry for entry in shares if entry[0] > 1e-4]
        whole = sum(share for share, _, _, _ in kept)
        return [(share / whole, r, c, inverse) for share, r, c, inverse in kept]

    def _inverse(self, rough: float, cook: float) -> tuple[Array, float]:
        whole = self._fixed + self._tilt_part + rough**2 * self._rough_part + cook**2 * self._cook_part
        inverse = np.asarray(np.linalg.inv(whole), dtype=np.float64)
        return inverse, float(np.linalg.slogdet(whole)[1])

    def _tilt_found(self) -> float:
        """Give what a straight change makes of the ends, kelvin, before it is known how rough it is."""
        inverse, _ = self._inverse(1.0, _COOK_KELVIN)
        x_m, y_m = np.array([0.0, self.length_m]), np.full(2, 0.5 * self.width_m)
        ends = _Places(Question((GRATE, GRATE), x_m, y_m, np.array([-1.0, 1.0])), self._levels)
        to = self._tilted(ends, self._rows) * self._rows.after
        return abs(float(ends.weight @ to @ inverse @ self._rows.mean))

    # -- what is asked ---------------------------------------------------------------------------------------------

    def ask(self, question: Question) -> Look:
        """Answer what the change made of a weighted sum over places."""
        rows, at = self._rows, _Places(question, self._levels)
        r = question.weight
        tilt, near = (r @ part(at, rows) * rows.after for part in (self._tilted, self._rough))
        own_tilt, own_near = (float(r @ part(at, at) @ r) for part in (self._tilted, self._rough))
        means, sds = [], []
        budget = dict.fromkeys(SOURCES, 0.0)
        for share, rough, cook, inverse in self._weighed:
            to = tilt + rough**2 * near
            a = inverse @ to
            change = self._tilt_part + rough**2 * self._rough_part
            parts = {name: float(a @ piece @ a) for name, piece in self._pieces.items()}
            parts["one cook is not the other"] = cook**2 * float(a @ self._cook_part @ a)
            parts["between the probes"] = float(a @ change @ a - 2.0 * a @ to) + own_tilt + rough**2 * own_near
            means.append(float(a @ rows.mean))
            sds.append(math.sqrt(max(sum(parts.values()), 1e-12)))
            for name, value in parts.items():
                budget[name] += share * max(value, 0.0)
        shares = np.array([share for share, _, _, _ in self._weighed])
        return Look(np.array(means), np.array(sds), shares, tuple(budget[name] for name in SOURCES))

    def sides(self, questions: Sequence[Question], draws: int = 4000) -> tuple[Array, Array]:
        """Draw what several weighted sums were before the change and after it, together, in cooks like these.

        For what is no weighted sum itself, the spread of the zones say. Always the same draws.

        Returns:
            Before and after, shape (draws, questions) each, kelvin.
        """
        rows, count = self._rows, len(questions)
        asked = [_Places(question, self._levels) for question in questions]
        parts = (self._pattern, self._tilted, self._rough)
        pattern, tilt, near = (np.array([at.weight @ part(at, rows) for at in asked]) for part in parts)
        own_pattern, own_tilt, own_near = (
            np.array([[a.weight @ part(a, b) @ b.weight for b in asked] for a in asked]) for part in parts
        )
        random, drawn = np.random.default_rng(0), []
        shares = np.array([share for share, _, _, _ in self._weighed])
        for times, (_, rough, _, inverse) in zip(random.multinomial(draws, shares), self._weighed, strict=True):
            to = np.vstack([pattern, (tilt + rough**2 * near) * rows.after])
            own = np.zeros((2 * count, 2 * count))
            own[:count, :count], own[count:, count:] = own_pattern, own_tilt + rough**2 * own_near
            covariance = own - to @ inverse @ to.T
            drawn.append(random.multivariate_normal(to @ inverse @ rows.mean, covariance, int(times), method="eigh"))
        both = np.vstack(drawn)
        return both[:, :count], both[:, :count] + both[:, count:]

    def grid(self, columns: int, rows: int) -> tuple[Array, Array]:
        """Draw what the change made of each place of the grate against the grate's mean.

        Returns:
            Mean and standard deviation at the centres of equal cells, the back first, shape (rows, columns), kelvin.
        """
        x_m, y_m = np.meshgrid(
            (np.arange(columns) + 0.5) / columns * self.length_m, (np.arange(rows) + 0.5) / rows * self.width_m
        )
        cells = x_m.size
        everywhere = Question((GRATE,) * cells, x_m.ravel(), y_m.ravel(), np.zeros(cells))
        at, against = _Places(everywhere, self._levels), np.eye(cells) - 1.0 / cells
        tilt, near = (against @ part(at, self._rows) * self._rows.after for part in (self._tilted, self._rough))
        own_tilt, own_near = (
            np.einsum("ij,jk,ik->i", against, part(at, at), against, optimize=True)
            for part in (self._tilted, self._rough)
        )
        mean, square = np.zeros(cells), np.zeros(cells)
        for share, rough, _, inverse in self._weighed:
            to = tilt + rough**2 * near
            here = to @ inverse @ self._rows.mean
            variance = own_tilt + rough**2 * own_near - np.einsum("ij,jk,ik->i", to, inverse, to, optimize=True)
            mean += share * here
            square += share * (here**2 + np.maximum(variance, 0.0))
        sd = np.sqrt(np.maximum(square - mean**2, 0.0))
        return mean.reshape(rows, columns), sd.reshape(rows, columns)


class _At(Protocol):
    """Places of levels, one after the other."""

    @property
    def x_m(self) -> Array: ...
    @property
    def y_m(self) -> Array: ...
    @property
    def level(self) -> NDArray[np.intp]: ...


class _Places:
    """Places that are asked for, as rows."""

    def __init__(self, question: Question, levels: Sequence[str]) -> None:
        self.x_m, self.y_m, self.weight = question.x_m, question.y_m, question.weight
        self.level: NDArray[np.intp] = np.array([levels.index(level) for level in question.level], dtype=np.intp)


def _tied(a: _At, b: _At) -> Array:
    return np.where(a.level[:, None] == b.level[None, :], 1.0, _OTHER_LEVEL)


def _upper(a: _At, b: _At) -> Array:
    """Tell where two places are of one level, and not the grate."""
    return np.asarray((a.level[:, None] == b.level[None, :]) & (a.level[:, None] > 0), dtype=np.float64)


def long_run_covariance(values: Array) -> Array:
    """Give the covariance of the means of series of one night, shape (n, series).

    How they go together is the bootstrap's, how far each is off the monotone sequence's, which for a night's length
    comes nearer (see the tests).
    """
    together = mean_covariance(values)
    if np.isnan(together).any():
        return np.cov(values, rowvar=False).reshape(together.shape) if len(values) > 1 else np.eye(len(together))
    sd = np.sqrt(np.maximum(np.diag(together), 1e-12))
    own = np.sqrt([mean_variance(values[:, k]) for k in range(values.shape[1])])
    return np.asarray(together / np.outer(sd, sd) * np.outer(own, own))
