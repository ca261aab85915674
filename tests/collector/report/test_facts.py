"""The report of an evening in which it is known what happened."""

import itertools
import math

import pytest
from msgspec.structs import replace

from collector.report.facts import tell
from collector.report.maps import maps_over
from collector.report.minutes import is_steady
from collector.snapshot import Phase
from tests.evening import AWAY, HOUR, LID, MINUTE, PLAN, SILENT, START


def test_the_steady_stretch_begins_after_the_warm_up_and_lasts_to_the_end(told):
    facts = told.facts
    assert 60 * MINUTE < facts.steady_from_unix - START < 90 * MINUTE
    assert facts.steady_until_unix - START > 3.4 * HOUR
    assert facts.grate_celsius == pytest.approx(109.0, abs=3.0), "113 at the centre, colder at the stack"


def test_zones_stand_as_their_probes_were_made_to(told):
    zones = {z.name: z for z in told.facts.zones}
    assert zones["firebox end"].deviation_kelvin > 5.0
    assert zones["flat side"].deviation_kelvin < -3.0
    assert zones["firebox end"].probes == 1
    assert zones["flat side"].probes == 3
    assert told.facts.spread_kelvin == pytest.approx(12.5, abs=2.5), "6 and 7 K from the middle"


def test_the_survey_finds_the_offsets_of_the_probes(told):
    survey = told.facts.survey
    probes = {p.name: p for p in survey.probes}
    assert survey.centre == "centre"
    assert probes["fire"].deviation_kelvin - probes["flat front"].deviation_kelvin == pytest.approx(13.0, abs=0.2)
    assert probes["flat back"].variation_kelvin == pytest.approx(6.0, abs=0.2)
    assert probes["stack"].variation_kelvin == pytest.approx(9.0, abs=0.2)
    assert survey.gradient_most_kelvin == pytest.approx(15.0, abs=0.3), "6 K above and 9 K below the centre"
    assert survey.gradient_between == ("fire", "stack")
    assert 12.7 < survey.gradient_kelvin < 15.3, "13 K while the stack's probe was silent"
    assert probes["stack"].known_share < probes["fire"].known_share == 1.0, "it was silent for a while"
    assert survey.left_out_minutes >= 7, "the lid was open"


def test_deviations_from_the_target(evening):
    against = tell(evening[1], "target").facts.survey
    assert against.reference == "the target"
    centre = next(p for p in against.probes if p.name == "centre")
    assert centre.deviation_kelvin == pytest.approx(centre.mean_celsius - 113.0, abs=0.01)


def test_the_lid_opening_and_its_recovery(told):
    (opening,) = told.facts.lid_openings
    assert opening.time_unix - START == pytest.approx(LID, abs=60.0)
    assert opening.seen
    assert 10.0 < opening.lost_kelvin < 25.0
    assert 5 * MINUTE < opening.recovery_seconds < 15 * MINUTE, "22 K that go with a time constant of 700 s, less a saw"


def test_the_fuel_log(told):
    refuels = told.facts.fuel.refuels
    assert len(refuels) == 2, "the third is laid while the chamber still comes back from the opening"
    assert (refuels[0].kg, refuels[0].seen, refuels[0].marked) == (2.1, True, True)
    assert told.facts.fuel.total_kg == 2.1


def test_the_alarm_and_how_long_it_waited(told):
    (alarm,) = told.facts.alarms.rows
    assert alarm.key == "probe-silent/meat point", "the neighbors of the stack's probe cover it"
    assert alarm.waited_seconds == pytest.approx(4 * MINUTE, abs=30.0)
    assert not alarm.waits
    assert told.facts.alarms.wait_median_seconds == alarm.waited_seconds


def test_gaps_name_the_silent_probe_and_the_absent_collector_apart(told):
    gap = next(gap for gap in told.facts.gaps if gap.probe == "stack")
    assert {gap.probe for gap in told.facts.gaps} == {"stack", "meat point"}
    assert gap.start_unix - START == pytest.approx(SILENT[0], abs=21.0)
    assert gap.seconds == pytest.approx(SILENT[1] - SILENT[0], abs=41.0)
    (absence,) = told.facts.absences
    assert absence.end_unix - START == AWAY[1]
    assert absence.text


def test_probe_health(told):
    probes = {p.name: p for p in told.facts.probes}
    assert probes["stack"].readings < probes["fire"].readings
    assert probes["stack"].silences == 1
    assert probes["fire"].silences == 0
    assert (probes["fire"].battery_first_percent, probes["fire"].rssi_least_dbm) == (90.0, -63.0)
    assert probes["fire"].good_share == 1.0
    assert abs(probes["centre"].residual_kelvin) < 3 * probes["centre"].residual_sd_kelvin
    assert probes["meat flat"].residual_kelvin is None


