"""What is usual in this pit, learned from the cooks before, and what a cold spot is held against."""

import json
import math

import pytest
from msgspec.structs import replace
from scipy import stats

from collector.engine import Engine
from collector.snapshot import AlarmState
from collector.store.archive import Archive
from collector.store.row import unix_of
from collector.usual import CookUsual, usual_cooks, usual_deficits, usual_zones
from tui.cli import main
from tui.exit_codes import Exit
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


def cold_spots(store, plan, hours=2.7):
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


def told(name, air, **deficits):
    return CookUsual(name, 1_790_000_000.0, 8.0, 112.0, air, tuple(deficits.items()))


def test_the_weather_is_told_by_kinds_of_night_and_by_a_line_where_there_are_cooks_enough():
    """Drawn on a line of half a kelvin for each kelvin outside; the interval of six points holds it."""
    air = [-4.0, 1.0, 8.0, 14.0, 19.0, 26.0]
    off = [0.1, -0.1, 0.2, -0.2, 0.1, -0.1]
    cooks = [told(f"c{k}", a, flat=4.0 + 0.5 * a + o) for k, (a, o) in enumerate(zip(air, off, strict=True))]
    (flat,) = usual_zones(cooks)
    assert flat.cooks == 6
    assert [(kind, count) for kind, _, count in flat.by_weather] == [("cold", 2), ("mild", 3), ("warm", 1)]
    slope, low, high = flat.per_kelvin
    expected = stats.linregress(air, [d for c in cooks for _, d in c.deficits])
    assert slope == pytest.approx(expected.slope)
    reach = stats.t.ppf(0.975, 4) * expected.stderr
    assert (low, high) == pytest.approx((slope - reach, slope + reach), rel=0.01)
    assert low < 0.5 < high
    assert usual_zones(cooks[:5])[0].per_kelvin is None
    assert usual_zones([told(f"c{k}", 10.0 + 0.1 * k, flat=1.0) for k in range(8)])[0].per_kelvin is None


def test_air_that_was_not_recorded_is_in_no_kind_of_night():
    (flat,) = usual_zones([told("a", math.nan, flat=3.0)])
    assert all(count == 0 and math.isnan(value) for _, value, count in flat.by_weather)
    assert math.isnan(flat.sd_kelvin)
    assert flat.deficit_kelvin == 3.0


def test_the_cook_tells_of_its_air(store):
    with Archive(store) as archive:
        (cook,) = usual_cooks(archive, archive.cooks(), PLAN)
    assert 5.0 < cook.ambient_celsius < 12.0
    assert 8.0 < cook.hours < 10.0


def test_usual_as_lines(store, capsys):
    assert main(["usual", "--store", str(store), "--unit", "C", "--ascii"]) == Exit.OK
    out = capsys.readouterr().out
    assert "stack end" in out
    assert "What the weather does cannot be told: that takes six cooks" in out
    assert all(len(line) <= 100 for line in out.splitlines())
    assert main(["usual", "--store", str(store), "--json"]) == Exit.OK
    document = json.loads(capsys.readouterr().out)
    assert {zone["name"] for zone in document["zones"]} == {z.name for z in PLAN.zones if z.level == "grate"}
    assert main(["usual", "--store", str(store), "--tag", "low"]) == Exit.FAILED
    assert "no cook has the tag 'low'" in capsys.readouterr().err
