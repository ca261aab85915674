"""A piece of meat through the night, its phases, clocks and advice."""

import math

import msgspec
import numpy as np
import pytest

from adapters.reading import Reading
from adapters.rehearsal.brisket import Brisket
from collector.engine import Engine
from collector.model.action import Action, ActionKind
from collector.model.meat.cooling import CoolingRule
from collector.model.meat.piece import Cut, MeatPhase, Part, Piece
from collector.model.meat.piece_watch import PieceWatch
from collector.model.meat.spots import Spot
from collector.model.plan import Plan, Probe, Zone
from collector.snapshot import AlarmState, ChamberView

START = 1_790_000_040.0
PIECE = Piece(
    "brisket", mass_kg=6.0, parts=(Part("flat", "flat tip", 73.9, 95.0), Part("point", "point tip", 73.9, 95.0)),
    place=(0.3, 1.0, 0.1, 0.4), rest_seconds=3600.0,
)  # fmt: skip


def plan_of(*pieces):
    chamber = ChamberView("pit", "cylinder", 1.2, 0.5, ("grate",))
    grate = tuple(
        Probe(f"p{k}", "s", f"p{k}", "chamber", "grate", x, y)
        for k, (x, y) in enumerate([(0.1, 0.12), (0.1, 0.38), (0.6, 0.12), (0.6, 0.38), (1.1, 0.12), (1.1, 0.38)])
    )
    meat = (
        Probe("flat tip", "s", "flat", "meat", "grate", 0.9, 0.25),
        Probe("point tip", "s", "point", "meat", "grate", 0.4, 0.25),
    )
    zones = (Zone("point side", "grate", 0.0, 0.6, 0.0, 0.5), Zone("flat side", "grate", 0.6, 1.2, 0.0, 0.5))
    return Plan(chamber, grate + meat, zones, 113.0, 99.0, 127.0, meat=pieces)


class Night:
    """A piece watched a minute at a time, in an air of its own for each part."""

    def __init__(self, piece=PIECE, air=(110.0, 115.0), thick=(0.025, 0.04)):
        self.watch = PieceWatch(piece, plan_of(piece))
        self.parts = [Brisket(half, 4.0) for half in thick]
        self.air = list(air)
        self.now = START
        self.on = False
        self.tip = (0.0, 0.0)

    def minutes(self, count, values=None):
        went_on = False
        for _ in range(count):
            for part, air in zip(self.parts, self.air, strict=True):
                for _ in range(4):
                    if self.on:
                        part.step(15.0, air)
            told = [part.celsius[2] for part in self.parts] if values is None else values
            grate = float(np.mean(self.air))
            row = np.array([grate] * 6 + told)
            self.now += 60.0
            went = self.watch.row(self.now, row, np.array([self.air[1], self.air[0]]), grate)
            if not went:
                self.watch.look_ahead()
            went_on |= went
        return went_on

    def warm(self, *to, by=4.0):
        """Bring the tips from where they are to these, no faster than meat warms."""
        at = [p.celsius for p in self.view().parts]
        for k in range(1, 1 + math.ceil(max(abs(b - a) for a, b in zip(at, to, strict=True)) / by)):
            self.minutes(1, [a + max(-k * by, min(k * by, b - a)) for a, b in zip(at, to, strict=True)])

    def look(self):
        return self.watch.look(self.now)

    def view(self):
        return self.watch.view(self.now)


def test_it_goes_on_by_itself_when_cold_meat_warms_in_a_hot_pit():
    night = Night()
    assert not night.minutes(30), "cold meat that stays cold is not on yet"
    assert night.watch.phase is MeatPhase.WAITING
    night.on = True
    before = night.now
    assert night.minutes(120)
    assert night.watch.phase is MeatPhase.COOKING
    assert before - 120 <= night.watch.on_unix <= before + 45 * 60


