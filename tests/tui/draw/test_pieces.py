"""A piece of meat in words: what must be said, what must not, and that nothing unknown is written as a number."""

import math
from datetime import UTC, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import fields, replace

from collector.model.meat.piece import MeatPhase
from collector.model.meat.safety import CAUTION
from collector.snapshot import AheadView, ArrivalView, MeatView, PartView, SpotView
from tests.trend import packed
from tests.tui.conftest import NIGHT, history, night, part, piece
from tui.draw.chart import choose_chart
from tui.draw.line import plain, width
from tui.draw.meat import meat_lines
from tui.draw.phases import phase_steps
from tui.draw.pieces import all_piece_lines, piece_lines
from tui.draw.summary import status_lines
from tui.draw.trend import draw_trend
from tui.draw.trend_log import TrendLog
from tui.draw.view import View

C, F = View(zone=UTC), View(fahrenheit=True, zone=UTC)


def told(meat, view=F, cells=200):
    return "\n".join(plain(line) for line in piece_lines(meat, NIGHT, view, cells))


def test_a_piece_is_told_with_its_phase_its_parts_and_when_each_arrives():
    text = told(piece())
    for words in (
        "brisket, 13.0 lb, cooking since 13:53 (8 h 20)", "all of it done 05:43 (04:53-06:43)",
        "flat  160/203 °F  done 05:43 (04:53-06:43), air flat side 223 °F", "wrap at 165 °F, 23:13 (22:58-23:28)",
        "stalls since 20:13 at 160 °F (evaporation alone would hold 147); wrapped now it would be done about 2 h",
        "stalled 20:13 to 21:43 at 160 °F", "point  173/203 °F  done 00:43 (23:53-01:43)",
        "at its wrap temperature of 165 °F",
    ):  # fmt: skip
        assert words in text, words


def test_the_parts_differ_by_a_difference_and_advice_is_told_as_advice():
    assert "flat 13 °F behind point" in told(piece())
    assert "flat 7 °C behind point" in told(piece(), C)
    assert "in colder air; the trade would turn it round, or shield the point" in told(piece())
    alike = replace(piece().parts[1], celsius=72.0)
    assert "behind point" not in told(piece(parts=(piece().parts[0], alike), advice=()))


def test_the_plan_back_from_serving_tells_how_late_it_will_be_and_what_would_help():
    text = told(piece())
    assert "serve tomorrow 06:43: wrap by 23:03, rest by 05:43; about 40 min late; 11 °F more pit would make it" in text
    assert "6 °C more pit would make it (112 around it)" in told(piece(), C)
    assert "about 1 1/2 h in hand" not in text
    assert "about 1 1/2 h in hand" in told(piece(late_seconds=-5500.0))
    assert "more pit" not in told(piece(air_needed_celsius=math.nan))
    assert "just in time" in told(piece(late_seconds=-20.0))
    assert "will not come in time at this air" in told(piece(late_seconds=math.inf))
    assert "serve" not in told(piece(serve_unix=None, plan=()))
    before = piece(
        phase="not on yet",
        on_unix=None,
        serve_unix=None,
        plan=(("light the fire", NIGHT + 60.0), ("serve", NIGHT + 50_000.0)),
    )
    assert "serve tomorrow 12:06: light the fire by 22:14" in told(before)
    assert "; if it went on now about 40 min late" in told(before)
    assert "more pit" not in told(before)


def test_what_is_done_of_the_plan_is_told_with_its_time():
    did = (("on", NIGHT - 30_000.0), ("wrapped", NIGHT - 600.0))
    wrapped = piece(phase="wrapped", did=did, plan=(("rest", NIGHT + 27_000.0), ("serve", NIGHT + 30_600.0)))
    assert "serve tomorrow 06:43: on 13:53, wrapped 22:03, rest by 05:43;" in told(wrapped)
    assert "wrap by" not in told(wrapped)
    at_rest = piece(phase="resting", did=(*did, ("off the fire", NIGHT)), plan=(), late_seconds=math.nan)
    assert "serve tomorrow 06:43: on 13:53, wrapped 22:03, off the fire 22:13\n" in told(at_rest)


def test_what_was_served_is_not_to_be_served():
    assert "serve" not in told(piece(phase="off"))


