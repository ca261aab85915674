"""Random configs that `coldside check` accepts, as the TOML text that a person would have written."""

import datetime as dt
import random
from pathlib import Path
from typing import Any

from msgspec.structs import replace

from collector.errors import SettingsError
from collector.model.plan import DEFAULT_RULES, Plan
from collector.settings.load import TIMED_RULES, Settings, parse
from collector.settings.meat import time_to_serve
from collector.settings.quantity import parse_time_of_day
from tests.fuzz.failures import must
from tests.fuzz.texts import name
from tui.draw.blocks import toml_key, toml_value

__all__ = ["Draft", "accepted", "settings_of"]

Table = dict[str, Any]
TRIES = 200


class Draft:
    """A config in the making: tables that may be changed and written again.

    Args:
        dice: decides everything.
        odd: probability that a name is one nobody should choose.
    """

    def __init__(self, dice: random.Random, odd: float) -> None:
        self.dice, self.odd = dice, odd
        self.wild = dice.random() < 0.4
        """Numbers too are such as nobody should choose."""
        self.fahrenheit = dice.random() < 0.5
        self.inches = dice.random() < 0.5
        self.size = self._size()
        self.levels = dice.sample(("top", "shelf 2", "under the lid"), dice.choice((0, 0, 1, 1, 2)))
        self.sources = self._sources()
        self.probes = self._probes()
        self.zones = self._zones()
        self.meat = self._meat()
        self.alarms = self._alarms()
        self.cook = {"target": self.celsius(dice.choice((113.0, 107.0, 135.0, 66.0, 371.0, dice.uniform(66, 371))))}
        if dice.random() < 0.7:
            self.cook["band"] = self.kelvin(dice.choice((14.0, 5.0, 0.01, 500.0) if self.wild else (14.0, 10.0)))
        self.chamber = {
            "name": self._name(set()), "shape": dice.choice(("cylinder", "box")), "length": self.size[0],
            "width": self.size[1], "unit": "in" if self.inches else "cm",
            "fire_side": dice.choice(("left", "right")),
        }  # fmt: skip

    def edit(self) -> None:
        """Change what a person may change between two starts of one cook."""
        dice = self.dice
        for _ in range(dice.choice((1, 1, 2))):
            match dice.randrange(6):
                case 0:
                    self.meat = self._meat()
                case 1:
                    self.alarms = self._alarms()
                case 2:
                    self.zones = self._zones()
                case 3:
                    self.cook["target"] = self.celsius(dice.uniform(70, 200))
                case 4 if self.meat:
                    dice.choice(self.meat)["name"] = self._name({piece["name"] for piece in self.meat})
                case _ if len(self.probes) > 2:
                    gone = dice.choice(self.probes[1:])
                    self.probes.remove(gone)
                    self.meat = [m for m in self.meat if gone["name"] not in str(m["part"])]
                    self.zones = self._zones()

    def text(self) -> str:
        """Write it."""
        lines = ["[chamber]", *_rows(self.chamber), "[cook]", *_rows(self.cook), "[display]"]
        lines += _rows({"unit": "F" if self.fahrenheit else "C"})
        for kind, tables in (("source", self.sources), ("probe", self.probes), ("zone", self.zones)):
            for table in tables:
                lines += [f"[[{kind}]]", *_rows(table)]
                if kind == "source":
                    lines += ["[[source.subscribe]]", 'filter = "pit/+"', 'key = "level 2"']
        for piece in self.meat:
            lines += ["[[meat]]", *_rows({k: v for k, v in piece.items() if k != "part"})]
            for part, table in piece["part"].items():
                lines += [f"[meat.part.{toml_key(part) if part else toml_value('')}]", *_rows(table)]
        for rule, table in self.alarms.items():
            lines += [f"[alarm.{rule}]", *_rows(table)]
        return "\n".join(lines) + "\n"

    def celsius(self, value: float) -> str:
        """Write a temperature in any unit."""
        match self.dice.choice("FCK" if value > -200 else "C"):
            case "F":
                return f"{value * 1.8 + 32.0:.3f} F"
            case "K":
                return f"{value + 273.15:.3f} K"
        return f"{value:.3f} °C"

    def kelvin(self, value: float) -> str:
        """Write a difference in any unit."""
        return f"{value * 1.8:.4f} F" if self.dice.random() < 0.5 else f"{value:.4f} {self.dice.choice('CK')}"

    def _name(self, taken: set[str]) -> str:
        return name(self.dice, taken, odd=self.odd)

    def _size(self) -> tuple[float, float]:
        dice = self.dice
        if self.wild and dice.random() < 0.2:
            return dice.choice((1e-3, 0.5, 1e6, 3e4)), dice.choice((1e-3, 0.5, 1e6, 3e4))
        length, width = dice.uniform(50, 250), dice.uniform(25, 100)
        return (round(length / 2.54, 1), round(width / 2.54, 1)) if self.inches else (round(length), round(width))

    def _sources(self) -> list[Table]:
        taken: set[str] = set()
        return [
            {"kind": "mqtt", "name": self._name(taken), "host": f"broker{k}"}
            for k in range(self.dice.choice((1, 1, 1, 2, 3)))
        ]

    def _probes(self) -> list[Table]:
        dice, taken, keys = self.dice, set[str](), set[str]()
        duties = [*["chamber"] * dice.choice((1, 2, 3, 4, 6, 9)), *["meat"] * dice.choice((0, 1, 1, 2, 3)),
                  *["ambient"] * dice.choice((0, 0, 1))]  # fmt: skip
        probes = []
        for k, duty in enumerate(duties):
            probe: Table = {
                "name": self._name(taken), "source": dice.choice(self.sources)["name"], "key": self._name(keys),
            }  # fmt: skip
            if duty != "chamber":
                probe["duty"] = duty
            elif k and self.levels and dice.random() < 0.3:
                probe["level"] = dice.choice(self.levels)
            if duty == "chamber" or (duty == "meat" and dice.random() < 0.4):
                probe["x"], probe["y"] = self._within(0), self._within(1)
                if duty == "meat":
                    probe["level"] = "grate"
            if self.wild and dice.random() < 0.3:
                probe["stale_after"] = dice.choice((120.0, 30.0, 0.001, 1e6, 600.0))
            if dice.random() < 0.2:
                probe["tolerance"] = self.kelvin(dice.choice((0.5, 0.001, 3.0, 1e5) if self.wild else (0.5, 1.0)))
            if dice.random() < 0.2:
                probe["tolerance_class"] = dice.choice(("IEC 60751 B", "IEC 60584-1 K class 2"))
            if dice.random() < 0.2:
                probe["offset"] = self.kelvin(dice.choice((-2.0, 1.5, 400.0, -1e6) if self.wild else (-2.0, 1.5)))
            if self.wild and dice.random() < 0.2:
                probe["range"] = [self.celsius(low := dice.choice((-273.0, -40.0, 100.0))), self.celsius(low + 300.0)]
            if duty == "meat" and dice.random() < 0.4:
                probe["target"] = self.celsius(dice.choice((95.0, 60.0, -273.0, 5000.0)))
            probes.append(probe)
        return probes

    def _within(self, axis: int) -> float:
        share = self.dice.choice((0.0, 1.0, 0.5, *(self.dice.random() for _ in range(6))))
        return share * self.size[axis]

    def _pair(self, axis: int) -> list[float]:
        low, high = sorted((self._within(axis), self._within(axis)))
        return [low, high] if low < high else [0.0, self.size[axis]]

    def _zones(self) -> list[Table]:
        dice, taken = self.dice, set[str]()
        levels = sorted({p.get("level", "grate") for p in self.probes if p.get("duty", "chamber") == "chamber"})
        zones = []
        for _ in range(dice.choice((0, 1, 2, 3, 5))):
            zone: Table = {"name": self._name(taken), "x": self._pair(0), "y": self._pair(1)}
            level = dice.choice(levels)
            if level != "grate":
                zone["level"] = level
            zones.append(zone)
        return zones

    def _meat(self) -> list[Table]:
        dice, taken = self.dice, set[str]()
        free = [p["name"] for p in self.probes if p.get("duty") == "meat"]
        dice.shuffle(free)
        pieces = []
        while free and dice.random() < 0.85:
            parts, piece = set[str](), dict[str, Any](name=self._name(taken))
            piece["part"] = {
                self._name(parts): self._targets({"probe": free.pop()}, 0.3)
                for _ in range(min(len(free), dice.choice((1, 1, 2))))
            }
            self._targets(piece, 0.6)
            for key, probability, make in (
                ("cut", 0.6, lambda: dice.choice(("brisket", "pork shoulder", "ribs", "other"))),
                ("species", 0.4, lambda: dice.choice(("beef", "pork", "lamb", "poultry"))),
                ("mass", 0.6, lambda: dice.choice(("13 lb", "6 kg", "0.001 kg", "100 kg", "2.5 lbs"))),
                ("intact", 0.5, lambda: dice.random() < 0.5),
                ("hold", 0.3, lambda: self.celsius(dice.choice((57.3, 60.0, 0.1, 99.9)))),
                ("rest", 0.4, lambda: dice.choice((0.0, 60.0, 1440.0, 0.5))),
                ("serve", 0.6, lambda: f"{dice.randrange(24):02}:{dice.randrange(60):02}"),
                ("cooling", 0.3, lambda: dice.choice(("food-code", "appendix-b"))),
            ):
                if dice.random() < probability:
                    piece[key] = make()
            if dice.random() < 0.4:
                piece["x"], piece["y"] = self._pair(0), self._pair(1)
            pieces.append(piece)
        return pieces

    def _targets(self, table: Table, probability: float) -> Table:
        dice = self.dice
        if dice.random() < probability:
            table["done"] = self.celsius(dice.choice((95.0, 60.0, 104.9, dice.uniform(80, 104))))
        if dice.random() < probability * 0.6:
            table["wrap"] = self.celsius(dice.uniform(46, 59))
        return table

    def _alarms(self) -> dict[str, Table]:
        dice, alarms = self.dice, dict[str, Table]()
        for rule in dice.sample(DEFAULT_RULES, dice.choice((0, 0, 2, 5, len(DEFAULT_RULES)))):
            table: Table = {}
            limited = rule.name not in ("probe-silent", "battery-low", *TIMED_RULES)
            for key, probability, make in (
                ("enabled", 0.2, lambda: dice.random() < 0.5),
                ("priority", 0.3, lambda: dice.randrange(1, 4)),
                ("limit", 0.4, lambda: self.kelvin(dice.choice((0.0, 5.0, 0.001, 1e6)))),
                ("deadband", 0.3, lambda: self.kelvin(dice.choice((0.0, 2.0, 1e6)))),
                ("percent", 0.4, lambda: dice.choice((0.0, 100.0, 15.0))),
                ("minutes", 0.4, lambda: dice.choice((1e-6, 1.0, 240.0, 1e6))),
                ("against", 0.6, lambda: dice.choice(("level", "target", "usual"))),
                ("on_delay", 0.3, lambda: dice.choice((0.0, 0.0, 60.0, 1e6))),
                ("off_delay", 0.3, lambda: dice.choice((0.0, 60.0, 1e6))),
                ("latch", 0.3, lambda: dice.random() < 0.7),
                ("shelve_at_most", 0.2, lambda: dice.choice((0.0, 1.0, 720.0))),
            ):
                fits = {
                    "limit": limited and rule.name != "hold-floor", "deadband": limited,
                    "percent": rule.name == "battery-low", "minutes": rule.name in TIMED_RULES,
                    "against": rule.name == "cold-spot",
                }.get(key, True)  # fmt: skip
                if fits and dice.random() < probability:
                    table[key] = make()
            alarms[rule.name] = table
        return alarms