@pytest.mark.parametrize("grate", [30.0, math.nan])
def test_meat_that_warms_in_a_cold_pit_lies_on_the_table(grate):
    night = Night(air=(grate, grate))
    for celsius in np.linspace(4.0, 15.0, 120):
        assert not night.minutes(1, [celsius, celsius])
    assert night.watch.phase is MeatPhase.WAITING


def test_the_cook_says_that_it_is_on():
    night = Night()
    night.minutes(3)
    night.watch.turn(MeatPhase.COOKING, night.now)
    assert night.watch.on_unix == night.now


def cooking(**changes):
    night = Night(msgspec.structs.replace(PIECE, **changes))
    night.on = True
    night.watch.turn(MeatPhase.COOKING, night.now)
    return night


def test_the_clock_of_danger_counts_what_is_not_known_as_it_last_was():
    night = cooking()
    night.minutes(10, [20.0, 20.0])
    night.minutes(5, [math.nan, 20.0])
    parts = night.view().parts
    assert [p.danger_seconds for p in parts] == [900.0, 900.0]
    night.minutes(10, [3.0, 4.0])
    assert [p.danger_seconds for p in night.view().parts] == [900.0, 900.0], "cold is not in between"
    assert night.look().come_up_seconds == 900.0


@pytest.mark.parametrize("intact", [True, False, None])
def test_on_the_fire_the_come_up_is_counted_and_off_it_the_time_without_heat(intact):
    """A probe pierces it, so what the pitmaster says of that changes no clock."""
    night = cooking(intact=intact)
    night.minutes(300, [30.0, 30.0])
    assert (night.look().danger_seconds, night.look().come_up_seconds) == (0.0, 18_000.0)
    assert night.view().parts[0].danger_seconds == 18_000.0, "shown all the same"
    night.watch.turn(MeatPhase.RESTING, night.now)
    night.minutes(200, [40.0, 40.0])
    assert (night.look().danger_seconds, night.look().come_up_seconds) == (12_000.0, 0.0)


def test_meat_that_was_hot_and_cools_on_a_dead_fire_is_time_without_heat():
    """Nobody says that it is off; the pit has gone out. What was through its come-up does not come up again."""
    night = cooking()
    night.minutes(60, [40.0, 40.0])
    night.warm(66.0, 66.0)
    night.minutes(60, [66.0, 66.0])
    assert night.look().come_up_seconds == 0.0, "it is through"
    night.minutes(120, [50.0, 50.0])
    assert (night.look().danger_seconds, night.look().come_up_seconds) == (7200.0, 0.0)


def test_raw_meat_in_a_pit_that_is_no_oven_is_time_without_heat():
    night = cooking()
    night.air = [40.0, 40.0]
    night.minutes(120, [20.0, 20.0])
    assert (night.look().danger_seconds, night.look().come_up_seconds) == (7200.0, 0.0)
    night.air = [110.0, 110.0]
    night.minutes(60, [30.0, 30.0])
    assert (night.look().danger_seconds, night.look().come_up_seconds) == (7200.0, 3600.0)


def test_a_part_that_is_renamed_or_gone_while_it_cools_keeps_no_clock_of_its_own():
    night = cooking()
    night.minutes(1, [20.0, 20.0])
    night.warm(70.0, 70.0)
    night.watch.turn(MeatPhase.COOLING, night.now)
    night.minutes(100, [50.0, 50.0])
    left = night.look().cool_left_seconds
    renamed = tuple(msgspec.structs.replace(part, name=f"{part.name} 2") for part in PIECE.parts)
    night.watch = night.watch.again(msgspec.structs.replace(PIECE, parts=renamed), plan_of(PIECE))
    night.minutes(1, [50.0, 50.0])
    assert night.watch.look(night.now).cool_left_seconds == left - 60.0
    one = msgspec.structs.replace(PIECE, parts=PIECE.parts[:1])
    night.watch = night.watch.again(one, plan_of(one))
    night.minutes(1, [3.0, 3.0])
    assert math.isnan(night.watch.look(night.now).cool_left_seconds), "all that is left is cooled"


