"""The text panels: what they must say, that they fit, and that they are ASCII where they have to be."""

import math
from datetime import UTC

import pytest
from msgspec.structs import replace

from adapters.reading import Quality, Reason
from adapters.source import LinkState
from collector.model.calibration import Kind, Point, line
from collector.model.rulebook import LYING_WORDS
from collector.snapshot import AlarmState, Mark, Phase, StoreView, Verdict
from tests.trend import packed
from tui.draw.alarms import alarm_lines, pressing, pressing_line
from tui.draw.chart import choose_chart
from tui.draw.fire import fire_lines
from tui.draw.heading import heading_line
from tui.draw.large import large_text
from tui.draw.line import plain, width
from tui.draw.marks import listed, mark_line
from tui.draw.meat import REASON_WORDS, doubt_words, meat_lines
from tui.draw.sources import source_lines
from tui.draw.summary import status_lines
from tui.draw.trend_log import TrendLog
from tui.draw.view import View
from tui.draw.zones import zone_lines

C, F = View(), View(fahrenheit=True)


def text(lines):
    return "\n".join(plain(line) for line in lines)


def test_zones_tell_value_deviation_and_trend_and_mark_what_is_outside_the_band(night):
    lines = [plain(line) for line in zone_lines(night(), C, 60)]
    stack = next(line for line in lines if "stack end" in line)
    assert "L  99 " in stack
    assert "-13" in stack
    assert "↘" in stack
    assert "  119 " in next(line for line in lines if "point side" in line)
    assert "  140 " in next(line for line in lines if "under the lid" in line), "the band is meant for the grate"
    hot = replace(night().zones[0], celsius=136.0)
    assert "H 136 " in text(zone_lines(night(zones=(hot,)), C, 60))
    assert not set("▲▼") & set(text(zone_lines(night(), C, 60))), "these mark probes on the map"


def test_zones_in_fahrenheit_convert_the_deviation_as_a_difference(night):
    stack = next(plain(line) for line in zone_lines(night(), F, 60) if "stack end" in plain(line))
    assert "210" in stack
    assert "-23" in stack


def test_the_cold_dose_is_told_where_there_is_room_and_as_a_difference(night):
    assert "40 °C min" in text(zone_lines(night(), C, 60))
    assert "72 °F min" in text(zone_lines(night(), F, 60))
    assert "min" not in text(zone_lines(night(), C, 40))
    out = replace(night().zones[0], name="under the lid", cold_dose_kelvin_minutes=6105.0, trend_kelvin_per_hour=-60.0)
    lines = [plain(line) for line in zone_lines(night(zones=(out,)), F, 50)]
    assert lines[1].endswith(" under the lid  266 ±2    +32  ⇊ -108  11k °F min")
    assert all(len(line) <= 50 for line in lines)


@pytest.mark.parametrize(("cells", "told"), [(60, True), (36, True), (35, False)])
def test_how_sure_a_zone_is_is_told_where_there_is_room(night, cells, told):
    """Two standard deviations, as a difference."""
    lines = [plain(line) for line in zone_lines(night(), F, cells)]
    assert ("284 ±4 " in next(line for line in lines if "under" in line)) is told
    assert ("±" in "".join(lines)) is told
    ascii_only = text(zone_lines(night(), View(fahrenheit=True, ascii_only=True), cells))
    assert ("284 +-4" in ascii_only) is told


def test_a_zone_told_by_the_map_alone_is_marked(night):
    snapshot = night()
    guessed = replace(snapshot.zones[1], probes=0)
    lines = zone_lines(replace(snapshot, zones=(guessed,)), C, 60)
    assert "~" in text(lines)


def test_fire_tells_slope_interval_limit_lid_and_refuel(night):
    told = text(fire_lines(night(), C, 60))
    assert "-7 °C/h (-11 to -3)" in told
    assert "below 107 °C in about 25 min" in told
    assert "40 min ago, every 45 min" in told
    assert "shut, opened 3 times" in told
    once = replace(night(), fire=replace(night().fire, lid_openings=1))
    assert "opened once" in text(fire_lines(once, C, 60))


