"""Bluetooth in the config: every mistake told with its place, and what comes of a good one."""

from pathlib import Path

import pytest

from adapters.ble.source import BleSource
from collector.errors import SettingsError
from collector.settings.load import parse
from collector.sources import build_sources
from tui.commands.init import TEMPLATE

CHAMBER = TEMPLATE[: TEMPLATE.index("# Where readings come from")]
PIT = (
    CHAMBER
    + """
[[source]]
name = "grate box"
kind = "ble"
address = "C0:1D:51:DE:00:01"
layout = "four tips"

[[source]]
name = "meat"
kind = "ble"
device = "meat*"
bind_key_file = "meat.key"

[layout."four tips"]
source = "service_data"
uuid = "fff0"
length = [9, 12]
require = [{ at = 0, value = 0x10, mask = 0xF0 }]

[[layout."four tips".value]]
names = ["left", "right", "dome", "stack"]
at = 1
type = "sint16"
exponent = -1
unit = "degF"
absent = [0x7FFF]
repeat = 4

[[probe]]
name = "fire end"
source = "grate box"
key = "left"
x = 6
y = 10

[[probe]]
name = "flat"
source = "meat"
duty = "meat"
"""
)


@pytest.fixture
def folder(tmp_path):
    key = tmp_path / "meat.key"
    key.write_text("231d39c1d7cc1ab1aee224cd096db932\n", encoding="utf-8")
    key.chmod(0o600)
    return tmp_path


def problems(text, folder):
    with pytest.raises(SettingsError) as caught:
        parse(text, folder / "pit.toml")
    return {p.key: p for p in caught.value.problems}


async def test_a_good_one_becomes_sources_that_share_a_radio(folder):
    settings = parse(PIT, folder / "pit.toml")
    assert not settings.warnings
    first, second = build_sources(settings, lambda: 0.0, 0.0)
    assert isinstance(first, BleSource)
    assert isinstance(second, BleSource)
    assert first._radio is second._radio
    assert second._options.bind_key == bytes.fromhex("231d39c1d7cc1ab1aee224cd096db932")
    assert second._options.first_key == "flat"
    assert first._options.described.channels == ("left", "right", "dome", "stack")


@pytest.mark.parametrize(
    ("change", "key", "what"),
    [
        (('address = "C0:1D:51:DE:00:01"\n', ""), "source.1.address", "coldside scan"),
        (("C0:1D:51:DE:00:01", "C0:1D:51:DE:00"), "source.1.address", "six bytes"),
        (('layout = "four tips"', 'layout = "two tips"'), "source.1.layout", "there is four tips"),
        (('layout = "four tips"', 'layout = "four tips"\nread = "adverts"'), "source.1.read", "layout says"),
        (('layout = "four tips"', 'layout = "four tips"\nadapter = "hci1"'), "source.2.adapter", "all must"),
        (('device = "meat*"', 'device = "meat*"\nservice = "xyz"'), "source.2.service", "xyz"),
        (('device = "meat*"', 'device = "meat*"\ncompany = 70000'), "source.2.company", "65535"),
        (('"meat.key"', '"no.key"'), "source.2.bind_key_file", "not there"),
        (('key = "left"', 'key = "lift"'), "probe.1.key", "no channel 'lift'; there is left"),
        (('key = "left"\n', ""), "probe.1.key", "no channel 'fire end'"),
        (("exponent = -1", "exponant = -1"), "layout.four tips.value.1.exponant", 'did you mean "exponent"'),
        (('type = "sint16"', 'type = "int16"'), "layout.four tips.value.1.type", "int16"),
        (("repeat = 4", "repeat = 3"), "layout.four tips", "names"),
        (('uuid = "fff0"\n', ""), "layout.four tips", "uuid"),
        (('source = "service_data"', 'source = "manufacturer_data"'), "layout.four tips", "company"),
        (('unit = "degF"', 'unit = "ohm"'), "layout.four tips", "sensor"),
        (('unit = "degF"', 'unit = "ohm"\nsensor = { kind = "ntc", beta = 3950 }'), "layout.four tips", "ohms"),
        (('unit = "degF"', 'unit = "ohm"\nsensor = { kind = "pt100" }'),
         "layout.four tips.value.1.sensor.kind", 'allowed: "ntc"'),
        (('unit = "degF"', 'unit = "ohm"\nsensor = { beta = 3950 }'), "layout.four tips.value.1.sensor", "no kind"),
        (('unit = "degF"', 'unit = "ohm"\nsensor = 3'), "layout.four tips.value.1.sensor", "table"),
        (("[[source]]", "[bluetooth]\npassive = true\n[[source]]"), "source.2.read", "passive"),
        (("[[source]]", "[alarm.battery-low]\nlimit = \"3 K\"\n[[source]]"), "alarm.battery-low.limit", "percent"),
        (("[[source]]", "[alarm.drift]\npercent = 3\n[[source]]"), "alarm.drift.percent", "battery-low"),
    ],
)  # fmt: skip
def test_each_mistake_is_told_where_it_is(folder, change, key, what):
    found = problems(PIT.replace(*change, 1), folder)
    assert key in found, found
    assert what in found[key].what
    assert found[key].line > 0


