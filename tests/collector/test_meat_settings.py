"""Pieces of meat in the config: what they come to, and every mistake in them."""

import datetime as dt
import time

import pytest

from collector.errors import SettingsError
from collector.model.meat.cooling import CoolingRule
from collector.model.meat.piece import Cut, Piece, Species
from collector.settings.load import parse
from collector.settings.meat import time_to_serve
from collector.settings.quantity import QuantityError, parse_mass, parse_time_of_day

MEAT = """
[[probe]]
name = "flat tip"
source = "house"
duty = "meat"
x = 90
y = 25
[[probe]]
name = "point tip"
source = "house"
duty = "meat"
[[meat]]
name = "brisket"
mass = "13 lb"
intact = true
x = [30, 100]
y = [10, 40]
wrap = "165 F"
done = "203 F"
serve = "13:00"
[meat.part.flat]
probe = "flat tip"
[meat.part.point]
probe = "point tip"
done = "205 F"
"""


@pytest.fixture
def read(pit_config, tmp_path):
    return lambda text=MEAT: parse(pit_config(1883) + text, tmp_path / "pit.toml")


def mistakes(read, text):
    with pytest.raises(SettingsError) as told:
        read(text)
    return {p.key: (p.what, p.line) for p in told.value.problems}


def test_a_piece_as_the_plan_has_it(read):
    settings = read()
    (piece,) = settings.plan.meat
    assert (piece.name, piece.cut, piece.species, piece.intact) == ("brisket", Cut.BRISKET, Species.BEEF, True)
    assert piece.mass_kg == pytest.approx(5.897, abs=1e-3)
    assert piece.place == pytest.approx((0.3, 1.0, 0.1, 0.4))
    assert [(p.name, p.probe) for p in piece.parts] == [("flat", "flat tip"), ("point", "point tip")]
    assert [round(p.done_celsius, 1) for p in piece.parts] == [95.0, 96.1]
    assert [round(p.wrap_celsius, 1) for p in piece.parts] == [73.9, 73.9]
    assert piece.rest_seconds == 3600.0
    (warning,) = settings.warnings
    assert warning == "meat brisket: a probe pierces it, so it is not intact: its safety clocks count all the same"


def test_the_time_to_serve_is_the_next_one_that_a_cook_can_make(read):
    (piece,) = read().plan.meat
    day = piece.serve_day_seconds
    on = 20_000 * 86_400.0 + day - 3 * 3600.0
    assert piece.serve_unix(on) == on + 27 * 3600.0, "three hours on are too few, so it is tomorrow"
    assert piece.serve_unix(on - 3600.0) == on + 3 * 3600.0


@pytest.fixture
def in_zone(monkeypatch):
    """Live by the clocks of a zone."""

    def go(name):
        monkeypatch.setenv("TZ", name)
        time.tzset()

    yield go
    monkeypatch.undo()
    time.tzset()


def local(*fields):
    return dt.datetime(*fields).astimezone()


@pytest.mark.parametrize("eve", [(2026, 3, 28), (2026, 10, 24), (2026, 7, 4)])
def test_a_time_to_serve_is_the_clocks_on_either_side_of_a_change(in_zone, eve):
    in_zone("CET-1CEST,M3.5.0,M10.5.0/3")
    on = local(*eve, 21, 0)
    day, change = time_to_serve(13 * 60, on)
    piece = Piece("brisket", serve_day_seconds=day, clocks_change=change)
    noon = local(*eve, 13, 0) + dt.timedelta(days=1)
    expected = dt.datetime(noon.year, noon.month, noon.day, 13).astimezone().timestamp()
    assert piece.serve_unix(on.timestamp()) == expected
    assert piece.serve_unix(expected - 4 * 3600.0) == expected, "four hours are just enough"
    assert dt.datetime.fromtimestamp(piece.serve_unix(expected), dt.UTC).astimezone().hour == 13


def test_a_place_whose_clocks_are_never_changed_has_no_change(in_zone):
    in_zone("UTC0")
    assert time_to_serve(60, local(2026, 3, 1)) == (3600.0, None)


def test_whose_limits_it_is_cooled_by(read):
    assert read().plan.meat[0].cooling is CoolingRule.FOOD_CODE
    told = read(MEAT.replace("intact = true", 'intact = true\ncooling = "appendix-b"'))
    assert told.plan.meat[0].cooling is CoolingRule.APPENDIX_B
    assert "appendix-b" in mistakes(read, MEAT.replace("intact = true", 'cooling = "ice"'))["meat.1.cooling"][0]