@pytest.mark.parametrize(
    ("celsius", "per_hour", "minutes", "side", "state"),
    [
        (114.0, -2.0, math.nan, "", "steady"), (114.0, -7.0, 25.0, "low", "fading"),
        (114.0, 9.0, 25.0, "high", "running hot"),
        (114.0, -2.0, 300.0, "low", "steady"), (80.0, -50.0, math.nan, "", "too low, fading"),
        (80.0, 30.0, math.nan, "", "too low, rising"), (80.0, 0.0, math.nan, "", "too low"),
        (150.0, 0.0, math.nan, "", "too hot"),
    ],
)  # fmt: skip
def test_a_dying_fire_is_never_called_steady(night, celsius, per_hour, minutes, side, state):
    """It held `steady` at 80 K under the target: the phase only says that warm-up and lid are over."""
    snapshot = night()
    fire = replace(
        snapshot.fire, phase=Phase.STEADY, level_celsius=celsius, slope_kelvin_per_hour=per_hour,
        minutes_to_limit=minutes, limit_side=side,
    )  # fmt: skip
    told = text(fire_lines(replace(snapshot, fire=fire), C, 60))
    assert f"fire    {state}\n" in told
    assert ("below 107 °C" in told) is (celsius < 107.0 or side == "low")


def test_an_open_lid_says_since_when(night):
    snapshot = night()
    fire = replace(snapshot.fire, phase=Phase.LID_OPEN, lid_open_unix=snapshot.now_unix - 130.0)
    assert "OPEN since" in text(fire_lines(replace(snapshot, fire=fire), C, 60))


def test_a_fire_of_which_nothing_is_known_has_no_numbers(night):
    snapshot = night()
    nan = math.nan
    fire = replace(snapshot.fire, level_celsius=nan, slope_kelvin_per_hour=nan, slope_low=nan, slope_high=nan,
                   minutes_to_limit=nan, last_refuel_unix=None, refuel_period_seconds=nan)  # fmt: skip
    told = text(fire_lines(replace(snapshot, fire=fire), C, 60))
    assert "nan" not in told
    assert "-- °C" in told
    assert "none seen yet" in told


def test_meat_tells_target_trend_and_age_and_doubts_aloud(night):
    snapshot = night()
    point = next(p for p in snapshot.probes if p.name == "brisket point")
    told = text(meat_lines(snapshot, C, 60))
    assert "78" in told
    assert "95" in told
    assert "3 s" in told
    silent = replace(point, silent=True, heard_unix=snapshot.now_unix - 700.0)
    spiked = replace(point, quality=Quality.UNCERTAIN, reason=Reason.SPIKE)
    never = replace(point, heard_unix=None, celsius=math.nan)
    for probe, words in ((silent, "silent for 11 min"), (spiked, "spike"), (never, "never heard")):
        assert words in text(meat_lines(replace(snapshot, probes=(probe,)), C, 60))


def test_sources_tell_age_drops_and_unplaced_keys(night):
    told = text(source_lines(night(), C, 60))
    for words in ("pit broker", "86400 heard", "garage/fridge", "meat radio", "DOWN", "4 dropped", "1 min ago"):
        assert words in told
    assert "probe door: silent for 15 min" in told


@pytest.mark.parametrize(
    ("store", "words"),
    [
        (StoreView("x", 12, None, "disk full"), "NOT SAVED: disk full; 12 readings wait"),
        (StoreView("x", 0, None, "", throwaway=True), "throwaway store: nothing is kept"),
        (StoreView("x", 3, None, ""), "nothing saved yet, 3 waiting"),
    ],
)
def test_the_store_says_plainly_what_is_safe(night, store, words):
    assert words in text(source_lines(night(store=store), C, 60))


def test_the_most_pressing_alarm_is_the_unacknowledged_one(night, alarm):
    seen = alarm("spread/grate", AlarmState.ACKNOWLEDGED)
    shelved = alarm("drift/fading fire", AlarmState.SHELVED, shelved_until_unix=1_700_001_000.0)
    calling = alarm("cold-spot/flat side")
    snapshot = night(alarms=(shelved, seen, calling))
    assert [a.key for a in pressing(snapshot)] == ["cold-spot/flat side", "spread/grate"]
    line = pressing_line(snapshot, C, 100)
    assert plain(line).startswith(" flat side is cold")
    assert "+1 more" in plain(line)
    assert line[0][1] == "alarm"
    assert "until" in text(alarm_lines(shelved, snapshot.now_unix, C, 60))


def test_no_alarm_still_counts_what_is_shelved(night, alarm):
    assert plain(pressing_line(night(alarms=()), C, 80)).strip() == "no alarm"
    shelved = alarm("drift/fading fire", AlarmState.SHELVED)
    assert "1 shelved" in plain(pressing_line(night(alarms=(shelved,)), C, 80))


