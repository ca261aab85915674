"""The config file: every mistake at once, with line, key and mend."""

import string
import tomllib
from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from textual.keys import Keys, _character_to_key

from collector.errors import SettingsError
from collector.model.plan import Rule
from collector.settings.check import mistakes
from collector.settings.display_keys import ACTIONS, NAMED, key_name
from collector.settings.load import load, parse
from collector.settings.mended import depends, mended
from collector.settings.places import key_lines
from collector.settings.quantity import QuantityError, parse_difference, parse_temperature
from collector.sources import playback_speed
from tui import actions
from tui.commands.init import TEMPLATE

GOOD = TEMPLATE


def problems(text):
    with pytest.raises(SettingsError) as caught:
        parse(text, Path("pit.toml"))
    return {p.key: p for p in caught.value.problems}


def test_the_template_is_a_good_config():
    plan = parse(GOOD, Path("pit.toml")).plan
    assert plan.target_celsius == pytest.approx(112.78, abs=0.01)
    assert plan.high_celsius - plan.target_celsius == pytest.approx(13.89, abs=0.01), "a band is a difference"
    assert plan.chamber.length_m == pytest.approx(48 * 0.0254)
    assert [p.name for p in plan.probes] == ["fire end", "middle", "flat", "stack end"]
    assert plan.probes[0].key == "1"


def test_a_tolerance_is_as_stated_else_of_its_class_else_1_kelvin():
    def flat(*lines):
        text = GOOD.replace('# tolerance = "1 F"       # how far off it may be', "\n".join(lines))
        return next(p for p in parse(text, Path("pit.toml")).plan.probes if p.name == "flat")

    of_class = 'tolerance_class = "IEC 60751 B"'
    assert flat().tolerance_kelvin == 1.0
    assert flat('tolerance = "1.8 F"', of_class).tolerance_kelvin == pytest.approx(1.0)
    limit = 0.3 + 0.005 * parse_temperature("235 F")
    assert flat(of_class).tolerance_kelvin == pytest.approx(limit / 3**0.5), "the limit taken as evenly spread"
    assert flat(of_class).tolerance_class == "IEC 60751 B"
    text = GOOD.replace('key = "2"', 'key = "2"\ntolerance_class = "IEC 60751 D"')
    assert 'did you mean "IEC 60751' in problems(text)["probe.2.tolerance_class"].what


def test_every_mistake_is_told_at_once_with_its_line():
    text = GOOD.replace("length = 48", "lenght = 48").replace('kind = "mqtt"', 'kind = "mqqt"')
    text = text.replace('name = "middle"', 'name = "middle"\nsorce = 3', 1)
    found = problems(text)
    lines = text.splitlines()
    assert "length" in found["chamber.lenght"].what
    assert lines[found["chamber.lenght"].line - 1].startswith("lenght")
    assert 'did you mean "mqtt"' in found["source.1.kind"].what
    assert 'did you mean "source"' in found["probe.2.sorce"].what
    assert lines[found["probe.2.sorce"].line - 1] == "sorce = 3"