def test_cooling_says_by_whose_limits_and_that_there_are_others():
    cooled = piece(phase="cooling", cool_due_unix=NIGHT + 3600.0)
    assert "by FDA Food Code 3-501.14: 135 to 70 °F within 2 h, to 41 °F within 6 h in all; other limits" in told(
        cooled
    )
    text = told(replace(cooled, cooling="appendix-b"), C)
    assert "by USDA FSIS Appendix B: 54 to 27 °C within 1.5 h, to 4 °C within 5 h more; other limits exist" in text
    assert "Appendix B" not in told(piece())
    status = "\n".join(status_lines(night(meat=(cooled,)), F))
    assert "brisket: serve tomorrow 06:43: wrap by" in status
    assert "brisket: cool it through this stage by 23:13, FDA Food Code 3-501.14: 135 to 70 °F" in status


@pytest.mark.parametrize(
    ("done", "words"),
    [
        (ArrivalView(math.nan, math.nan, math.nan, "it is still too cold inside to tell"),
         "time not known: it is still too cold inside to tell"),
        (ArrivalView(math.nan, math.nan, math.nan), "time not known: it cannot be known yet"),
        (ArrivalView(math.inf, math.inf, math.inf, "raise the fire"), "not at this air: raise the fire"),
        (ArrivalView(NIGHT + 3600.0, NIGHT + 7200.0, math.inf), "done 00:13 (23:13 or much later)"),
        (ArrivalView(NIGHT + 80_000.0, NIGHT + 90_000.0, NIGHT + 99_000.0), "done Wed 23:13 (Wed 20:26-Thu 01:43)"),
    ],
)  # fmt: skip
def test_why_an_arrival_cannot_be_known_is_told_in_plain_words(done, words):
    assert words in told(piece(parts=(part("flat", 50.0, 1.0, done=done),)))


def test_what_is_there_is_told_so_and_no_time_is_asked_of_what_rests():
    assert "203/203 °F  at its target" in told(piece(parts=(part("flat", 95.2, 0.0),)))
    resting = piece(phase="resting", parts=(part("flat", 90.0, 1.0, done=ArrivalView(*[math.nan] * 3)),))
    assert "not known" not in told(resting)


def test_held_and_cooled_meat_tells_its_clocks():
    held = piece(phase="holding", held_seconds=12_000.0, hold_trend_kelvin_per_hour=-2.0, hold_celsius=60.0)
    assert "held 3 h 20, no colder than 140 °F, -4 °F/h" in told(held)
    assert "BELOW IT" not in told(held)
    assert "BELOW IT: flat" in told(replace(held, hold_celsius=75.0))
    assert "cool it through this stage by 23:13" in told(piece(phase="cooling", cool_due_unix=NIGHT + 3600.0))
    assert "had to be cooled through this stage by 21:13" in told(piece(phase="cooling", cool_due_unix=NIGHT - 3600.0))


@pytest.mark.parametrize("logs", [0.0, 3.2, 6.5, 4000.0])
def test_a_reduction_never_stands_without_the_caution(logs):
    text = told(piece(parts=(part("flat", 90.0, 60.0, log_reduction=logs),)))
    assert CAUTION in text
    assert "4000" not in text
    assert " safe" not in text.replace(CAUTION, "")
    assert ("all 6.5 of" in text) is (logs >= 6.5)
    assert "columns for 6.5 and 7 log reductions, none for 5" in text


def test_without_a_table_of_the_species_none_is_counted_and_that_is_said():
    text = told(piece(parts=(part("flat", 90.0, 60.0, log_reduction=math.nan),)))
    assert "no table of log reductions is known for this meat" in text
    assert "6.5" not in text


def test_the_clocks_of_come_up_and_of_time_off_the_fire_are_each_beside_their_limit():
    text = told(piece())
    assert "1 h 30 within 50–130 °F on the fire, at most 6 h by the published guideline" in text
    assert "40 min within 41–135 °F off the fire, where many codes count 4 h" in text
    assert "within 5–57 °C off" in told(piece(), C)
    assert "within" not in told(piece(phase="not on yet", on_unix=None))


