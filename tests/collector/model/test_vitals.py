"""A battery that runs low is told, once, and again after it was changed."""

from adapters.reading import Reading
from collector.engine import Engine
from collector.model.alarm import Transition
from collector.model.vitals import DeviceVitals
from collector.snapshot import AlarmState
from tui.nights import night_settings

PLAN = night_settings().plan
SOURCE = PLAN.probes[0].source
START = 1_790_000_000.0


def alarms(engine):
    return {a.key: (a.state, a.value, a.limit, a.unit) for a in engine.snapshot().alarms if a.rule == "battery-low"}


def test_a_low_battery_is_an_alarm_and_a_full_one_ends_it():
    engine, events = Engine(PLAN, "n", START), []
    for minute, percent in enumerate([60.0] * 3 + [14.6] * 4 + [18.0] * 3 + [97.0] * 3):
        at = START + 60.0 * minute
        events += engine.note(DeviceVitals(SOURCE, -70, percent, 12.0), at)
        events += engine.advance(at + 59.0)
        if minute == 6:
            assert alarms(engine) == {f"battery-low/{SOURCE}": (AlarmState.UNACKNOWLEDGED, 14.6, 15.0, "percent")}
        if minute == 9:
            assert alarms(engine), "18 % is within the deadband"
    steps = [(e.before, e.after) for e in events if isinstance(e, Transition) and e.key.startswith("battery-low")]
    assert steps == [
        (AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED),
        (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED),
    ]


def test_one_low_packet_is_no_alarm_and_no_battery_is_none():
    engine = Engine(PLAN, "n", START)
    engine.note(DeviceVitals(SOURCE, -70, 3.0, 12.0), START)
    engine.note(DeviceVitals(SOURCE, -70, 80.0, 12.0), START + 60)
    engine.note(DeviceVitals(SOURCE, None, None, 0.0), START + 120)
    engine.note(DeviceVitals("a source without a probe", None, 1.0, 0.0), START + 121)
    engine.advance(START + 1200)
    assert not alarms(engine)


def test_readings_and_vitals_do_not_disturb_each_other():
    told, plain = Engine(PLAN, "n", START), Engine(PLAN, "n", START)
    for k in range(300):
        reading = Reading(SOURCE, PLAN.probes[0].key, 107.0 + k % 3, START + 4.0 * k)
        told.take(reading, reading.received_unix)
        plain.take(reading, reading.received_unix)
        told.note(DeviceVitals(SOURCE, -60, 90.0, 15.0), reading.received_unix)
    assert repr(told.snapshot()) == repr(plain.snapshot())