@pytest.mark.parametrize(
    ("change", "key", "word"),
    [
        (('"235 F"', '"235"'), "cook.target", "number and its unit"),
        (('"25 F"', '"-25 F"'), "cook.band", "more than nothing"),
        (("x = 43", "x = 49"), "probe.4.x", "outside the chamber"),
        (('key = "2"', 'key = "1"'), "probe.2.key", "is what the probe 'fire end' reads"),
        (('name = "middle"', 'name = "flat"'), "probe.3.name", "the probe at number 2 is named so too"),
        (("x = [28, 48]", "x = [28, 64]"), "zone.3.x", "28 to 64 in; it must go from less to more, between 0 and 48"),
        (('source = "house"', 'source = "hose"'), "probe.1.source", "there is no source 'hose'; there is house"),
        (('"235 F"', '"2350 F"'), "cook.target", "150 F to 700 F"),
        (('"235 F"', '"113 K"'), "cook.target", "150 F to 700 F"),
        (("[chamber]", '[display.keys]\nshelf = "z"\n[chamber]'), "display.keys.shelf", "no such action"),
        (("[chamber]", '[display.keys]\nacknowlege = "z"\n[chamber]'), "display.keys.acknowlege",
         'did you mean "acknowledge"?'),
        (("[chamber]", '[display.keys]\nbed = "pgup"\n[chamber]'), "display.keys.bed", 'did you mean "pageup"?'),
        (("[chamber]", '[display.keys]\nbed = "q"\n[chamber]'), "display.keys.bed", "is the key of 'quit' already"),
        (("[chamber]", '[display.keys]\nbed = "ctrl+c"\n[chamber]'), "display.keys.bed", "key of 'quit' already"),
        (("[chamber]", '[display.keys]\nconfirm = "q"\n[chamber]'), "display.keys.confirm", "key of 'quit' already"),
        (("x = [28, 48]", "x = [28, 20]"), "zone.3.x", "from less to more"),
        (("width = 20", "width = 0"), "chamber.width", "> 0"),
        (("width = 20", "width = nan"), "chamber.width", "number"),
        (("width = 20", "width = inf"), "chamber.width", "number"),
        (('host = "localhost"', 'host = "localhost"\nuser = "x"\npassword_file = "nope"'),
         "source.1.password_file", "not there"),
        (('host = "localhost"', 'host = "localhost"\nuser = "x"\npassword_file = "."'),
         "source.1.password_file", "regular"),
        (('"235 F"', '"-300 C"'), "cook.target", "absolute zero"),
        (('x = 43', 'x = 43\ntolerance = "0 F"'), "probe.4.tolerance", "more than nothing"),
        (('x = 43', 'x = 43\noffset = "2"'), "probe.4.offset", "number and its unit"),
        (('x = 43', 'x = 43\ntarget = "F"'), "probe.4.target", "number and its unit"),
        (('x = 43', 'x = 43\nrange = ["0 C", "hot"]'), "probe.4.range", "number and its unit"),
        (('x = 43', 'x = 43\nrange = ["9 C", "0 C"]'), "probe.4.range", "below the second"),
        (('"pit/probe/+"', '"pit/#/probe"'), "source.1.subscribe.1.filter", "stands alone"),
        (('"level 3"', '"level three"'), "source.1.subscribe.1.key", "no place of a key"),
        (('"level 3"', '"/a~"'), "source.1.subscribe.1.key", "JSON Pointer"),
        (('"level 3"', '"/a"'), "source.1.subscribe.1.key", 'payload is "number"'),
        (('"level 3"', '"topic"\nvalue = "temperature"'), "source.1.subscribe.1.value", "JSON Pointer"),
        (('# availability', 'availability = [{ topic = "pit/+" }]#'), "source.1.availability.1.topic", "no topic"),
        (("[[source.subscribe]]", '[[source.subscribe]]\nfilter = "pit/+/1"\n[[source.subscribe]]'),
         "source.1.subscribe.2.filter", "one filter that covers both"),
        (("\n[[source]]", '\n[[source]]\nname = "old"\nkind = "recording"\nfile = "none.sensml"\n[[source]]'),
         "source.1.file", "not there"),
        (("[[zone]]", '[alarm.spread]\nlimit = "-5 F"\ndeadband = ""\n[[zone]]'),
         "alarm.spread.limit", "less than nothing"),
        (("[[zone]]", '[alarm.spread]\nlimit = "5 F"\ndeadband = ""\n[[zone]]'), "alarm.spread.deadband", "number and"),
        (("\n[[source]]", '\n[[source]]\nname = "r"\nkind = "rehearsal"\nseed = -1\n[[source]]'),
         "source.1.seed", ">= 0"),
        (('kind = "mqtt"', 'kind = ["x"]'), "source.1.kind", "no kind of source"),
        (('kind = "mqtt"', 'kind = {}'), "source.1.kind", "no kind of source"),
        (("width = 20", "width = 0x1" + "0" * 5000), "chamber.width", "number"),
        (('payload = "number"', "qos = 0x1" + "0" * 5000), "source.1.subscribe.1.qos", "digits"),
        (("[[zone]]", "[alarm.drift]\nshelve_at_most = 721\n[[zone]]"), "alarm.drift.shelve_at_most", "720"),
        (("[[zone]]", '[alarm.drift]\nlatch = "yes"\n[[zone]]'), "alarm.drift.latch", "true or false"),
        (('[[zone]]\nname = "firebox end"', '[alarm.drifft]\nlimit = "5 F"\n[[zone]]\nname = "firebox end"'),
         "alarm.drifft", "no such alarm"),
    ],
)  # fmt: skip
def test_what_does_not_hold_together_is_told(change, key, word):
    found = problems(GOOD.replace(change[0], change[1], 1))
    assert key in found, found
    assert word in found[key].what


def test_a_mistake_of_shape_hides_no_mistake_of_meaning():
    text = GOOD.replace('"235 F"', '"235"').replace('unit = "in"', 'unit = "ft"').replace('"pit/probe/+"', '"pit+"')
    text += '\n[alarm.drift]\ndeadband = "much"\n'
    assert set(problems(text)) == {"cook.target", "chamber.unit", "source.1.subscribe.1.filter", "alarm.drift.deadband"}