def test_a_piece_that_was_put_away_before_it_was_on_is_late_for_nothing():
    night = Night(msgspec.structs.replace(PIECE, serve_day_seconds=13 * 3600.0))
    night.minutes(1, [20.0, 20.0])
    assert math.isfinite(night.view().late_seconds)
    assert night.view().plan
    night.watch.turn(MeatPhase.OFF, night.now)
    night.minutes(1, [20.0, 20.0])
    assert math.isnan(night.view().late_seconds)
    assert night.view().plan == ()


def test_rest_before_on_starts_the_clock_and_off_ends_it():
    night = Night()
    night.watch.turn(MeatPhase.RESTING, night.now)
    night.minutes(60, [40.0, 40.0])
    assert night.look().danger_seconds == 3600.0
    night.watch.turn(MeatPhase.OFF, night.now)
    night.minutes(60, [70.0, 70.0])
    night.minutes(60, [40.0, 40.0])
    assert night.view().parts[0].danger_seconds == 3600.0
    assert night.view().parts[0].log_reduction == 0.0


def test_what_was_counted_of_a_probe_in_the_air_is_not_the_meats():
    night = Night()
    night.watch.turn(MeatPhase.COOKING, night.now)
    night.minutes(30, [110.0, 110.0])
    assert night.view().parts[0].log_reduction > 100.0
    night.watch.turn(MeatPhase.WAITING, night.now)
    night.minutes(5, [4.0, 4.0])
    assert night.watch.phase is MeatPhase.WAITING, "a fall is no rise"
    night.watch.turn(MeatPhase.COOKING, night.now)
    night.minutes(5, [5.0, 5.0])
    assert night.view().parts[0].log_reduction == 0.0


def test_a_probe_pulled_into_hot_air_counts_for_nothing_and_is_told():
    night = cooking()
    night.minutes(30, [60.0, 60.0])
    before = night.view().parts[0].log_reduction
    for celsius in (80.0, 100.0, 112.0, 113.0, 114.0):
        night.minutes(1, [celsius, 60.0])
    look = night.look()
    assert look.fallen_kelvin >= 50.0
    assert math.isnan(look.past_done_kelvin)
    assert night.view().parts[0].log_reduction == before
    night.minutes(1, [62.0, 60.0])
    assert night.look().fallen_kelvin == 0.0
    assert night.view().parts[0].celsius == 62.0, "put back, it is believed"
    night.minutes(12, [75.0, 60.0])
    assert night.view().parts[0].celsius == 75.0, "put elsewhere in the meat, it is believed once it stands still"


def test_lethality_counts_only_what_is_known_and_only_by_a_table_that_there_is():
    night = cooking()
    night.minutes(13, [60.0, 60.0])  # 140 °F: twelve minutes are 6.5 logs, the first minute begins the count
    night.minutes(5, [math.nan, 60.0])
    flat, point = night.view().parts
    assert flat.log_reduction == pytest.approx(6.5)
    assert point.log_reduction == pytest.approx(6.5 * 17 / 12)
    pork = cooking(species="pork")
    pork.minutes(20, [70.0, 70.0])
    assert all(math.isnan(p.log_reduction) for p in pork.view().parts)


def test_wrap_and_done_are_reached_by_the_slowest_part():
    night = cooking()
    night.minutes(3, [60.0, 60.0])
    night.warm(80.0, 60.0)
    assert night.look().past_wrap_kelvin == pytest.approx(60.0 - 73.9)
    night.warm(96.0, 97.0)
    assert night.look().past_wrap_kelvin > 0
    assert night.look().past_done_kelvin == pytest.approx(1.0)
    night.watch.turn(MeatPhase.WRAPPED, night.now)
    assert night.look().past_wrap_kelvin == -math.inf, "wrapped already"
    night.minutes(1, [math.nan, 97.0])
    assert math.isnan(night.look().past_done_kelvin), "a part that is not known is not known to be done"
    one = cooking(parts=(Part("flat", "flat tip", None, 95.0), Part("point", "point tip")))
    one.minutes(1, [98.0, 60.0])
    assert one.look().past_done_kelvin == pytest.approx(3.0), "a part without a target is not waited for"


