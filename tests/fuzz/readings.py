"""What probes say in a night: a fire and meat that go as they do, and devices gone mad."""

import math
import random
from collections.abc import Iterator

from adapters.reading import Quality, Reading, Reason, Unit
from collector.model.plan import Plan
from collector.model.vitals import DeviceVitals
from tests.fuzz.texts import hostile

__all__ = ["Pit"]

NOT_NUMBERS = (math.nan, math.inf, -math.inf)
HUGE = (1e308, -1e308, 1.7976931348623157e308, 1.9e305, 1e30, 5e-324, 9_999_999.9, -1e7)
SENTINELS = (0.0, -0.0, 85.0, -127.0, 850.0, 3276.7, 6553.5, -273.15, 1802.0, 2047.9375, 255.0)
WAYS = (
    "sane", "sane", "sane", "sane", "stuck", "silent", "not a number", "huge", "sentinel", "noisy", "drifting",
    "jumping", "zero", "gust", "offline", "late", "last known", "undecodable", "any",
)  # fmt: skip
"""What a probe may be like for a while."""


class Pit:
    """A pit whose probes say something sane until they go mad.

    Args:
        dice: decides everything.
        plan: the probes.
        start_unix: when the cook begins.
        calm: nothing ever goes mad.
    """

    def __init__(self, dice: random.Random, plan: Plan, start_unix: float, *, calm: bool) -> None:
        self._dice = dice
        self._lit = start_unix - dice.choice((1800.0, 3600.0) if calm else (0.0, 0.0, 3600.0, 7200.0, -1e9))
        self._dead = math.inf
        self._lid = -math.inf
        self._target = plan.target_celsius
        self._outside = dice.choice((20.0, -25.0, 38.0))
        self._way: dict[tuple[str, str], str] = {}
        self._held: dict[tuple[str, str], float] = {}
        self._meat: dict[tuple[str, str], float] = {}
        self._calm = calm
        self._spread = dice.choice((3.0, 0.5, 0.0))
        """By which each probe is colder than the one before."""
        self._at = start_unix

    def turn(self, plan: Plan) -> None:
        """Let something happen to the fire, the lid or a probe, or nothing."""
        dice = self._dice
        match dice.randrange(8):
            case 0:
                self._dead = self._at if self._dead > self._at and dice.random() < 0.3 else math.inf
            case 1:
                self._lid = self._at
            case 2 | 3 | 4 if not self._calm:
                for probe in dice.sample(plan.probes, min(len(plan.probes), dice.choice((1, 1, 2, 20)))):
                    self._way[probe.source, probe.key] = dice.choice(WAYS)
            case 5:
                self._way.clear()

    def air(self, unix: float) -> float:
        """Tell the air at the grate."""
        since = unix - self._lit
        hot = self._target - self._outside
        level = self._outside + hot * min(1.0, max(0.0, since / 2400.0))
        if since > 2400.0:
            phase = since % 2100.0 / 2100.0
            level += 8.0 * ((3 * phase if phase < 1 / 3 else 1.5 * (1 - phase)) - 0.5)
        opened = unix - self._lid
        if 0.0 <= opened < 3000.0:
            level -= 30.0 * math.exp(-opened / 500.0)
        if unix > self._dead:
            level = self._outside + (level - self._outside) * math.exp(-(unix - self._dead) / 2500.0)
        return level

    def readings(self, plan: Plan, begin_unix: float, end_unix: float, every_seconds: float) -> Iterator[Reading]:
        """Give what is said over a stretch of time."""
        dice, unix = self._dice, begin_unix
        while unix < end_unix:
            self._at = unix
            air = self.air(unix)
            for k, probe in enumerate(plan.probes):
                identity = probe.source, probe.key
                value = air - self._spread * k + dice.gauss(0.0, 0.3)
                if probe.duty == "meat":
                    value = self._warmed(identity, air, every_seconds)
                elif probe.duty == "ambient":
                    value = self._outside
                spoiled = self._spoiled(identity, value, unix + 0.01 * k)
                if spoiled is not None:
                    yield spoiled
            if dice.random() < 0.01:
                yield Reading(dice.choice(plan.probes).source, hostile(dice), 20.0, unix)
            unix += every_seconds

    def _warmed(self, identity: tuple[str, str], air: float, seconds: float) -> float:
        if identity not in self._meat:
            self._meat[identity] = self._dice.choice((5.0, 5.0, 40.0, 64.0, 73.0, 92.0))
        before = self._meat[identity]
        pace = 9000.0 if not 65.0 < before < 75.0 else 60_000.0
        self._meat[identity] = now = before + (air - before) * -math.expm1(-seconds / pace)
        return now

    def _spoiled(self, identity: tuple[str, str], value: float, unix: float) -> Reading | None:
        """Say what a probe says in place of a value, by what it is like now; None: nothing."""
        dice, way = self._dice, self._way.get(identity, "sane")
        source_unix, quality, reason = None, Quality.GOOD, Reason.NONE
        if way == "any":
            way = dice.choice(WAYS[:-1])
        match way:
            case "silent":
                return None
            case "stuck":
                value = self._held.setdefault(identity, value)
            case "not a number":
                value = dice.choice(NOT_NUMBERS)
                if dice.random() < 0.5:
                    quality, reason = Quality.BAD, Reason.NOT_A_NUMBER
            case "huge":
                value = dice.choice(HUGE)
            case "sentinel":
                value = dice.choice(SENTINELS)
            case "zero":
                value = 0.0
            case "noisy":
                value += dice.gauss(0.0, 40.0)
            case "drifting":
                value += self._held.setdefault(identity, 0.0)
                self._held[identity] += dice.uniform(0.0, 0.2)
            case "jumping":
                value += dice.choice((0.0, 60.0))
            case "gust":
                value -= 40.0 * (dice.random() < 0.2)
            case "offline":
                value, quality, reason = math.nan, Quality.BAD, Reason.OFFLINE
            case "late":
                source_unix = dice.choice((unix - 1.0, unix - 86_400.0, unix + 7200.0, 0.0, -1.0, 1e11, 1e300, math.nan,
                                           math.inf, float(round(unix / 60.0) * 60)))  # fmt: skip
            case "last known":
                quality, reason = Quality.UNCERTAIN, Reason.LAST_KNOWN
            case "undecodable":
                value, quality, reason = math.nan, Quality.BAD, Reason.UNDECODABLE
            case _:
                self._held.pop(identity, None)
        return Reading(*identity, value, unix, source_unix, dice.choice(tuple(Unit)), quality, reason)

    def vitals(self, plan: Plan) -> DeviceVitals:
        """Tell how a device fares."""
        dice = self._dice
        battery = dice.choice((None, 80.0, 14.9, 3.0, 0.0, 100.0, *([] if self._calm else [math.nan, math.inf, -5.0])))
        source = dice.choice([*(p.source for p in plan.probes), "nobody"])
        return DeviceVitals(source, dice.choice((None, -70, 127, -128)), battery, dice.choice((12.0, 0.0, 1e6)))