def test_the_heading_never_hides_that_a_cook_is_not_real(night):
    fire = replace(night().fire, phase=Phase.WARMING)
    snapshot = night(speed=5000.0, store=replace(night().store, throwaway=True), fire=fire)
    told = plain(heading_line(snapshot, F, 80))
    assert "played x5000" in told
    assert "not kept" in told


@pytest.mark.parametrize("cells", [38, 52, 80])
@pytest.mark.parametrize("view", [C, F, View(ascii_only=True)])
def test_lines_fit_and_are_ascii_where_they_must(night, cells, view):
    snapshot = night()
    lines = [*zone_lines(snapshot, view, cells), *meat_lines(snapshot, view, cells)]
    lines += [line for a in snapshot.alarms for line in alarm_lines(a, snapshot.now_unix, view, cells)]
    assert all(width(line) <= cells for line in lines), text(lines)
    lines += fire_lines(snapshot, view, cells)
    assert all(width(line) <= cells for line in lines), text(lines)
    lines += source_lines(snapshot, view, cells)
    lines += [pressing_line(snapshot, view, cells), heading_line(snapshot, view, cells)]
    if view.ascii_only:
        assert text(lines).isascii()


@pytest.mark.parametrize(("room", "rows"), [((22, 5), 5), ((44, 10), 10), ((21, 5), 1), ((80, 4), 1)])
def test_large_figures_take_the_largest_size_that_fits(room, rows):
    lines = large_text("114", *room)
    assert len(lines) == rows
    assert all(len(line) <= room[0] for line in lines) or lines == ["114"]


def test_every_large_figure_looks_different():
    drawn = {"\n".join(large_text(c, 40, 5)) for c in "0123456789-+:"}
    assert len(drawn) == 13
    assert "".join(large_text("8", 40, 5, ascii_only=True)).isascii()


def test_marks_are_told_in_words(night):
    at = night().now_unix
    marks = (
        Mark(at, "seen-refuel", "the fire picked up", "refuel/1"),
        Mark(at, "seen-lid", "the lid was opened", "lid/1", Verdict.CONFIRMED),
        Mark(at, "seen-stall", "the fire has not picked up", "stall/1", None, at - 3600.0),
        Mark(at, "seen-refuel", "the fire picked up", "refuel/2", Verdict.DELETED),
        Mark(at, "note", "wet oak"), Mark(at, "split"),
    )  # fmt: skip
    zone = View(zone=UTC)
    told = [plain(mark_line(m, zone, 60)) for m in listed(night(marks=marks))]
    assert told == [
        "22:13 split", "22:13 note: wet oak", "22:13 refuel seen, deleted", "22:13 fire not picked up since 21:13?",
        "22:13 lid seen, confirmed",
        "22:13 refuel seen?",
    ]  # fmt: skip


def test_marks_come_in_the_order_of_their_times(night):
    """A refuel is seen minutes after it was, when a note may have been written since."""
    at = night().now_unix
    marks = (Mark(at - 900.0, "split"), Mark(at - 60.0, "note", "wet"), Mark(at - 500.0, "seen-refuel", "", "refuel/1"))
    assert [m.kind for m in listed(night(marks=marks))] == ["note", "seen-refuel", "split"]


@pytest.mark.parametrize("cells", [12, 20, 33])
def test_a_mark_fits_and_tells_first_whether_it_is_confirmed(night, cells):
    marks = (Mark(night().now_unix, "seen-lid", "", "lid/1", Verdict.CONFIRMED), Mark(0.0, "note", "oak " * 40))
    for mark in marks:
        for view in (C, View(ascii_only=True)):
            line = mark_line(mark, view, cells)
            assert width(line) <= cells
            assert plain(line).isascii() or not view.ascii_only
    assert plain(mark_line(marks[0], C, cells)).endswith(", confirmed")


def test_deleted_events_leave_the_chart_too(night, history):
    at = night().now_unix - 600.0
    seen = Mark(at, "seen-refuel", "", "refuel/1")
    gone = Mark(at - 600.0, "seen-lid", "", "lid/1", Verdict.DELETED)
    stall = Mark(at + 60.0, "seen-stall", "", "stall/1")
    log = TrendLog()
    log.replace(packed(history()))
    chart = choose_chart(log, night(marks=(gone, seen, stall)), "zones", "grate", 3.0, C)
    assert [(s.time_unix, s.letter) for s in chart.signs] == [(at, "S"), (at + 60.0, "F")]