def test_a_probe_that_slips_out_is_a_fall():
    night = cooking()
    night.minutes(60, [70.0, 70.0])
    assert night.look().fallen_kelvin == 0.0
    night.minutes(2, [62.0, 70.0])
    assert night.look().fallen_kelvin == pytest.approx(8.0)
    night.watch.turn(MeatPhase.RESTING, night.now)
    assert night.look().fallen_kelvin == 0.0, "at rest it may"


def test_meat_that_was_done_and_is_lifted_off_is_no_falling_meat():
    """What has reached its done temperature and cools was taken off the fire, or its probe was."""
    night = Night()
    night.minutes(3)
    night.on = True
    night.minutes(20)
    night.warm(93.0, 90.0)
    night.minutes(2, [85.0, 90.0])
    assert night.look().fallen_kelvin == pytest.approx(8.0), "not done yet"
    night.warm(95.5, 90.0)
    night.minutes(10, [70.0, 90.0])
    assert night.look().fallen_kelvin == 0.0
    night.minutes(2, [70.0, 82.0])
    assert night.look().fallen_kelvin == pytest.approx(8.0), "the other part is not done"


def test_a_flat_that_falls_behind_in_colder_air_is_told_how_the_trade_mends_it():
    night = cooking()
    for k in range(360):  # an hour and more apart, and both past the stall
        night.minutes(1, [4.0 + 70.0 * min(k / 300, 1.0), 4.0 + 88.0 * min(k / 330, 1.0)])
    (said,) = [one for one in night.view().advice if "after" in one]
    assert said.startswith("the flat will be done long after the point, and lies in colder air over the flat side: ")
    night.air = [112.0, 112.0]
    night.minutes(1, [74.0, 92.0])
    assert "colder" not in night.view().advice[0]
    night.air = [125.0, 112.0]
    night.minutes(1, [74.0, 92.0])
    assert "hotter air" in night.view().advice[0]
    night.warm(96.0, 96.0)
    assert night.view().advice == ("done: probe it, it is done by feel",)
    ribs = cooking(cut=Cut.RIBS)
    ribs.minutes(1, [70.0, 70.0])
    assert "learned from briskets" in ribs.view().advice[0]


def test_a_wrap_beyond_what_was_learned_is_told():
    late = cooking(parts=(Part("flat", "flat tip", 90.0, 95.0),))
    late.minutes(1, [70.0, 70.0])
    (said,) = [words for words in late.view().advice if "wraps at" in words]
    assert "wraps at 144 to 178 °F (62 to 81 °C) only" in said
    late.watch.turn(MeatPhase.WRAPPED, late.now)
    late.minutes(1, [71.0, 70.0])
    assert not any("wraps at" in words for words in late.view().advice)


def test_held_hot_above_its_floor():
    night = cooking()
    night.minutes(2, [95.0, 96.0])
    night.watch.turn(MeatPhase.HOLDING, night.now)
    for k in range(120):
        night.minutes(1, [70.0 - k / 10, 72.0 - k / 10])
    view = night.view()
    assert view.held_seconds == 7200.0
    assert view.hold_trend_kelvin_per_hour == pytest.approx(-6.0, abs=0.01)
    assert night.look().above_floor_kelvin == pytest.approx(70.0 - 11.9 - 57.22, abs=0.01)
    night.minutes(1, [45.0, math.nan])
    assert night.look().above_floor_kelvin == pytest.approx(45.0 - 57.22, abs=0.01), "a dead probe hides no cold one"