@pytest.mark.parametrize("view", [C, F, View(ascii_only=True), View(zone=timezone(timedelta(hours=9)))])
def test_the_panel_groups_parts_under_their_piece_and_keeps_single_probes(view):
    cook = night(meat=(piece(),))
    for cells in range(30, 121):
        lines = [plain(line) for line in meat_lines(cook, view, cells)]
        assert max(map(len, lines)) <= cells
        assert lines[0].startswith("brisket cooking since")
        assert sum("done" in line for line in lines) == 2
        assert not any("brisket flat" in line for line in lines), "its probe is in a piece"
        assert not view.ascii_only or "".join(lines).isascii()
    only = night(meat=(piece(parts=piece().parts[:1]),))
    assert any("brisket point" in plain(line) for line in meat_lines(only, view, 40))


def test_a_part_whose_probe_is_silent_shows_no_arrival_in_the_panel():
    cook = night(meat=(piece(),))
    probes = tuple(
        replace(p, silent=p.name == "brisket flat" or p.silent, heard_unix=NIGHT - 700.0) for p in cook.probes
    )
    text = "\n".join(plain(line) for line in meat_lines(replace(cook, probes=probes), C, 60))
    assert "silent for 11 min" in text
    assert "05:43" not in text


def test_the_status_has_a_line_a_part():
    lines = [line for line in status_lines(night(meat=(piece(),)), F) if line.startswith("meat ")]
    assert len(lines) == 3
    assert lines[2].startswith("meat        brisket: serve tomorrow")
    assert lines[0].startswith("meat        brisket flat: cooking since ")
    assert "160/203 °F, done " in lines[0]
    assert "stalls since" in lines[0]


def test_what_was_read_by_hand_is_listed_with_the_newest_first():
    spots = (
        SpotView(NIGHT - 60, "spot", "flat", None, None, 92.0),
        SpotView(NIGHT, "bread", "stack end", None, None, 4.0),
    )
    lines = [plain(line) for line in all_piece_lines(night(spots=spots), F, 60)]
    assert "no piece of meat" in lines[0]
    assert lines[-2:] == ["  22:13 stack end: bread 4 of 5", "  22:12 flat: 198 °F"]


def test_every_phase_can_be_told_from_every_other_and_what_comes_next_stands_first():
    firsts = {}
    for phase in MeatPhase:
        steps = phase_steps((piece(phase=phase),), C)
        assert {s.phase for s in steps} == set(MeatPhase) - {phase}
        firsts[phase] = steps[0].phase
    assert firsts[MeatPhase.WAITING] is MeatPhase.COOKING
    assert firsts[MeatPhase.COOKING] is MeatPhase.WRAPPED
    assert firsts[MeatPhase.WRAPPED] is MeatPhase.RESTING
    assert "unwrapped" in phase_steps((piece(phase="wrapped"),), C)[-2].words


def forecast(view=C, hours=3.0, cells=(80, 16), kind="meat", **choices):
    log = TrendLog()
    log.replace(packed(history()))
    cook = night(meat=(piece(),))
    chart = choose_chart(log, cook, kind, "grate", hours, view, **choices)
    picture = draw_trend(
        chart.time_unix, chart.curves, chart.guides, chart.window, view, *cells, chart.signs, bands=chart.bands,
        now_unix=chart.now_unix,
    )  # fmt: skip
    return chart, picture


def test_the_chart_of_the_meat_looks_ahead_until_it_is_done_and_says_how_sure_it_is():
    chart, picture = forecast()
    assert chart.title == "meat, 3 h, 6 h ahead"
    assert chart.window == (NIGHT - 3 * 3600.0, NIGHT + 6 * 3600.0)
    assert forecast(hours=12.0)[0].window[1] == NIGHT + 9 * 3600.0, "until nine of ten are done"
    assert any("forecast, 8 of 10" in row for row in picture.text)
    at = next(i for i, c in enumerate(picture.text[5]) if c == "┊")
    right = [row[at + 1 : 65] for row in picture.text[:-1]]
    assert any("\u2801" <= c <= "\u28ff" for row in right for c in row)
    assert "1" in "".join(right)
    assert "2" in "".join(right)


def test_without_looking_ahead_or_meat_the_chart_ends_now():
    for choices in ({"ahead": False}, {"kind": "zones"}, {"kind": "spread"}):
        chart, picture = forecast(**choices)
        assert chart.window[1] == NIGHT
        assert chart.bands == ()
        assert "ahead" not in chart.title
        assert "forecast" not in "".join(picture.text)


