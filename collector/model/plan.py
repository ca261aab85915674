"""What the cook has set up: chamber, probes, zones, target and alarm rules, checked and in one unit system.

Metres, degrees Celsius, kelvin, seconds. It is made by `collector.settings` and stored with each cook, so that a
stored cook is replayed under the plan it ran under.
"""

import math
from collections.abc import Mapping
from typing import Literal

import msgspec
from msgspec.structs import replace

from collector.model.calibration import DRIFT_SD_KELVIN, Line
from collector.model.meat.piece import Piece
from collector.model.meat.safety import COME_UP_SECONDS, COME_UP_SOON_SECONDS, DANGER_SECONDS, DANGER_SOON_SECONDS
from collector.snapshot import ChamberView, Priority

__all__ = ["DEFAULT_RULES", "GRATE", "SHELVE_AT_MOST_SECONDS", "Against", "Plan", "Probe", "Rule", "Zone"]

Against = Literal["level", "target", "usual"]
SHELVE_AT_MOST_SECONDS = 12 * 3600.0
GRATE = "grate"
"""Name of the level the meat lies on: target, drift and spread are judged there."""


class Probe(msgspec.Struct, frozen=True):
    """One sensing tip in a known place."""

    name: str
    source: str
    key: str
    duty: str = "chamber"
    """`chamber`, `meat` or `ambient`."""
    level: str | None = None
    x_m: float | None = None
    y_m: float | None = None
    tolerance_kelvin: float = 1.0
    """Standard deviation of what it may be off by, after calibration."""
    offset_kelvin: float = 0.0
    """Added to the raw value where it was never calibrated."""
    stale_seconds: float = 120.0
    """Silent for longer than this counts as gone."""
    lowest_celsius: float = -40.0
    highest_celsius: float = 400.0
    """What it can measure."""
    target_celsius: float = float("nan")
    """Where the meat is meant to arrive."""
    tolerance_class: str = ""
    """Class its maker states, a key of `collector.model.tolerance.CLASSES`."""
    line: Line | None = None
    """Its calibration."""
    stated_tolerance_kelvin: float | None = None
    """The config's tolerance, where the calibration's stands in its place."""

    @property
    def gain(self) -> float:
        """What the raw value is multiplied by."""
        return 1.0 if self.line is None else self.line.gain

    @property
    def added_kelvin(self) -> float:
        """What is added after that."""
        return self.offset_kelvin if self.line is None else self.line.offset_kelvin

    def calibrated(self, line: Line | None, used_at_celsius: float) -> "Probe":
        """Read it by this line from now on, or, with None, by what the config states.

        Args:
            line: its calibration.
            used_at_celsius: the temperature at which its tolerance matters.
        """
        stated = self.tolerance_kelvin if self.stated_tolerance_kelvin is None else self.stated_tolerance_kelvin
        if line is None:
            return replace(self, line=None, tolerance_kelvin=stated, stated_tolerance_kelvin=None)
        tolerance = math.hypot(line.sd_kelvin(used_at_celsius), DRIFT_SD_KELVIN)
        return replace(self, line=line, tolerance_kelvin=tolerance, stated_tolerance_kelvin=stated)


class Zone(msgspec.Struct, frozen=True):
    """A named rectangle of a level."""

    name: str
    level: str
    x0_m: float
    x1_m: float
    y0_m: float
    y1_m: float

    def holds(self, probe: Probe) -> bool:
        """Tell whether a chamber probe lies in this zone, its edges included."""
        return (
            probe.duty == "chamber"
            and probe.level == self.level
            and probe.x_m is not None
            and probe.y_m is not None
            and self.x0_m <= probe.x_m <= self.x1_m
            and self.y0_m <= probe.y_m <= self.y1_m
        )