def test_mistakes_of_both_kinds_are_told_at_once():
    text = GOOD.replace("x = 43", "x = 49").replace("width = 20", 'width = "wide"')
    text += '\n[alarm.cold-spot]\nagainst = "nonsense"\nlimit = "15"\n[alarm.hot-spot]\nlimit = "9 F"\n'
    text += '[display.keys]\nbed = "q"\n[[zone]]\nx = [3, 2]\ny = [0, 900]\n'
    found = problems(text)
    assert set(found) == {
        "chamber.width", "probe.4.x", "alarm.cold-spot.against", "alarm.cold-spot.limit", "alarm.hot-spot",
        "display.keys.bed", "zone.4.name", "zone.4.x",
    }, found  # fmt: skip
    assert found["alarm.hot-spot"].what.startswith("there is no such alarm")


@pytest.mark.parametrize("table", ["source", "probe", "zone", "chamber", "cook", "layout", "alarm"])
@pytest.mark.parametrize("value", ["3", "[]", "[3]", "[{}]", "{}", "{a = 3}", '{a = {kind = "ble"}}'])
def test_a_table_that_is_none_leads_to_no_mistake_that_is_not_there(table, value):
    document = tomllib.loads(GOOD)
    document[table] = tomllib.loads(f"v = {value}")["v"]
    first = [where for where, _ in mistakes(document)]
    config = mended(document, mistakes(document)) if first else None
    assert (config is not None) is bool(first)
    for where in first:
        assert depends(where, first)


def test_what_names_a_broken_table_is_not_called_wrong():
    text = GOOD.replace('name = "house"', 'name = ""', 1).replace('payload = "number"', 'payload = "numbers"')
    assert set(problems(text)) == {"source.1.name", "source.1.subscribe.1.payload"}


def test_keys_may_change_places_and_be_several():
    keys = '[display.keys]\nacknowledge = "q"\nquit = "ctrl+k, ?"\nhelp = "f12"\nremove = "x"\n'
    assert parse(GOOD + keys, Path("p")).config.display.keys["quit"] == "ctrl+k, ?"


def test_the_actions_and_keys_are_those_of_the_dashboard():
    assert {(a.id, a.key, a.place) for a in actions.ACTIONS} == set(ACTIONS)
    assert all(key_name(c) == _character_to_key(c) for c in string.printable.strip())
    assert set(NAMED) <= {key.value for key in Keys}


def test_what_is_allowed_but_unwise_is_told():
    text = GOOD.replace("x = 43", 'x = 34\ntolerance = "2 F"\ntolerance_class = "IEC 60751 B"')
    told = parse(text, Path("p")).warnings
    assert told[0].startswith("probe stack end: tolerance and tolerance_class are both given; 2 F counts")
    assert told[1].startswith("probes flat and stack end are in the same place of the grate")
    assert len(told) == 2


def test_filters_that_cover_each_other_are_allowed():
    wider = '[[source.subscribe]]\nfilter = "pit/#"\n[[source.subscribe]]'
    parse(GOOD.replace("[[source.subscribe]]", wider, 1), Path("p"))


def test_a_password_may_come_from_the_service_manager(tmp_path, monkeypatch):
    text = GOOD.replace('host = "localhost"', 'host = "localhost"\nuser = "x"\npassword_file = "broker"')
    assert "source.1.password_file" in problems(text)
    (tmp_path / "broker").write_text("secret")
    (tmp_path / "broker").chmod(0o600)
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))
    assert parse(text, Path("p")).warnings == ()


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("a = " + "[" * 100_000, "deep"),
        ("a = " + "{b=" * 100_000, "deep"),
        ("a = 1" + "0" * 5000, "digits"),
        ("a" + ".a" * 3000 + " = 1", "unknown key"),
    ],
)
def test_what_the_parser_chokes_on_is_told(text, word):
    with pytest.raises(SettingsError, match=word):
        parse(text, Path("p"))


def test_a_byte_order_mark_is_no_mistake(tmp_path):
    (tmp_path / "pit.toml").write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert load(tmp_path / "pit.toml").config == parse(GOOD, Path("p")).config