def test_cooled_in_two_stages():
    night = cooking()
    night.watch.turn(MeatPhase.COOLING, night.now)
    night.minutes(1, [60.0, 58.0])
    assert math.isnan(night.look().cool_left_seconds)
    night.minutes(1, [56.0, 55.0])
    assert night.look().cool_left_seconds == 7200.0
    night.minutes(60, [30.0, 25.0])
    assert night.look().cool_left_seconds == 3600.0
    assert night.view().cool_due_unix == night.now + 3600.0
    night.watch.turn(MeatPhase.COOLING, night.now)
    assert night.look().cool_left_seconds == 3600.0, "told twice it goes on"
    night.minutes(61, [math.nan, 25.0])
    assert night.look().cool_left_seconds == -60.0, "of the part that is known"


def test_cooling_counts_from_when_it_passed_135_f_whatever_it_was_called_then():
    night = cooking()
    night.minutes(2, [60.0, 60.0])
    night.watch.turn(MeatPhase.RESTING, night.now)
    night.minutes(1, [58.0, 58.0])
    night.minutes(60, [50.0, 50.0])
    night.watch.turn(MeatPhase.COOLING, night.now)
    assert night.look().cool_left_seconds == 2 * 3600.0 - 59 * 60.0


def test_the_cook_may_go_by_other_limits_even_while_it_cools():
    night = cooking(cooling=CoolingRule.APPENDIX_B)
    night.minutes(2, [60.0, 60.0])
    night.watch.turn(MeatPhase.COOLING, night.now)
    night.minutes(1, [56.0, 56.0])
    assert math.isnan(night.look().cool_left_seconds), "130 °F is where Appendix B begins"
    night.minutes(1, [54.0, 54.0])
    assert night.look().cool_left_seconds == 1.5 * 3600.0
    assert night.look().cooling == "USDA FSIS Appendix B"
    night.minutes(60, [26.0, 26.0])
    assert night.view().cool_due_unix == night.now - 59 * 60.0 + 5 * 3600.0
    night.watch = night.watch.again(PIECE, plan_of(PIECE))
    assert night.watch.view(night.now).cool_due_unix == night.now - 61 * 60.0 + 2 * 3600.0, "since it passed 135 °F"
    assert night.watch.view(night.now).cooling == "food-code"


def test_steps_that_are_done_are_told_as_done_and_are_not_to_come():
    night = Night(msgspec.structs.replace(PIECE, serve_day_seconds=13 * 3600.0), air=(30.0, 30.0))
    night.minutes(1, [4.0, 4.0])
    assert next(iter(dict(night.view().plan))) == "light the fire"
    night.air = [110.0, 110.0]
    night.minutes(1, [4.0, 4.0])
    assert list(dict(night.view().plan)) == ["on", "wrap", "rest", "serve"], "the pit is hot"
    on = night.now
    night.watch.turn(MeatPhase.COOKING, on)
    night.minutes(30, [70.0, 70.0])
    wrapped = night.now
    night.watch.turn(MeatPhase.WRAPPED, wrapped)
    view = night.view()
    assert view.did == (("on", on), ("wrapped", wrapped))
    assert list(dict(view.plan)) == ["rest", "serve"]
    night.minutes(10, [95.0, 95.0])
    night.watch.turn(MeatPhase.RESTING, night.now)
    assert night.view().did[-1] == ("off the fire", night.now)
    night.watch.turn(MeatPhase.COOKING, night.now)
    assert night.view().did == (("on", on),), "back on, and unwrapped"


def test_what_its_probe_showed_while_the_rise_was_waited_for_counts():
    night = Night()
    night.minutes(5, [20.0, 20.0])
    for k in range(45):
        night.minutes(1, [20.0 + 0.1 * k, 20.0])
    assert night.watch.phase is MeatPhase.COOKING
    since = night.now - night.watch.on_unix
    assert night.view().parts[0].danger_seconds == since > 15 * 60.0


