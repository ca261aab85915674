"""The list of alarms by trouble, and the table of rules: what they say, that they fit, and what gives way first."""

import math
import re

import pytest

from collector.model.alarm_measures import measures
from collector.model.trouble import troubles
from collector.snapshot import AlarmState, Priority, RuleView
from tui.draw.alarm_table import measure_lines, rule_lines
from tui.draw.alarms import alarm_rows, pressing_line, trouble_sentence
from tui.draw.line import plain, width
from tui.draw.summary import status_lines
from tui.draw.view import View

C, F = View(), View(fahrenheit=True)
SOURCES = {f"p{k}": "house" for k in range(6)}


@pytest.fixture
def stricken(night, alarm):
    """A night in which the house has gone silent and two zones are cold; one alarm rests, one is out of service."""

    def silent(name):
        return alarm(f"probe-silent/{name}", priority=Priority.SOON, value=300.0, limit=120.0, unit="seconds",
                     message=f"{name} is not heard any more")  # fmt: skip

    def cold(zone):
        return alarm(f"cold-spot/{zone}", value=10.0, limit=8.3, unit="kelvin", message=f"the {zone} runs cold; gusts")

    alarms = (
        cold("flat side"), cold("middle"), *(silent(name) for name in SOURCES),
        alarm("spread/grate", AlarmState.SHELVED, shelved_until_unix=1_700_001_800.0),
        alarm("drift/hot fire", AlarmState.OUT_OF_SERVICE, removed_unix=1_699_999_000.0, since_unix=0.0, active=False),
    )  # fmt: skip
    return night(alarms=alarms, troubles=troubles(alarms, SOURCES, lid_open=False))


def texts(rows):
    return [" / ".join(plain(line).strip() for line in row.lines) for row in rows]


def test_one_line_a_trouble_with_its_alarms_below_while_there_is_room(stricken):
    rows = alarm_rows(stricken, F, 70, 30)
    said = texts(rows)
    assert [row.key for row in rows] == [
        "cold", "cold-spot/flat side", "cold-spot/middle", "source/house", *(f"probe-silent/{p}" for p in SOURCES),
        "spread/grate", "drift/hot fire",
    ]  # fmt: skip
    assert "2 zones run cold, 18 °F below its level's mean (limit 15 °F): flat" in said[0]
    assert re.search(r"URGENT, NOT ACKNOWLEDGED, since \d\d:\d\d, 13 min", said[0])
    assert said[1] == "cold-spot flat side 18 °F, NOT ACKNOWLEDGED"
    assert "! source house is silent, for 5 min: 6 probes; look at" in said[3]
    assert "shelved until" in said[-2]
    assert "out of service since" in said[-1]
    assert "over" not in said[-1]


def test_without_room_for_all_only_the_troubles_stand(stricken):
    assert [row.key for row in alarm_rows(stricken, C, 70, 12)] == [
        "cold",
        "source/house",
        "spread/grate",
        "drift/hot fire",
    ]


@pytest.mark.parametrize("cells", [12, 34, 76])
@pytest.mark.parametrize("view", [C, F, View(ascii_only=True)])
def test_rows_fit_and_are_ascii_where_they_must(stricken, cells, view):
    for row in alarm_rows(stricken, view, cells, 99):
        for line in row.lines:
            assert width(line) <= cells
            assert plain(line).isascii() or not view.ascii_only


def test_the_line_that_is_always_there_counts_troubles_not_alarms(stricken):
    line = plain(pressing_line(stricken, F, 120))
    assert line.startswith(" 2 zones run cold, 18 °F")
    assert "+1 more" in line


