"""The life of an alarm against OPC UA Part 9, Table B.1 (data/opcua_part9_b1.json), confirmation left out.

The table confirms as well as acknowledges; ISA-18.2 knows no confirmation, so those rows change nothing here and
`retain` is active or not acknowledged.
"""

from collector.model.alarm import Alarm, AlarmEvent
from collector.model.plan import Rule
from collector.snapshot import AlarmState, Priority

ACTIVE = {AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED}
ACKED = {AlarmState.NORMAL, AlarmState.ACKNOWLEDGED}
EVENTS = {
    "goes active": AlarmEvent.ACTIVE,
    "goes inactive": AlarmEvent.INACTIVE,
    "acknowledged (confirm required)": AlarmEvent.ACKNOWLEDGE,
}


def test_the_walk_through_the_states(reference):
    table = reference("opcua_part9_b1.json")
    assert table["cols"] == ["event", "active", "acked", "confirmed", "retain"]
    assert len(table["rows"]) == 9
    alarm = Alarm(Rule("r", Priority.URGENT, 0, 0, 0, 0), "x", "kelvin")
    for event, active, acked, _confirmed, _retain in table["rows"]:
        if event in EVENTS:
            assert alarm.apply(EVENTS[event], 0.0, 0.0), event
        assert (alarm.state in ACTIVE, alarm.state in ACKED) == (bool(active), bool(acked)), event


def test_acknowledging_does_not_end_the_condition_nor_its_end_acknowledge_it():
    alarm = Alarm(Rule("r", Priority.URGENT, 0, 0, 0, 0), "x", "kelvin")
    alarm.apply(AlarmEvent.ACTIVE, 0, 0)
    alarm.apply(AlarmEvent.INACTIVE, 1, 0)
    assert alarm.state is AlarmState.RETURNED
    alarm.apply(AlarmEvent.ACTIVE, 2, 0)
    assert alarm.state is AlarmState.UNACKNOWLEDGED
    alarm.apply(AlarmEvent.ACKNOWLEDGE, 3, 0)
    assert alarm.state is AlarmState.ACKNOWLEDGED