def test_a_new_probe_in_a_piece_does_not_set_its_clock_back():
    night = cooking()
    night.minutes(60, [30.0, 30.0])
    changed = msgspec.structs.replace(PIECE, parts=(Part("flat", "flat tip"),))
    night.watch = night.watch.again(
        msgspec.structs.replace(changed, parts=(Part("flat", "point tip"),)), plan_of(PIECE)
    )
    assert night.watch.look(night.now).come_up_seconds == 3600.0
    other = msgspec.structs.replace(PIECE, parts=(Part("flat", "p0"),))
    night.watch = night.watch.again(other, plan_of(PIECE))
    assert night.watch.look(night.now).come_up_seconds == 3600.0


def test_a_phase_told_twice_is_no_news():
    night = cooking()
    night.minutes(30, [30.0, 30.0])
    since = night.watch.since_unix
    night.watch.turn(MeatPhase.COOKING, night.now)
    assert night.watch.since_unix == since


def test_before_it_is_on_the_plan_goes_back_by_rule_of_thumb():
    night = Night(msgspec.structs.replace(PIECE, serve_day_seconds=13 * 3600.0))
    steps = dict(night.view().plan)
    assert list(steps) == ["light the fire", "on", "wrap", "rest", "serve"]
    assert steps["serve"] % 86_400 == 13 * 3600.0
    assert steps["serve"] - steps["rest"] == 3600.0
    assert (steps["rest"] - steps["on"]) / 3600.0 == pytest.approx(1.25 * 6.0 / 0.45359237)
    assert night.view().late_seconds == pytest.approx(night.now - steps["on"])
    assert night.now + 4 * 3600.0 <= steps["serve"] <= night.now + 28 * 3600.0


def test_a_piece_described_anew_keeps_what_is_known_of_its_parts():
    night = cooking()
    night.minutes(30, [30.0, 30.0])
    changed = msgspec.structs.replace(PIECE, parts=(Part("flat", "flat tip", 76.0, 96.0), PIECE.parts[1]))
    night.watch = night.watch.again(changed, plan_of(changed))
    view = night.watch.view(night.now)
    assert [p.danger_seconds for p in view.parts] == [1800.0, 1800.0]
    assert view.parts[0].done_celsius == 96.0
    assert (view.phase, view.on_unix) == (MeatPhase.COOKING, night.watch.on_unix)


class Cook:
    """The same through the engine, where alarms, actions and marks are."""

    def __init__(self, piece=PIECE):
        self.engine = Engine(plan_of(piece), "n", START)
        self.now = START
        self.events = []

    def minutes(self, count, flat, point, grate=110.0):
        for _ in range(12 * count):
            self.now += 5.0
            for k in range(6):
                value = grate + k + 0.3 * math.sin(self.now / 40 + k)
                self.events += self.engine.take(Reading("s", f"p{k}", value, self.now), self.now)[1]
            for key, value in (("flat", flat), ("point", point)):
                told = value + 0.2 * math.sin(self.now / 300)
                self.events += self.engine.take(Reading("s", key, told, self.now), self.now)[1]

    def act(self, kind, subject="brisket", text=""):
        self.events += self.engine.act(Action(kind, subject, text=text), self.now)

    def standing(self):
        return {a.key: a.state for a in self.engine.snapshot().alarms if a.rule not in ("drift", "spread", "cold-spot")}


def test_alarms_of_the_meat_through_the_engine():
    cook = Cook()
    cook.minutes(10, 4.0, 4.0)
    cook.act(ActionKind.MEAT_PHASE, text="cooking")
    for celsius in range(8, 78, 4):
        cook.minutes(1, float(celsius), float(celsius))
    assert cook.standing() == {}
    cook.minutes(5, 77.0, 77.0)
    assert cook.standing() == {"wrap-ready/brisket": AlarmState.UNACKNOWLEDGED}
    cook.act(ActionKind.MARK, "wrap")
    cook.minutes(6, 76.0, 77.0)
    assert cook.engine.snapshot().meat[0].phase == "wrapped"
    assert cook.standing() == {"wrap-ready/brisket": AlarmState.RETURNED}
    titles = [t.title for t in cook.engine.troubles()]
    assert "the brisket is at its wrap temperature" in titles


