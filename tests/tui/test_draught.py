"""`coldside draught` as it is typed."""

import json

import pytest

from tui.cli import main
from tui.exit_codes import Exit

PIT = ["draught", "--height", "36 in", "--diameter", "6 in", "--flue", "250 F", "--outside", "70 F"]


def test_a_lower_stack_as_it_is_planned(capsys):
    assert main([*PIT, "--to-height", "24 in"]) == Exit.OK
    out = capsys.readouterr().out
    assert "draught now       2.73 Pa" in out
    assert "planned   1.82 Pa, -33 %" in out
    assert "air drawn        -18 %\n" in out
    assert "carbon monoxide" in out


def test_a_wider_one_tells_a_range_and_high_up_it_draws_less(capsys):
    assert main([*PIT, "--to-diameter", "8 in", "--altitude", "5280 ft", "--json"]) == Exit.OK
    told = json.loads(capsys.readouterr().out)
    assert told["before_pascal"] == told["after_pascal"] == pytest.approx(2.73 * 83.4 / 101.3, abs=0.02)
    low, high = told["flow_ratio"]
    assert 1.0 < low < high < (8 / 6) ** 2


@pytest.mark.parametrize(
    ("words", "code"),
    [(["--flue", "hot"], Exit.FAILED), (["--height", "36"], Exit.USAGE), (["--diameter", "9 km"], Exit.USAGE)],
)
def test_what_is_no_length_or_temperature_is_told(words, code, capsys):
    try:
        assert main([*PIT, *words]) == code
    except SystemExit as left:
        assert left.code == code
    assert "write" in capsys.readouterr().err


def test_a_cold_flue_does_not_draw(capsys):
    assert main([*PIT[:5], "--flue", "60 F", "--outside", "70 F"]) == Exit.OK
    assert "does not draw" in capsys.readouterr().out