def test_not_toml_and_not_there(tmp_path):
    with pytest.raises(SettingsError) as caught:
        parse("[chamber\nx = 1", Path("p"))
    assert caught.value.problems[0].line == 1
    with pytest.raises(SettingsError):
        load(tmp_path / "none.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingsError, match="UTF-8"):
        load(tmp_path / "bytes.toml")


def test_alarm_tables_change_the_rules():
    text = GOOD + '\n[alarm.cold-spot]\nlimit = "20 F"\non_delay = 300\npriority = 2\n[alarm.spread]\nenabled = false\n'
    plan = parse(text, Path("p")).plan
    assert plan.rule("cold-spot").limit == pytest.approx(11.11, abs=0.01)
    assert plan.rule("cold-spot").on_delay_seconds == 300
    assert not plan.rule("spread").enabled


def test_an_alarm_may_latch_and_be_shelved_for_less_than_twelve_hours():
    plan = parse(GOOD + "\n[alarm.drift]\nlatch = true\nshelve_at_most = 90\n", Path("p")).plan
    assert (plan.rule("drift").latch, plan.rule("drift").shelve_at_most_seconds) == (True, 5400.0)
    assert (plan.rule("spread").latch, plan.rule("spread").shelve_at_most_seconds) == (False, 43200.0)
    stored = msgspec.json.decode(msgspec.json.encode(plan.rule("drift")))
    del stored["latch"], stored["shelve_at_most_seconds"]
    again = msgspec.convert(stored, Rule, strict=False)
    assert (again.latch, again.shelve_at_most_seconds) == (False, 43200.0), "an older cook's plan lacks them"


def test_sources_of_different_speed_are_refused():
    extra = '\n[[source]]\nname = "r"\nkind = "rehearsal"\nspeed = 10\n'
    with pytest.raises(SettingsError, match="different speeds"):
        playback_speed(parse(GOOD.replace("# Where each probe", extra + "# Where each probe"), Path("p")))


@given(st.floats(-400, 1000), st.sampled_from("CFK"))
def test_quantities(value, unit):
    text = f"{value:.3f} {unit}"
    assert parse_difference(text) == pytest.approx(round(value, 3) / (1.8 if unit == "F" else 1), abs=1e-6)
    if value < {"C": -273.14, "F": -459.66, "K": 0.01}[unit]:
        return
    back = parse_temperature(text)
    again = {"C": back, "F": back * 1.8 + 32, "K": back + 273.15}[unit]
    assert again == pytest.approx(round(value, 3), abs=1e-6)


@pytest.mark.parametrize("text", ["", "235", "F", "1e400 F", "235 X", "nan C", "2 3 F", "-1 K", "-460 F", "-273.2 C"])
def test_what_is_no_quantity(text):
    with pytest.raises(QuantityError):
        parse_temperature(text)


@given(st.text(alphabet="ab[]{}=.#\"'\n ,1", max_size=120))
@settings(max_examples=300, deadline=None)
def test_the_line_finder_takes_any_text_that_the_parser_takes(text):
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert all(1 <= line <= text.count("\n") + 1 for line in key_lines(text).values())


def test_the_line_finder_sees_through_values_over_several_lines():
    text = 'a = """\nb = 1\n"""\nc = [\n  1, # ]\n  2,\n]\n[[t]]\nd = {e = 1}\n[[t]]\n"d" = 2\n'
    lines = key_lines(text)
    assert (lines["a",], lines["c",]) == (1, 4)
    assert ("b",) not in lines
    assert (lines["t", 0, "d"], lines["t", 1, "d"]) == (9, 11)


@pytest.mark.parametrize("bad", ["hot", "", "203"])
def test_a_target_of_a_part_that_is_no_temperature_is_a_mistake_with_its_line(pit_config, tmp_path, bad):
    text = pit_config(1883) + '[[probe]]\nname = "tip"\nsource = "house"\nduty = "meat"\n'
    text += f'[[meat]]\nname = "brisket"\n[meat.part.flat]\nprobe = "tip"\ndone = "{bad}"\n'
    with pytest.raises(SettingsError) as raised:
        parse(text, tmp_path / "c.toml")
    (problem,) = raised.value.problems
    assert problem.key == "meat.1.part.flat.done"
    assert problem.line == text.count("\n")


@pytest.mark.parametrize("name", ["a\\u0007bell", "an \\u202e override", "a\\ttab", "two\\nlines", "\\u001b[2J"])
def test_a_name_that_cannot_be_printed_is_a_mistake_with_its_line(pit_config, tmp_path, name):
    text = pit_config(1883).replace('name = "flat side"', f'name = "{name}"')
    with pytest.raises(SettingsError) as raised:
        parse(text, tmp_path / "c.toml")
    assert [problem.key for problem in raised.value.problems] == ["zone.1.name"]
    assert str(raised.value).replace("\n", "").isprintable()