@pytest.mark.parametrize(
    ("phase", "half_hours", "expected"),
    [
        ("cooking", 9, set()),
        ("cooking", 11, {"slow-come-up/brisket"}),
        ("cooking", 13, {"slow-come-up/brisket", "come-up-over/brisket"}),
        ("resting", 7, {"danger-soon/brisket"}),
        ("resting", 9, {"danger-soon/brisket", "danger-over/brisket"}),
    ],
)
def test_meat_that_comes_up_slowly_and_meat_left_off_the_fire_each_have_a_rule(phase, half_hours, expected):
    cook = Cook(msgspec.structs.replace(PIECE, intact=True))
    cook.minutes(2, 4.0, 4.0)
    cook.act(ActionKind.MEAT_PHASE, text=phase)
    for _ in range(half_hours):
        cook.engine.advance(cook.now)
        cook.minutes(1, 30.0, 30.0)
        cook.now += 29 * 60.0
    cook.minutes(1, 30.0, 30.0)
    rules = ("danger-soon", "danger-over", "slow-come-up", "come-up-over")
    assert {a.key for a in cook.engine.snapshot().alarms if a.rule in rules} == expected


def test_a_piece_may_be_added_to_a_running_cook_and_watched():
    cook = Cook(PIECE)
    added = Piece("second", parts=(Part("middle", "point tip", None, 90.0),))
    cook.act(ActionKind.MEAT, "second", msgspec.json.encode(added).decode())
    assert [m.name for m in cook.engine.snapshot().meat] == ["brisket", "second"]
    assert "hold-floor/second" in {r.key for r in cook.engine.rules()}
    cook.act(ActionKind.MEAT_PHASE, "second", "holding")
    cook.minutes(8, 20.0, 50.0)
    assert cook.standing() == {"hold-floor/second": AlarmState.UNACKNOWLEDGED}
    with pytest.raises(KeyError):
        cook.act(ActionKind.MEAT_PHASE, "third", "holding")


SECOND = Piece("second", parts=(Part("middle", "point tip", None, 90.0),))


def added_after(*stretches):
    """Cook through stretches of minutes and of what the point's probe shows, with no piece in it; then add one."""
    cook = Cook()
    cook.act(ActionKind.MEAT_PHASE, text="off")
    for minutes, celsius, grate in stretches:
        cook.minutes(minutes, 110.0, celsius, grate)
    cook.act(ActionKind.MEAT, "second", msgspec.json.encode(SECOND).decode())
    (piece,) = [m for m in cook.engine.snapshot().meat if m.name == "second"]
    return cook, piece, cook.events[-1].text


def test_a_piece_that_is_added_late_has_what_its_probe_showed():
    cook, piece, said = added_after((5, 10.0, 110.0), *((2, 10.0 + 0.5 * k, 110.0) for k in range(35)))
    assert piece.phase == "cooking"
    assert cook.now - piece.on_unix > 60 * 60.0
    assert piece.parts[0].danger_seconds == pytest.approx(cook.now - START, abs=121.0), "the cold minutes before too"
    assert "by its probe it is on for 1 h" in said
    again = msgspec.structs.replace(SECOND, parts=(Part("middle", "point tip", None, 92.0),))
    cook.act(ActionKind.MEAT, "second", msgspec.json.encode(again).decode())
    assert cook.engine.snapshot().meat[1].parts[0].danger_seconds == piece.parts[0].danger_seconds
    cook.act(ActionKind.MEAT_PHASE, "second", "not on yet")
    cook.act(ActionKind.MEAT_PHASE, "second", "cooking")
    assert cook.engine.snapshot().meat[1].parts[0].danger_seconds == 0.0, "the cook knows that it was not on"