def _rows(table: Table) -> list[str]:
    return [f"{toml_key(key)} = {toml_value(value)}" for key, value in table.items() if key != "part"]


def accepted(dice: random.Random) -> Draft:
    """Draw configs until one is accepted; odd names may be refused, plain ones may not always be.

    Raises:
        BrokenInvariant: none of many was accepted.
    """
    refused = ""
    for k in range(TRIES):
        draft = Draft(dice, dice.choice((0.0, 0.0, 0.05, 0.3)) if k < TRIES // 4 else 0.0)
        try:
            parse(draft.text(), Path("fuzz.toml"))
        except SettingsError as error:
            refused = str(error)
            continue
        return draft
    must(False, "configs: none is accepted", refused)
    raise AssertionError


def settings_of(draft: Draft, now_unix: float) -> tuple[Settings, Plan]:
    """Read a draft as at a moment: when dinner is follows from the clocks of that day, not from today's.

    Raises:
        SettingsError: an edit made it one that is not accepted.
    """
    settings = parse(draft.text(), Path("fuzz.toml"))
    now = dt.datetime.fromtimestamp(now_unix, dt.UTC)
    serve = {m.name: time_to_serve(parse_time_of_day(m.serve), now) for m in settings.config.meat if m.serve}
    meat = tuple(
        replace(p, serve_day_seconds=serve[p.name][0], clocks_change=serve[p.name][1]) if p.name in serve else p
        for p in settings.plan.meat
    )
    return settings, replace(settings.plan, meat=meat)
