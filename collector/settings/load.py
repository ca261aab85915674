"""From the config file to settings that hold together, or to a list of every mistake in it."""

from pathlib import Path

import msgspec
from msgspec.structs import replace

from collector.model.plan import DEFAULT_RULES, GRATE, Plan, Probe, Rule, Zone
from collector.model.tolerance import CLASSES
from collector.settings.bluetooth import check_bluetooth
from collector.settings.calling import check_calling
from collector.settings.check import Mistake, Where, mistakes
from collector.settings.display_keys import check_display_keys
from collector.settings.document import read_text, refusal, tables
from collector.settings.meat import pieces_of
from collector.settings.mended import depends, mended
from collector.settings.outward import check_outward
from collector.settings.quantity import parse_difference, parse_temperature
from collector.settings.serving import check_serve
from collector.settings.shape import AlarmTable, Config, ProbeTable
from collector.settings.sources import check_sources
from collector.snapshot import ChamberView, Priority

__all__ = ["Settings", "load", "parse"]

METRES = {"cm": 0.01, "in": 0.0254}
MAX_PROBES = 4096
USUAL_TOLERANCE_KELVIN = 1.0
SILENCE_RULES = ("source-silent", "probe-silent")
TIMED_RULES = ("stall-long", "slipping", "danger-soon", "danger-over", "cool-late", "slow-come-up", "come-up-over")
"""Judged by time."""
LOWEST_TARGET_CELSIUS, HIGHEST_TARGET_CELSIUS = 65.5, 371.2
"""150 °F and 700 °F: what a wood fire can hold in a chamber (common practice, no source)."""


class Settings(msgspec.Struct, frozen=True):
    """A config file that holds together."""

    path: Path
    config: Config
    plan: Plan
    warnings: tuple[str, ...] = ()
    """What is allowed but looks unwise, one sentence each."""


def load(path: Path) -> Settings:
    """Read a config file.

    Raises:
        SettingsError: it cannot be read, or holds mistakes; all of them are in it.
    """
    return parse(read_text(path, "is not there; `coldside init` writes one to start from"), path)


def parse(text: str, path: Path) -> Settings:
    """Read the text of a config file; relative files in it are taken from beside `path`.

    Raises:
        SettingsError: it holds mistakes; all of them are in it.
    """
    document = tables(text, path)
    found = mistakes(document)
    config = mended(document, found) if found else msgspec.convert(document, Config)
    if config is not None:
        builder = _Builder(config, path)
        plan = builder.plan()
        if not found and not builder.found:
            return Settings(path, config, plan, tuple(builder.warnings))
        broken = [where for where, _ in found]
        found += [mistake for mistake in builder.found if not depends(mistake[0], broken)]
    raise refusal(path, text, found)


