"""The config loader on configs that were spoiled: it accepts them, or lists mistakes, each with its line and key."""

import random
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

from collector.engine import Engine
from collector.errors import SettingsError
from collector.settings.load import load, parse
from tests.fuzz.configs import Draft
from tests.fuzz.failures import Findings, must
from tests.fuzz.texts import hostile
from tui.commands.init import TEMPLATE
from tui.draw.blocks import toml_value

__all__ = ["run"]

CONFIGS = 60
SAMPLES = (TEMPLATE, (files("sample_streams") / "pit.toml").read_text(encoding="utf-8"))
VALUES = (
    "nan", "inf", "-inf", "1e308", "-1", "0", "true", "[]", "{}", '""', "1979-05-27", "07:32:00", "[[1, 2], [3]]",
    "9" * 5000, "0x" + "f" * 40, "'''\n'''", '"""a\nb"""',
    '"235"', '"-300 C"', '"1e9 F"', '"9999999999 F"', "[1, 2, 3]",
    '{ a = 1, b = { c = "d" } }', '"25:61"', '"٣ C"', "[nan, nan]", "1_000", '"' + "x" * 5000 + '"',
)  # fmt: skip
TABLES = (
    "[serve]\nlisten = '0.0.0.0:1'", "[publish]\nhost = 'x'", "[heartbeat]\nurl_file = 'none'",
    "[layout.x]\nsource = 'notify'", "[[person]]\nname = 'a'\nchannels = ['b']",
    "[[ladder]]\npriorities = ['urgent']\nsteps = []", "[[channel]]\nkind = 'bell'",
    "[store]\nserver = 'postgresql://a@b/c'", "[bluetooth]\nslots = 0", "[[meat]]\nname = 'a'",
    "[alarm.done]\nlimit = '1 C'", "[[source]]\nkind = 'ble'\nname = 'b'",
    "[[source]]\nkind = 'recording'\nname = 'r'\nfile = '/'", "[display.keys]\nquit = 'q'",
    "[meat.part.x]\nprobe = 'y'\ndone = 'hot'", "[chamber]", "[[chamber]]", "[chamber.unit]",
)  # fmt: skip


def run(dice: random.Random, findings: Findings, folder: Path) -> None:
    """Spoil some configs and have them read."""
    path = folder / "pit.toml"
    for k in range(CONFIGS):
        findings.step = f"config {k}"
        text = dice.choice(SAMPLES) if dice.random() < 0.6 else Draft(dice, 0.1).text()
        for _ in range(dice.choice((1, 1, 2, 4))):
            text = dice.choice(WAYS)(dice, text)
        with findings.guard("loading"):
            _read(text, path, findings)
    for k in range(CONFIGS // 6):
        findings.step = f"bytes {k}"
        content = bytearray(dice.choice(SAMPLES).encode())
        at = dice.randrange(len(content))
        content[at : at + dice.choice((0, 1, 9))] = dice.randbytes(dice.randrange(1, 6))
        path.write_bytes(dice.choice((bytes(content), content[:at], b"\xef\xbb\xbf" + content, b"\xff\xfe" + content)))
        with findings.guard("loading bytes"):
            try:
                load(path)
            except SettingsError as error:
                str(error)


def _read(text: str, path: Path, findings: Findings) -> None:
    try:
        settings = parse(text, path)
    except SettingsError as error:
        findings.count("refused")
        must(error.problems, "config: refused without a mistake")
        lines = text.count("\n") + 1
        for problem in error.problems:
            must(0 <= problem.line <= lines + 1, "config: a line that is not there", f"{problem} of {lines}")
            must(problem.line or problem.key, "config: neither line nor key", repr(problem))
            must(problem.what.strip(), "config: a mistake without a word", repr(problem))
        str(error)
        return
    findings.count("accepted")
    engine = Engine(settings.plan, "fuzz", 1_790_000_000.0)
    engine.advance(1_790_000_060.0)
    engine.snapshot()
    engine.rules()


def _cut(dice: random.Random, text: str) -> str:
    at = dice.randrange(len(text))
    return text[:at] + text[at + dice.choice((1, 3, 40)) :]


def _added(dice: random.Random, text: str) -> str:
    at = dice.randrange(len(text))
    return text[:at] + dice.choice((hostile(dice), *"[]{}=\"'#,.\n\\")) + text[at:]


def _valued(dice: random.Random, text: str) -> str:
    """Put another value behind an equals sign."""
    lines = text.split("\n")
    given = [k for k, line in enumerate(lines) if "=" in line and not line.startswith("#")]
    if given:
        k = dice.choice(given)
        key, _, was = lines[k].partition("=")
        value = dice.choice((*VALUES, *VALUES, toml_value(hostile(dice)), f"[{was.split('#')[0]}]"))
        lines[k] = f"{key}= {value}"
    return "\n".join(lines)


def _moved(dice: random.Random, text: str) -> str:
    """Write a line twice, elsewhere, or not at all."""
    lines = text.split("\n")
    line = lines.pop(dice.randrange(len(lines)))
    for _ in range(dice.randrange(3)):
        lines.insert(dice.randrange(len(lines) + 1), line)
    return "\n".join(lines)


def _tabled(dice: random.Random, text: str) -> str:
    lines = text.split("\n")
    heads = [k for k, line in enumerate(lines) if line.startswith("[")] or [0]
    lines.insert(dice.choice(heads), dice.choice(TABLES))
    return "\n".join(lines)


def _uncommented(dice: random.Random, text: str) -> str:
    lines = text.split("\n")
    quiet = [k for k, line in enumerate(lines) if line.startswith("# ")]
    for k in dice.sample(quiet, min(len(quiet), dice.randrange(1, 8))):
        lines[k] = lines[k][2:]
    return "\n".join(lines)


WAYS: tuple[Callable[[random.Random, str], str], ...] = (_cut, _added, _valued, _valued, _moved, _tabled, _uncommented)