def test_the_next_split_is_told_by_the_rhythm_and_not_at_all_while_there_is_none(night):
    snapshot, zone = night(), View(zone=UTC)
    assert "split due about 22:18 by the pit's rhythm" in text(fire_lines(snapshot, zone, 60))
    assert "refuel      next split due about 22:18 by the pit's rhythm" in status_lines(snapshot, zone)
    late = night(fire=replace(snapshot.fire, refuel_due_unix=snapshot.now_unix - 750.0))
    assert "split overdue by 12 min by the pit's rhythm" in text(fire_lines(late, zone, 60))
    unknown = night(fire=replace(snapshot.fire, refuel_due_unix=None))
    assert "rhythm" not in text(fire_lines(unknown, zone, 60)) + "\n".join(status_lines(unknown, zone))


def test_the_status_tells_the_map_and_how_sure_a_zone_is(night):
    told = status_lines(night(), F)
    assert "map         grate: coldest 210 ±4 °F by the stack, hottest 268 ±5 °F near the back by the fire" in told
    assert "zone        stack end (grate): 210 ±2 °F, -23 from the level's mean" in told


def test_a_probe_out_of_its_class_is_told_in_the_status_and_beside_the_sources(night):
    snapshot = night()
    for off, told in ((0.7, True), (0.05, False)):
        found = line([Point(Kind.ICE, 0.0, off, 0.1, 0.0)])
        first = replace(snapshot.probes[0], tolerance_class="IEC 60751 AA", line=found)
        changed = replace(snapshot, probes=(first, *snapshot.probes[1:]))
        words = "firebox: outside IEC 60751 AA, corrected for"
        assert (f"probe       {words}" in status_lines(changed, F)) is told
        assert (f"probe {words}" in text(source_lines(changed, F, 80))) is told


def test_no_reason_lacks_words(night):
    assert set(REASON_WORDS) == set(Reason)
    assert set(LYING_WORDS) == set(Reason) - {Reason.NONE}
    for reason in set(Reason) - {Reason.NONE}:
        probe = replace(night().probes[0], quality=Quality.UNCERTAIN, reason=reason)
        assert doubt_words(probe, night().now_unix) == REASON_WORDS[reason]
    for words in (*REASON_WORDS.values(), *LYING_WORDS.values()):
        assert words
        assert words.isascii()
    assert "look at the plugs" in LYING_WORDS[Reason.SWAPPED]


def test_a_doubt_without_a_reason_is_never_called_none(night):
    probe = replace(night().probes[0], quality=Quality.UNCERTAIN, reason=Reason.NONE)
    assert doubt_words(probe, night().now_unix) == "uncertain"
    never = replace(probe, heard_unix=None, celsius=math.nan)
    assert doubt_words(never, night().now_unix) == "never heard"
    told = text(source_lines(night(probes=(never,)), C, 60))
    assert "never heard" in told
    assert "none" not in told


def test_a_recording_that_has_ended_looks_ended_only_when_all_have(night):
    done = replace(night().sources[0], state=LinkState.ENDED)
    told = plain(heading_line(night(sources=(done, done), speed=240.0, store=StoreView("", 0, None, "", True)), F, 80))
    assert "the recording has ended" in told
    assert "not kept" in told
    assert "steady" not in told
    assert "played" not in told
    assert "ended" not in plain(heading_line(night(sources=(done, night().sources[1])), F, 80))
    assert "ended" not in plain(heading_line(night(sources=()), F, 80))


def test_what_is_too_long_for_a_panel_breaks_between_words(night):
    told = [plain(line) for line in (*fire_lines(night(), C, 32), *source_lines(night(), C, 34))]
    assert all(len(line) <= 34 for line in told), told
    whole = " ".join(" ".join(told).split())
    assert "40 min ago, every 45 min" in whole
    assert "connected, but nothing is heard" in whole


def test_the_heading_says_that_all_sources_are_down_however_narrow(night):
    one = night().sources[0]
    down = tuple(replace(one, name=f"a source of a long name {n}", state=LinkState.DOWN) for n in range(3))
    for cells in (80, 120, 200):
        told = plain(heading_line(night(sources=down), F, cells))
        assert "DOWN" in told
        assert len(told) <= cells