class Rule(msgspec.Struct, frozen=True):
    """When an alarm is raised and when it returns."""

    name: str
    priority: Priority
    limit: float
    """In the rule's own unit: kelvin, percent, or seconds for silence (0: each probe's own limit)."""
    deadband: float
    """The value must come back past the limit by this much before the condition is over."""
    on_delay_seconds: float
    off_delay_seconds: float
    enabled: bool = True
    below: bool = False
    """The condition holds below the limit rather than above it."""
    against: Against = "level"
    """What a cold spot is cold against: its level's mean, the target, or what is usual for it in this pit."""
    latch: bool = False
    """An alarm that was raised stays, when its condition is over, until a person resets it."""
    shelve_at_most_seconds: float = SHELVE_AT_MOST_SECONDS
    """The longest it may be shelved; 0: not at all."""


DEFAULT_RULES: tuple[Rule, ...] = (
    Rule("cold-spot", Priority.URGENT, 8.3, 1.5, 150.0, 300.0),
    Rule("drift", Priority.URGENT, 0.0, 2.0, 120.0, 300.0),
    Rule("pit-low", Priority.URGENT, 5.6, 2.0, 900.0, 300.0),
    Rule("spread", Priority.SOON, 30.0, 3.0, 300.0, 300.0),
    Rule("lid-open", Priority.URGENT, 15.0, 5.0, 480.0, 60.0),
    Rule("source-silent", Priority.SOON, 0.0, 0.0, 0.0, 10.0),
    Rule("probe-silent", Priority.SOON, 0.0, 0.0, 0.0, 10.0),
    Rule("probe-lying", Priority.SOON, 5.0, 2.0, 300.0, 300.0),
    Rule("battery-low", Priority.SOON, 15.0, 5.0, 120.0, 0.0, below=True),
    Rule("wrap-ready", Priority.SOON, 0.0, 1.0, 120.0, 300.0),
    Rule("done", Priority.SOON, 0.0, 1.0, 120.0, 300.0),
    Rule("meat-falling", Priority.SOON, 3.0, 1.0, 180.0, 300.0),
    Rule("stall-long", Priority.NOTE, 7 * 3600.0, 0.0, 0.0, 0.0),
    Rule("slipping", Priority.SOON, 1800.0, 600.0, 600.0, 600.0),
    Rule("hold-floor", Priority.URGENT, 0.0, 0.5, 300.0, 300.0, below=True),
    Rule("danger-soon", Priority.SOON, DANGER_SOON_SECONDS, 0.0, 0.0, 0.0),
    Rule("danger-over", Priority.URGENT, DANGER_SECONDS, 0.0, 0.0, 0.0),
    Rule("cool-late", Priority.URGENT, 900.0, 0.0, 0.0, 0.0, below=True),
    Rule("slow-come-up", Priority.SOON, COME_UP_SOON_SECONDS, 0.0, 0.0, 0.0),
    Rule("come-up-over", Priority.URGENT, COME_UP_SECONDS, 0.0, 0.0, 0.0),
)
"""8.3 K is 15 °F, 5.6 K is 10 °F. Drift is held against the band itself. Delays follow the usual guidance for
temperature, 60 s and 1 % of range (from memory), lengthened where a lid or a refuel looks like the real thing for a
minute or two."""


class Plan(msgspec.Struct, frozen=True):
    """Everything the engine is told before the first reading."""

    chamber: ChamberView
    probes: tuple[Probe, ...]
    zones: tuple[Zone, ...]
    target_celsius: float
    low_celsius: float
    high_celsius: float
    rules: tuple[Rule, ...] = DEFAULT_RULES
    usual_kelvin: tuple[tuple[str, float], ...] = ()
    """By how much each zone lay below its level's mean in the cooks before, as far as they tell."""
    meat: tuple[Piece, ...] = ()

    def rule(self, name: str) -> Rule:
        """Find a rule by name.

        Raises:
            KeyError: no such rule.
        """
        for rule in (*self.rules, *DEFAULT_RULES):  # a plan stored by an earlier coldside lacks later rules
            if rule.name == name:
                return rule
        raise KeyError(name)

    def calibrated(self, lines: Mapping[tuple[str, str], Line | None]) -> "Plan":
        """Read some probes, by source and key, by other lines from now on."""
        at = self.target_celsius
        probes = tuple(
            p.calibrated(lines[p.source, p.key], at) if (p.source, p.key) in lines else p for p in self.probes
        )
        return replace(self, probes=probes)
