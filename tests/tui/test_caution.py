"""The caution about fire and carbon monoxide is on every way in; every hazard and every alarm has its row."""

import ast
import re
from pathlib import Path

import pytest

from collector.caution import FIRE_CAUTION
from collector.model.plan import DEFAULT_RULES
from tests.tui.test_dashboard import board, seen, settle
from tui.cli import main

ROOT = Path(__file__).parents[2]
TABLES = (ROOT / "collector" / "model" / "README.md").read_text(encoding="utf-8")


def said(text):
    return " ".join(text.split())


def test_the_caution_is_wherever_somebody_might_leave_a_fire_alone(tmp_path, capsys):
    config = tmp_path / "coldside.toml"
    assert main(["init", "-c", str(config)]) == 0
    assert FIRE_CAUTION in said(capsys.readouterr().out)
    assert main(["service", "install", "-c", str(config), "--units", str(tmp_path / "units"), "--as", "daemon"]) == 0
    assert FIRE_CAUTION in said(capsys.readouterr().out)
    with pytest.raises(SystemExit):
        main(["--help"])
    for text in (capsys.readouterr().out, (ROOT / "README.md").read_text(encoding="utf-8"), page()):
        assert "carbon monoxide alarm" in said(text)
        assert "minds the fire" in said(text)


def page():
    return (ROOT / "collector" / "page" / "page.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("size", [(80, 24), (160, 48)])
async def test_the_caution_is_in_the_help_of_the_dashboard(client, size):
    app = board(client)
    async with app.run_test(size=size) as pilot:
        await settle(pilot, lambda: "FIRE END" in seen(app))
        await pilot.press("?")
        await settle(pilot, lambda: "carbon monoxide alarm" in said(seen(app).replace("│", " ")))


def rows(title):
    table = TABLES.partition(f"## {title}")[2].partition("\n## ")[0]
    lines = [line for line in table.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[1:]]


def test_every_alarm_has_its_cause_its_consequence_an_action_and_a_time():
    found = {row[0].strip("`"): row[1:] for row in rows("Alarms, rationalized")}
    assert set(found) == {rule.name for rule in DEFAULT_RULES}
    assert all(len(row) == 4 and all(row) for row in found.values())


def test_every_hazard_names_a_test_that_is_there():
    hazards = rows("Hazards")
    assert len(hazards) >= 12
    for row in hazards:
        path, _, name = re.search(r"`(tests/[^`]+)`", row[-1]).group(1).partition("::")
        tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
        names = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)}
        assert not name or name in names, row