@pytest.mark.parametrize(
    ("change", "key", "word"),
    [
        (('probe = "flat tip"', 'probe = "nobody"'), "meat.1.part.flat.probe", "no probe 'nobody' with duty"),
        (('probe = "point tip"', 'probe = "flat tip"'), "meat.1.part.point.probe", "in the brisket flat already"),
        (('probe = "flat tip"', 'probe = "p0"'), "meat.1.part.flat.probe", "there is flat tip, point tip"),
        (('mass = "13 lb"', 'mass = "13"'), "meat.1.mass", '"13 lb" or "6 kg"'),
        (('done = "203 F"', 'done = "300 F"'), "meat.1.done", "113 F to 221 F"),
        (('done = "205 F"', 'done = "20 C"'), "meat.1.part.point.done", "113 F to 221 F"),
        (("x = [30, 100]", "x = [30, 130]"), "meat.1.x", "between 0 and 120"),
        (("x = [30, 100]", ""), "meat.1.x", "go together"),
        (('serve = "13:00"', 'serve = "25:00"'), "meat.1.serve", "no time of day"),
        (("[meat.part.flat]", '[[meat]]\nname = "brisket"\n[meat.part.flat]'), "meat.1.part", "missing"),
        (("intact = true", "intact = true\nhold = 57"), "meat.1.hold", "text"),
        (("intact = true", 'intact = true\nhold = "500 F"'), "meat.1", "to hold meat at"),
        (('done = "203 F"', 'done = "150 F"'), "meat.1", "done before it is wrapped"),
    ],
)  # fmt: skip
def test_each_mistake_is_told_where_it_is(read, change, key, word):
    found = mistakes(read, MEAT.replace(*change, 1))
    assert key in found, found
    assert word in found[key][0]
    assert found[key][1] > 0


def test_what_is_unwise_is_warned_of(read):
    cold = read(MEAT.replace('serve = "13:00"', 'hold = "130 F"')).warnings
    assert any("FDA Food Code" in warning for warning in cold)
    assert read(MEAT.replace("intact = true\n", "")).warnings == ()


TURKEY = MEAT.replace("intact = true", 'cut = "other"').replace('"205 F"', '"175 F"').replace('"203 F"', '"175 F"')


def test_a_turkey_is_not_taken_for_beef(read):
    settings = read(TURKEY)
    assert settings.plan.meat[0].species is Species.UNKNOWN
    assert any("say whose meat it is with its species" in warning for warning in settings.warnings)
    named = read(TURKEY.replace('cut = "other"', 'cut = "other"\nspecies = "poultry"'))
    assert named.warnings == ()


@pytest.mark.parametrize("species", ['species = "poultry"', ""])
def test_poultry_that_is_called_done_below_165_is_warned_of(read, species):
    """USDA FSIS, Safe Minimum Internal Temperature Chart: all poultry 165 °F."""
    chicken = TURKEY.replace('"175 F"', '"140 F"').replace('wrap = "165 F"\n', "")
    warnings = read(chicken.replace('cut = "other"', f'cut = "other"\n{species}')).warnings
    assert any("flat is called done at 140 °F (60 °C), below 165 °F (74 °C)" in warning for warning in warnings)


def test_alarms_of_the_meat_are_set_by_minutes(read):
    plan = read(MEAT + "[alarm.stall-long]\nminutes = 400\n[alarm.wrap-ready]\nenabled = false\n").plan
    assert plan.rule("stall-long").limit == 24_000.0
    assert not plan.rule("wrap-ready").enabled
    assert "minutes" in mistakes(read, MEAT + '[alarm.slipping]\nlimit = "5 F"\n')["alarm.slipping.limit"][0]
    assert "hold" in mistakes(read, MEAT + '[alarm.hold-floor]\nlimit = "5 F"\n')["alarm.hold-floor.limit"][0]
    assert "slipping" in mistakes(read, MEAT + "[alarm.drift]\nminutes = 3\n")["alarm.drift.minutes"][0]


@pytest.mark.parametrize(("text", "kg"), [("13 lb", 5.8967), ("6 kg", 6.0), ("7.5lbs", 3.4019)])
def test_a_mass(text, kg):
    assert parse_mass(text) == pytest.approx(kg, abs=1e-4)


@pytest.mark.parametrize("text", ["13", "0 kg", "900 kg", "six kg", "-3 kg", "1e9 kg", ""])
def test_no_mass(text):
    with pytest.raises(QuantityError, match="13 lb"):
        parse_mass(text)


@pytest.mark.parametrize(("text", "minutes"), [("13:00", 780), ("0:05", 5), (" 23:59 ", 1439)])
def test_a_time_of_day(text, minutes):
    assert parse_time_of_day(text) == minutes


@pytest.mark.parametrize("text", ["24:00", "1pm", "13", "13:60"])
def test_no_time_of_day(text):
    with pytest.raises(QuantityError, match="13:00"):
        parse_time_of_day(text)
