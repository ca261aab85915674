"""What has been heard: counts, intervals, changed bytes; and bounds that hostile air cannot break."""

import pytest

from adapters.ble import survey as module
from adapters.ble.advert import Advert
from adapters.ble.survey import Place, Survey
from adapters.decode.gatt import uuid16

DATA = uuid16(0xFFF0)
BOX = "C0:1D:51:DE:00:01"


def heard(survey, unix, payload=b"\x01\x02", address=BOX, rssi=-60, **more):
    more.setdefault("service_data", {DATA: payload})
    survey.take(Advert(address, unix, rssi, **more))


def test_a_device_and_its_payloads():
    survey = Survey()
    for n, unix in enumerate((10.0, 11.0, 12.0, 15.0)):
        heard(
            survey,
            unix,
            bytes([1, n, 7]),
            rssi=-60 - n,
            name="box" if n == 1 else None,
            services=(DATA, uuid16(0x1809)),
        )
    (device,) = survey.devices()
    assert (device.name, device.heard) == ("box", 4)
    assert (device.rssi_last, device.rssi_min, device.rssi_max) == (-63, -63, -60)
    assert (device.interval_median, device.interval_longest) == (1.0, 3.0)
    assert device.services == (uuid16(0x1809),), "what has data is not listed twice"
    (group,) = device.groups
    assert group.place == Place("service_data", uuid=DATA)
    assert (group.heard, group.different, group.lengths, group.changed, group.last) == (
        4,
        4,
        (3,),
        (1,),
        b"\x01\x03\x07",
    )
    assert group.history[0] == (10.0, b"\x01\x00\x07")


def test_a_byte_that_changed_and_came_back_has_changed():
    survey = Survey()
    for payload in (b"\x00\x00", b"\x00\x05", b"\x00\x00"):
        heard(survey, 0.0, payload)
    assert survey.devices()[0].groups[0].changed == (1,)


def test_packets_of_different_lengths_are_compared_with_their_like():
    survey = Survey()
    for payload in (b"\x01\x02", b"\x09\x09\x09", b"\x01\x03", b"\x09\x09\x09"):
        heard(survey, 0.0, payload)
    group = survey.devices()[0].groups[0]
    assert (group.lengths, group.changed) == ((2, 3), ())


def test_one_advertisement_has_no_interval_and_a_connected_device_no_strength():
    survey = Survey()
    survey.take(Advert(BOX, 1.0, None, "box"))
    (device,) = survey.devices()
    assert (device.interval_median, device.interval_longest, device.rssi_last, device.groups) == (None, None, None, ())


def test_strongest_first():
    survey = Survey()
    for rssi, address in ((-80, "00:00:00:00:00:01"), (-40, "00:00:00:00:00:02"), (None, "00:00:00:00:00:03")):
        heard(survey, 0.0, address=address, rssi=rssi)
    assert [d.rssi_last for d in survey.devices()] == [-40, -80, None]


def test_a_clock_that_steps_back_gives_no_negative_interval():
    survey = Survey()
    heard(survey, 10.0)
    heard(survey, 5.0)
    assert survey.devices()[0].interval_longest == 0.0


def test_devices_are_bounded_and_the_longest_unheard_goes_first(monkeypatch):
    monkeypatch.setattr(module, "MAX_DEVICES", 3)
    survey = Survey()
    for n in (0, 1, 2, 0, 3):
        heard(survey, 0.0, address=f"00:00:00:00:00:{n:02X}")
    assert {d.address[-1] for d in survey.devices()} == {"0", "2", "3"}
    assert survey.forgotten == 1


def test_history_groups_and_payloads_are_bounded(monkeypatch):
    monkeypatch.setattr(module, "MAX_KEPT", 50)
    survey = Survey()
    for n in range(400):
        companies = {c: bytes([n % 256]) * 5000 for c in range(40)} if n == 0 else {0: bytes([n % 256, n // 256])}
        survey.take(Advert(BOX, float(n), -60, manufacturer_data=companies))
    (device,) = survey.devices()
    assert len(device.groups) == module.MAX_GROUPS
    kept = [len(g.history) for g in device.groups]
    assert sum(kept) <= 50
    assert device.groups[0].heard == 400
    assert device.groups[0].history[-1][1] == bytes([399 % 256, 1])
    assert max(len(p) for g in device.groups for _, p in g.history) <= module.MAX_PAYLOAD_BYTES


def test_room_is_given_back_with_a_forgotten_device(monkeypatch):
    monkeypatch.setattr(module, "MAX_DEVICES", 2)
    survey = Survey()
    for n in range(100):
        for k in range(5):
            heard(survey, 0.0, bytes([k]), address=f"00:00:00:00:00:{n:02X}")
    assert survey._kept == sum(len(g.history) for d in survey.devices() for g in d.groups) == 10


@pytest.mark.parametrize("payload", [b"", b"\x00" * 3000])
def test_odd_payloads_are_borne(payload):
    survey = Survey()
    heard(survey, 0.0, payload)
    heard(survey, 1.0, payload)
    assert survey.devices()[0].groups[0].different == 1