def test_the_line_that_is_always_there_loses_words_before_numbers_and_zones(stricken, night, alarm):
    seen = {cells: plain(pressing_line(stricken, F, cells)) for cells in (76, 80, 100, 120, 160)}
    for cells, line in seen.items():
        assert len(line) <= cells
        for words in ("2 zones run cold", "18 °F", "flat side, middle", "NOT ACK", "13 min", "+1 more"):
            assert words in line, (cells, words)
    assert "gusts" not in seen[120]
    assert re.search(r"gusts\s+NOT ACKNOWLEDGED, since \d\d:\d\d, 13 min  \+1 more", seen[160])
    assert plain(pressing_line(stricken, F, 68)).startswith(" 2 zones run cold, 18 °F low: flat side +1 "), "the worst"
    fading = "the fire is fading: look at the firebox and the lid"
    lone = alarm("drift/hot fire", value=75.0, limit=6.0, unit="kelvin", message=fading)
    for cells in (60, 80, 200):
        line = plain(pressing_line(night(alarms=(lone,)), C, cells, "the north pit"))
        assert line.startswith(" the north pit: the fire is fading, 75 °C")
        assert len(line) <= cells
    assert "(limit 6 °C): look at the firebox and the lid" in line


def test_status_tells_each_trouble_once_and_for_how_many_alarms_it_stands(stricken):
    told = [line for line in status_lines(stricken, F) if line.startswith("alarm")]
    assert len(told) == 4
    sentence = "2 zones run cold, 18 °F below its level's mean (limit 15 °F): flat side, middle; gusts (2 alarms)"
    assert told[0].startswith(f"alarm       unacknowledged: {sentence}, since ")
    assert "source house is silent, for 5 min: 6 probes; look at its power and its link (6 alarms), since" in told[1]
    assert [line.split(": ")[0] for line in told[2:]] == ["alarm       shelved", "alarm       out of service"]


def test_with_nothing_standing_it_tells_what_rests(stricken, night):
    resting = stricken.alarms[-2:]
    assert plain(pressing_line(night(alarms=resting), C, 80)).strip() == "no alarm, 1 shelved, 1 out of service"


def test_a_trouble_of_one_alarm_says_what_the_alarm_says(night, alarm):
    one = alarm("cold-spot/flat side", value=10.0, limit=8.3, unit="kelvin", message="the flat side runs cold; gusts")
    (trouble,) = troubles((one,), SOURCES, lid_open=False)
    assert (
        trouble_sentence(trouble, (one,), C)
        == "the flat side runs cold, 10 °C below its level's mean (limit 8 °C); gusts"
    )
    (row,) = alarm_rows(night(alarms=(one,), troubles=(trouble,)), C, 70, 30)
    assert row.key == one.key


def rule(key="cold-spot/flat side", state=AlarmState.NORMAL, value=3.0, limit=8.3, **changes):
    told = {
        "active": False, "distance": limit - value, "unit": "kelvin", "deadband": 1.5, "on_delay_seconds": 210.0,
        "off_delay_seconds": 300.0, "pending_unix": None, "since_unix": None, "suppressed": (),
        "shelved_until_unix": None, "removed_unix": None, "enabled": True, "latch": False,
        "shelve_at_most_seconds": 43200.0,
    }  # fmt: skip
    name, subject = key.split("/")
    return RuleView(key, name, subject, Priority.URGENT, state, value=value, limit=limit, **(told | changes))


def test_a_rule_tells_how_far_it_is_from_an_alarm():
    now = 1_700_000_000.0
    lines = rule_lines(
        (rule(), rule(value=10.0, pending_unix=now - 90.0), rule(value=math.nan), rule("probe-lying/p", limit=0.0)),
        now,
        C,
    )
    assert lines[1].split("  ")[-4:] == ["3 °C", "8 °C", "5 °C", "210 s, 300 s"] or "5 °C" in lines[1]
    assert "2 °C beyond" in lines[2]
    assert lines[3].endswith("an alarm in 2 min if it stays")
    assert " -- " in lines[4]
    assert "nan" not in "\n".join(lines)


def test_a_piece_of_meat_is_judged_by_its_own_limits():
    said = rule_lines(
        (rule("done/brisket", limit=0.0, own_celsius=(95.0, 96.1)), rule("hold-floor/brisket", limit=0.0)), 0.0, F
    )
    assert "  203, 205 °F  " in said[1]
    assert "  each part's own  " in said[2]


def test_measures_of_a_night_without_alarms_are_told_plainly():
    lines = measure_lines(measures([], 0.0, 3600.0))
    assert lines[0].startswith("alarms        0 in 1.0 h")
    assert "none; 0 still wait" in "\n".join(lines)
    assert not any("nan" in line for line in lines)