def test_a_probe_that_hung_in_the_pit_gives_its_piece_no_past():
    cook, piece, said = added_after((20, 30.0, 110.0), (10, 109.0, 110.0), (3, 8.0, 110.0))
    assert (piece.phase, piece.parts[0].danger_seconds) == ("not on yet", 0.0)
    assert "shown what can be meat for" in said
    cook, piece, said = added_after((20, 30.0, 110.0), (10, 109.0, 110.0))
    assert said == "second: added"
    cook.minutes(2, 110.0, 8.0)
    cook.act(ActionKind.MEAT_PHASE, "second", "cooking")
    assert cook.engine.snapshot().meat[1].parts[0].danger_seconds == 0.0


def test_what_lay_in_a_cold_pit_counts_once_it_is_on():
    cook, piece, said = added_after((30, 20.0, 20.0))
    assert piece.phase == "not on yet"
    assert "counts that once it is on" in said
    cook.act(ActionKind.MEAT_PHASE, "second", "cooking")
    assert cook.engine.snapshot().meat[1].parts[0].danger_seconds == pytest.approx(1800.0, abs=121.0)


def test_a_probe_of_meat_that_was_put_away_begins_anew():
    cook = Cook()
    cook.minutes(30, 30.0, 30.0)
    cook.act(ActionKind.MEAT_PHASE, text="off")
    cook.act(ActionKind.MEAT, "second", msgspec.json.encode(SECOND).decode())
    assert cook.events[-1].text == "second: added"
    cook.act(ActionKind.MEAT_PHASE, "second", "resting")
    assert cook.engine.snapshot().meat[1].parts[0].danger_seconds == 0.0


def test_a_piece_under_a_new_name_takes_what_was_said_of_the_old_one():
    renamed = msgspec.structs.replace(PIECE, name="packer", was=("brisket",))
    cook = Cook(renamed)
    cook.act(ActionKind.MEAT_PHASE, "brisket", "wrapped")
    changed = msgspec.structs.replace(PIECE, mass_kg=7.0)
    cook.act(ActionKind.MEAT, "brisket", msgspec.json.encode(changed).decode())
    (piece,) = cook.engine.snapshot().meat
    assert (piece.name, piece.phase, piece.mass_kg) == ("packer", "wrapped", 7.0)
    other = msgspec.structs.replace(SECOND, name="brisket")
    cook.act(ActionKind.MEAT, "brisket", msgspec.json.encode(other).decode())
    assert len(cook.engine.snapshot().meat) == 2, "another piece of that name is another piece"


def test_rules_of_a_piece_tell_its_own_limits():
    cook = Cook()
    cook.minutes(2, 20.0, 20.0)
    own = {r.rule: r.own_celsius for r in cook.engine.rules() if r.subject == "brisket"}
    assert own["wrap-ready"] == (73.9,)
    assert own["done"] == (95.0,)
    assert own["hold-floor"] == pytest.approx((57.22,), abs=0.01)
    assert own["slipping"] == ()


def test_readings_by_hand_are_kept_where_they_were_taken():
    cook = Cook()
    for spot in (Spot("spot", "flat, thin end", 71.5, 1.0, 0.2), Spot("bread", "flat side", 4.0)):
        cook.act(ActionKind.SPOT, spot.where, msgspec.json.encode(spot).decode())
    shown = cook.engine.snapshot()
    assert [(s.kind, s.where, s.value, s.x_m) for s in shown.spots] == [
        ("spot", "flat, thin end", 71.5, 1.0), ("bread", "flat side", 4.0, None),
    ]  # fmt: skip
    assert [m.kind for m in shown.marks if m.kind in ("spot", "bread")] == ["spot", "bread"]


def test_the_plan_with_its_meat_comes_back_from_the_record():
    plan = plan_of(PIECE)
    again = msgspec.json.decode(msgspec.json.encode(plan.meat), type=tuple[Piece, ...])
    assert again == plan.meat