def test_the_band_is_ascii_where_it_must_be_and_holds_the_median():
    chart, picture = forecast(replace(C, ascii_only=True))
    assert "".join(picture.text).isascii()
    for band in chart.bands:
        assert (band.low <= band.median).all()
        assert (band.median <= band.high).all()


def test_a_forecast_of_one_row_or_of_no_time_draws_no_nonsense():
    """A part without a last row must not decide how far the chart looks."""
    never = part("flat", math.nan, math.nan, ahead=(AheadView(math.nan, 1.0, 2.0, 3.0),))
    soon = part("point", math.nan, math.nan, ahead=(AheadView(NIGHT + 1.0, 0.0, 0.0, 0.0),))
    cook = night(meat=(piece(parts=(never, soon)),))
    chart = choose_chart(TrendLog(), cook, "meat", "grate", 3.0, C)
    assert chart.window[1] == NIGHT + 3600.0
    assert [band.curve for band in chart.bands] == [0]
    draw_trend(
        chart.time_unix, chart.curves, chart.guides, chart.window, C, 80, 12, bands=chart.bands,
        now_unix=chart.now_unix,
    )  # fmt: skip


VALUES = st.floats() | st.sampled_from([math.nan, math.inf, -math.inf, NIGHT, NIGHT + 5000.0, 1e308, 71.0, 0.0])
MAYBE = VALUES | st.none()
NAMES = st.text(max_size=70)
ARRIVALS = st.builds(ArrivalView, VALUES, VALUES, VALUES, st.sampled_from(["", "too cold", "x" * 90]))
AHEAD = st.builds(AheadView, VALUES, VALUES, VALUES, VALUES)
PARTS = st.builds(
    PartView, NAMES, st.sampled_from(["brisket flat", "brisket point", "none"]), VALUES, VALUES, NAMES, VALUES, VALUES,
    ARRIVALS, ARRIVALS, st.lists(AHEAD, max_size=3).map(tuple), MAYBE, MAYBE, VALUES, VALUES, VALUES, VALUES, VALUES,
)  # fmt: skip
PIECES = st.builds(
    MeatView, NAMES, st.just("brisket"), MAYBE, st.sampled_from([p.value for p in MeatPhase]), VALUES, MAYBE, st.none(),
    st.lists(PARTS, max_size=3).map(tuple), ARRIVALS, MAYBE,
    st.lists(st.tuples(st.sampled_from(["wrap", "rest", "serve"]), VALUES), max_size=3).map(tuple), VALUES, VALUES,
    VALUES, VALUES, VALUES, MAYBE, st.none() | st.booleans(), st.lists(NAMES, max_size=2).map(tuple),
    st.sampled_from(["food-code", "appendix-b", "x" * 30]),
    st.lists(st.tuples(st.just("on"), VALUES), max_size=1).map(tuple),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(PIECES, st.integers(30, 120), st.sampled_from([C, F, View(ascii_only=True, fahrenheit=True)]))
def test_whatever_is_not_known_is_never_written_as_a_number_and_every_line_fits(meat, cells, view):
    """Names are the cook's; what we write ourselves is looked at without them."""
    named = replace(meat, name="brisket", parts=tuple(replace(p, name="flat", zone="") for p in meat.parts), advice=())
    cook = night(meat=(named,))
    lines = [*piece_lines(named, NIGHT, view, cells), *meat_lines(cook, view, cells)]
    text = "\n".join([*(plain(line) for line in lines), *(s for s in status_lines(cook, view) if s.startswith("meat"))])
    assert not {"nan", "inf"} & set(text.lower().replace("/", " ").replace("(", " ").split())
    assert not any(len(word) > 60 for word in text.replace("x" * 85, "").split() if word[:1].isdigit())
    assert all(width(line) <= cells for line in [*lines, *piece_lines(meat, NIGHT, view, cells)])
    log = TrendLog()
    log.replace(packed(history(1.0, None)))
    chart = choose_chart(log, cook, "meat", "grate", 1.0, view)
    draw_trend(
        chart.time_unix, chart.curves, chart.guides, chart.window, view, cells, 10, bands=chart.bands,
        now_unix=chart.now_unix,
    )  # fmt: skip


def test_no_field_of_a_piece_is_forgotten_here():
    """A new field of these views has to be thought of in what is written, and in the strategies above."""
    assert len(fields(MeatView)) == 22
    assert len(fields(PartView)) == 19
