"""What is usual in this pit, learned from the cooks before, and what a cold spot is held against."""

from dataclasses import replace

import pytest

from collector.engine import Engine
from collector.snapshot import AlarmState
from collector.store.archive import Archive
from collector.store.row import unix_of
from collector.usual import usual_deficits
from tui.nights import night_settings

PLAN = night_settings().plan


@pytest.fixture
def store(played):
    """The night whose stack end always lies low."""
    return played("stack-before")[1]


def test_the_usual_deficit_is_that_of_the_cook_before(store):
    with Archive(store) as archive:
        usual = dict(usual_deficits(archive, archive.cooks(), PLAN))
        assert set(usual) == {z.name for z in PLAN.zones if z.level == "grate"}
        assert usual["firebox end"] < -4.0 < 6.0 < usual["stack end"]


def test_another_chamber_or_another_zone_does_not_count(store):
    with Archive(store) as archive:
        wider = replace(PLAN, chamber=replace(PLAN.chamber, width_m=0.6))
        assert usual_deficits(archive, archive.cooks(), wider) == ()
        moved = replace(PLAN, zones=(replace(PLAN.zones[0], x1_m=0.2), *PLAN.zones[1:]))
        assert "firebox end" not in dict(usual_deficits(archive, archive.cooks(), moved))
        assert usual_deficits(archive, [], PLAN) == ()


def cold_spots(store, plan, hours=3.5):
    """Play the first hours of the recorded night under another plan."""
    told = []
    with Archive(store) as archive:
        cook = archive.cooks()[0]
        engine = Engine(plan, "again", cook.started_unix)
        for ordinal, reading in archive.happenings(cook):
            if unix_of(ordinal) - cook.started_unix > hours * 3600:
                break
            _, events = engine.take(reading, unix_of(ordinal))
            told += [e.key for e in events if getattr(e, "after", None) is AlarmState.UNACKNOWLEDGED]
    return [key for key in told if key.startswith("cold-spot")]


def with_rule(plan, against):
    rules = tuple(replace(r, against=against) if r.name == "cold-spot" else r for r in plan.rules)
    return replace(plan, rules=rules)


def test_a_zone_that_is_always_cold_is_no_alarm_against_the_usual(store):
    with Archive(store) as archive:
        plan = replace(PLAN, usual_kelvin=usual_deficits(archive, archive.cooks(), PLAN))
    assert cold_spots(store, with_rule(plan, "level")) == ["cold-spot/stack end"]
    assert cold_spots(store, with_rule(plan, "usual")) == []


def test_against_the_target_a_level_that_runs_hot_makes_no_zone_cold(store):
    assert cold_spots(store, replace(with_rule(PLAN, "target"), target_celsius=PLAN.target_celsius - 20.0)) == []