def test_meat_milestones_against_their_forecasts(told):
    (brisket,) = told.facts.meat
    assert [t.phase for t in brisket.turns] == ["cooking", "wrapped"]
    flat, point = brisket.parts
    wrap, done = flat.milestones
    assert wrap.came_unix - START == pytest.approx(50 * MINUTE + 35.0 / 20.0 * HOUR, abs=180.0), "5 to 40 °C at 20 K/h"
    assert done.came_unix > wrap.came_unix
    assert [f.share for f in done.forecasts] == [0.5, 0.75, 0.9]
    for forecast in done.forecasts:
        gone = brisket.on_unix + forecast.share * (done.came_unix - brisket.on_unix)
        assert abs(forecast.time_unix - gone) <= 300.0
        assert forecast.low_unix <= forecast.median_unix <= forecast.high_unix
        assert forecast.late_seconds == done.came_unix - forecast.median_unix
        inside = forecast.low_unix - 60.0 <= done.came_unix <= forecast.high_unix + 60.0
        assert forecast.held is inside
    assert wrap.forecasts[0].why, "at half the time it was too cold inside to tell"
    (open_one,) = point.milestones
    assert open_one.came_unix is None
    assert open_one.forecasts[0].median_unix > told.facts.cook.told_until_unix, "what was forecast last"
    assert 0.0 < flat.danger_seconds < 3 * HOUR
    assert flat.table_reached_unix is None
    assert "authority" in brisket.caution


def test_what_was_read_by_hand(told):
    bread, spot = told.facts.hand_readings
    assert (bread.where, bread.score, bread.celsius, bread.x_m) == ("flat side", 2.0, None, 0.9)
    assert (spot.where, spot.score, spot.celsius, spot.x_m) == ("brisket flat", None, 31.5, None)


def test_maps_of_mean_swing_dose_moments_and_the_coldest(told):
    kinds = [m.kind for m in told.facts.maps]
    assert kinds[:3] == ["mean", "swing", "dose"]
    assert kinds.count("moment") in (4, 5), "four over the steady stretch and the coldest, which may be one of them"
    mean = told.facts.maps[0]
    assert mean.coldest.x_m > 0.8 > 0.4 > mean.hottest.x_m
    numbers = {p.name: p.value for p in mean.probes}
    survey = {p.name: p.mean_celsius for p in told.facts.survey.probes}
    assert numbers["fire"] == pytest.approx(survey["fire"], abs=0.8)
    assert "A zone furthest below its level" in {m.title for m in told.facts.maps}


def test_maps_of_the_moments_asked_for(evening):
    asked = tell(evening[1], at_unix=[START + 2 * HOUR, START + 3 * HOUR]).facts.maps
    times = [m.time_unix - START for m in asked if m.kind == "moment"]
    assert times == pytest.approx([2 * HOUR, 3 * HOUR], abs=125.0)


def test_half_hours_add_up_to_the_cook(told):
    rows = told.facts.half_hours
    assert rows[0].time_unix <= START
    assert all(b.time_unix - a.time_unix == 1800.0 for a, b in itertools.pairwise(rows))
    assert len(rows[-1].zones_celsius) == len(PLAN.zones)
    assert rows[-1].phase == "steady"


def test_a_fire_that_has_burnt_down_is_no_part_of_the_steady_stretch(evening):
    lit = evening[1].moments[-1]
    assert is_steady(lit)
    for level, told in ((lit.low_celsius - 14.0, True), (lit.low_celsius - 16.0, False), (math.nan, False)):
        assert is_steady(replace(lit, fire=replace(lit.fire, level_celsius=level))) is told
    assert not is_steady(replace(lit, fire=replace(lit.fire, phase=Phase.LID_OPEN)))


def test_the_cold_dose_of_the_map_is_that_of_the_zones(evening):
    """Two hours at 20 K below the band are 2400 kelvin minutes, in the map as in the zone; a dying fire counts."""
    start = evening[1].moments[-1]
    zones = tuple(replace(z, celsius=start.low_celsius - 20.0) for z in start.zones)
    fields = tuple(
        replace(f, celsius=tuple(start.low_celsius - 20.0 for _ in f.celsius), patches=()) for f in start.fields
    )
    moments = [replace(start, now_unix=start.now_unix + 120.0 * k, zones=zones, fields=fields) for k in range(60)]
    dose = maps_over(moments)[-1].facts
    assert dose.kind == "dose"
    assert [z.value for z in dose.zones] == pytest.approx([2400.0] * 3)
    assert dose.coldest.value == pytest.approx(2400.0, abs=5.0)