def test_a_key_that_is_none_and_one_that_all_may_read(folder):
    key = folder / "meat.key"
    key.write_text("password", encoding="utf-8")
    assert "32 hexadecimal digits" in problems(PIT, folder)["source.2.bind_key_file"].what
    key.write_text("00" * 16, encoding="utf-8")
    key.chmod(0o644)
    assert "chmod 600" in problems(PIT, folder)["source.2.bind_key_file"].what


def test_the_battery_limit_is_set_in_percent(folder):
    text = PIT.replace("[[source]]", "[alarm.battery-low]\npercent = 30\n[[source]]", 1)
    assert parse(text, folder / "pit.toml").plan.rule("battery-low").limit == 30.0


def test_a_layout_nobody_uses_is_a_warning(folder):
    text = PIT.replace('layout = "four tips"\n', "", 1).replace('key = "left"\n', "", 1)
    assert parse(text, folder / "pit.toml").warnings == ("layout four tips is used by no source",)


def mqtt(subscription):
    at = TEMPLATE.index('payload = "number"')
    return TEMPLATE[:at] + subscription + "\n" + TEMPLATE[at + len('payload = "number"') :].replace('unit = "F"', "", 1)


async def test_an_electrical_value_may_come_over_mqtt():
    text = mqtt('payload = "json"\nvalue = "/uv"\nunit = "uV"\n'
                'sensor = { kind = "thermocouple", type = "K", cold_from = "/board" }')  # fmt: skip
    settings = parse(text, Path("pit.toml"))
    (source,) = build_sources(settings, lambda: 0.0, 0.0)
    (subscription,) = source._options.subscriptions
    (value,) = subscription.reader.read("pit/probe/3", b'{"uv": 4096, "board": 25.0}', 0.0)
    assert (value.key, value.celsius) == ("3", pytest.approx(124.310, abs=0.005)), "K, 4.096 mV, junction at 25 °C"
    (value,) = subscription.reader.read("pit/probe/3", b'{"uv": 1e9, "board": 25.0}', 0.0)
    assert value.reason.name == "OPEN_OR_SHORT"


@pytest.mark.parametrize(
    ("subscription", "what"),
    [
        ('payload = "number"\nunit = "ohm"', "needs a sensor"),
        ('payload = "number"\nunit = "C"\nsensor = { kind = "rtd" }', "needs a unit"),
        ('payload = "number"\nunit = "mV"\nsensor = { kind = "thermocouple", type = "K", cold_from = "/b" }', "JSON"),
        ('payload = "senml"\nunit = "ohm"\nsensor = { kind = "rtd" }', "written here"),
        ('payload = "number"\nunit = "mV"\nsensor = { kind = "rtd" }', "ohm"),
    ],
)
def test_a_sensor_over_mqtt_that_cannot_work_is_told(subscription, what):
    with pytest.raises(SettingsError, match=what):
        parse(mqtt(subscription), Path("pit.toml"))