class _Builder:
    """Makes the plan from a config of the right shape, collecting what does not hold together."""

    def __init__(self, config: Config, path: Path) -> None:
        self._config = config
        self._path = path
        self._scale = METRES[config.chamber.unit]
        self.found: list[Mistake] = []
        self.warnings: list[str] = []

    def plan(self) -> Plan:
        """Build the plan; it is of use only where nothing was found."""
        config, chamber = self._config, self._config.chamber
        target, band = parse_temperature(config.cook.target), parse_difference(config.cook.band)
        self._check_target(target)
        check_display_keys(config.display.keys, self.found)
        check_sources(config.source, self._path.parent, self.found, self.warnings)
        check_bluetooth(config, self._path.parent, self.found, self.warnings)
        check_outward(config, self._path.parent, self.found, self.warnings)
        check_calling(config, self._path.parent, self.found, self.warnings)
        check_serve(config.serve, self._path.parent, self.found)
        probes = tuple(self._probe(i, p) for i, p in enumerate(config.probe))
        self._check_probes(probes)
        zones = tuple(Zone(z.name, z.level, *(v * self._scale for v in (*z.x, *z.y))) for z in config.zone)
        levels = self._levels(probes)
        self._check_zones(zones, levels)
        rules = tuple(self._rule(rule) for rule in DEFAULT_RULES)
        self._check_alarm_names()
        view = ChamberView(
            chamber.name, chamber.shape, chamber.length * self._scale, chamber.width * self._scale, levels,
            chamber.fire_side,
        )  # fmt: skip
        size = chamber.length, chamber.width
        meat = pieces_of(config.meat, probes, size, self._scale, self.found, self.warnings)
        return Plan(view, probes, zones, target, target - band, target + band, rules, meat=meat)

    def _check_target(self, celsius: float) -> None:
        if not LOWEST_TARGET_CELSIUS <= celsius <= HIGHEST_TARGET_CELSIUS:
            text = self._config.cook.target
            what = f"{text!r} is no temperature of a wood-fired chamber; 150 F to 700 F (66 C to 371 C) is"
            self.found.append((("cook", "target"), what))

    def _levels(self, probes: tuple[Probe, ...]) -> tuple[str, ...]:
        names = dict.fromkeys(p.level for p in probes if p.duty == "chamber" and p.level)
        return tuple(sorted(names, key=lambda name: (name != GRATE, name)))

    def _probe(self, i: int, table: ProbeTable) -> Probe:
        where: Where = ("probe", i)
        level = table.level or (GRATE if table.duty == "chamber" else "")
        if table.duty == "chamber":
            for axis in ("x", "y"):
                if getattr(table, axis) is None:
                    self.found.append(((*where, axis), "is missing: the map needs to know where a chamber probe is"))
        self._check_place(where, table)
        return Probe(
            table.name,
            table.source,
            table.key or table.name,
            table.duty,
            level or None,
            None if table.x is None else table.x * self._scale,
            None if table.y is None else table.y * self._scale,
            self._tolerance(table),
            parse_difference(table.offset),
            table.stale_after,
            parse_temperature(table.range[0]),
            parse_temperature(table.range[1]),
            parse_temperature(table.target) if table.target is not None else float("nan"),
            table.tolerance_class or "",
        )

    def _tolerance(self, table: ProbeTable) -> float:
        """Give the standard deviation a probe is taken to be off by: as it stands there, else by its class."""
        if table.tolerance is not None and table.tolerance_class is not None:
            self.warnings.append(
                f"probe {table.name}: tolerance and tolerance_class are both given; {table.tolerance} counts, and the "
                "class is only what a calibration is held against"
            )
        if table.tolerance is not None:
            return max(parse_difference(table.tolerance), 0.05)
        if table.tolerance_class is not None:
            return CLASSES[table.tolerance_class].sd_kelvin(parse_temperature(self._config.cook.target))
        return USUAL_TOLERANCE_KELVIN

    def _check_place(self, where: Where, table: ProbeTable) -> None:
        chamber = self._config.chamber
        for axis, most in (("x", chamber.length), ("y", chamber.width)):
            value = getattr(table, axis)
            if value is not None and not 0 <= value <= most:
                self.found.append(
                    (
                        (*where, axis),
                        f"{value:g} lies outside the chamber; 0 to {most:g} {chamber.unit} is inside",
                    )
                )

    def _check_probes(self, probes: tuple[Probe, ...]) -> None:
        sources = [s.name for s in self._config.source]
        names: dict[str, int] = {}
        keys: dict[tuple[str, str], Probe] = {}
        places: dict[tuple[str | None, float, float], Probe] = {}
        for i, probe in enumerate(probes):
            if probe.source not in sources:
                what = f"there is no source {probe.source!r}; there is {', '.join(sources)}"
                self.found.append((("probe", i, "source"), what))
            if probe.name in names:
                self.found.append((("probe", i, "name"), f"{_nth('probe', names[probe.name])} is named so too"))
            elif (probe.source, probe.key) in keys:
                self.found.append((("probe", i, "key"), _key_taken(probe, keys[probe.source, probe.key])))
            if probe.lowest_celsius >= probe.highest_celsius:
                self.found.append((("probe", i, "range"), "the first must be below the second"))
            if probe.duty == "chamber" and probe.x_m is not None and probe.y_m is not None:
                other = places.setdefault((probe.level, probe.x_m, probe.y_m), probe)
                if other is not probe:
                    self.warnings.append(
                        f"probes {other.name} and {probe.name} are in the same place of the {probe.level}; say for "
                        "each where its tip is"
                    )
            names.setdefault(probe.name, i)
            keys.setdefault((probe.source, probe.key), probe)
        if len(probes) > MAX_PROBES:
            self.found.append((("probe",), f"{len(probes)} probes are more than one collector takes ({MAX_PROBES})"))
        if not any(p.duty == "chamber" and p.level == GRATE for p in probes):
            self.found.append(
                (("probe",), f'no chamber probe has level = "{GRATE}"; target and alarms are judged there')
            )

    def _check_zones(self, zones: tuple[Zone, ...], levels: tuple[str, ...]) -> None:
        chamber = self._config.chamber
        names: dict[str, int] = {}
        for i, (zone, table) in enumerate(zip(zones, self._config.zone, strict=True)):
            if zone.level not in levels:
                there = ", ".join(levels) or "no level with one"
                self.found.append((("zone", i, "level"), f"no chamber probe is on {zone.level!r}; there is {there}"))
            for axis, (a, b), most in (("x", table.x, chamber.length), ("y", table.y, chamber.width)):
                if not a < b or a < -1e-6 or b > most + 1e-6:
                    what = (
                        f"zone {zone.name!r} goes from {a:g} to {b:g} {chamber.unit}; it must go from less to more, "
                        f"between 0 and {most:g} {chamber.unit}"
                    )
                    self.found.append((("zone", i, axis), what))
            if zone.name in names:
                self.found.append((("zone", i, "name"), f"{_nth('zone', names[zone.name])} is named so too"))
            names.setdefault(zone.name, i)

    def _check_alarm_names(self) -> None:
        known = [rule.name for rule in DEFAULT_RULES]
        for name in self._config.alarm:
            if name not in known:
                self.found.append((("alarm", name), f"there is no such alarm; there is {', '.join(known)}"))

    def _rule(self, rule: Rule) -> Rule:
        table = self._config.alarm.get(rule.name, AlarmTable())
        where: Where = ("alarm", rule.name)
        changed = rule
        if rule.name in SILENCE_RULES and (table.limit is not None or table.deadband is not None):
            self.found.append(((*where, "limit"), "is set on each probe: stale_after"))
        elif rule.name == "battery-low" and (table.limit is not None or table.deadband is not None):
            self.found.append(((*where, "limit"), "is set by percent"))
        elif rule.name in TIMED_RULES and (table.limit is not None or table.deadband is not None):
            self.found.append(((*where, "limit"), "is set by minutes"))
        elif rule.name == "hold-floor" and table.limit is not None:
            self.found.append(((*where, "limit"), "is set on each piece of meat: hold"))
        elif table.limit is not None:
            changed = replace(changed, limit=parse_difference(table.limit))
        if table.deadband is not None and rule.name not in (*SILENCE_RULES, "battery-low", *TIMED_RULES):
            changed = replace(changed, deadband=parse_difference(table.deadband))
        changed = self._rule_of_its_own(changed, table, where)
        if table.enabled is not None:
            changed = replace(changed, enabled=table.enabled)
        if table.priority is not None:
            changed = replace(changed, priority=Priority(table.priority))
        if table.on_delay is not None:
            changed = replace(changed, on_delay_seconds=table.on_delay)
        if table.off_delay is not None:
            changed = replace(changed, off_delay_seconds=table.off_delay)
        return _kept(changed, table)

    def _rule_of_its_own(self, rule: Rule, table: AlarmTable, where: Where) -> Rule:
        """Set what only one rule has."""
        if table.percent is not None and rule.name == "battery-low":
            rule = replace(rule, limit=table.percent)
        elif table.percent is not None:
            self.found.append(((*where, "percent"), "goes with battery-low only"))
        if table.minutes is not None and rule.name in TIMED_RULES:
            rule = replace(rule, limit=60.0 * table.minutes)
        elif table.minutes is not None:
            self.found.append(((*where, "minutes"), f"goes with {', '.join(TIMED_RULES)} only"))
        if table.against is not None and rule.name == "cold-spot":
            rule = replace(rule, against=table.against)
        elif table.against is not None:
            self.found.append(((*where, "against"), "goes with cold-spot only"))
        return rule


def _nth(what: str, index: int) -> str:
    return f"the {what} at number {index + 1}"


def _key_taken(probe: Probe, other: Probe) -> str:
    """Say that two probes claim one key of a source."""
    return (
        f"{probe.key!r} of source {probe.source!r} is what the probe {other.name!r} reads; each needs a key of its "
        "own: `coldside scan` shows those there are"
    )


def _kept(rule: Rule, table: AlarmTable) -> Rule:
    """Set how long an alarm stays, and how long it may be put aside."""
    if table.latch is not None:
        rule = replace(rule, latch=table.latch)
    if table.shelve_at_most is not None:
        rule = replace(rule, shelve_at_most_seconds=60.0 * table.shelve_at_most)
    return rule
