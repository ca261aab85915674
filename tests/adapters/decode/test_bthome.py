"""BTHome: order, unknown ids, keys, and what is not trusted."""

import contextlib
import math
import sys

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESCCM
from hypothesis import given
from hypothesis import strategies as st

from adapters.decode import bthome_cipher
from adapters.decode.bthome import UUID, read
from adapters.errors import DecodeError, SourceConfigError
from adapters.reading import Quality, Reason, Unit

KEY = bytes(range(16))
MAC = bytes.fromhex("5448e68f80a5")


def plain(objects):
    return read(b"\x40" + bytes.fromhex(objects))


def sealed(objects, counter=b"\x01\0\0\0", head=b"\x41", mac=MAC):
    body = AESCCM(KEY, tag_length=4).encrypt(mac + b"\xd2\xfc" + head + counter, bytes.fromhex(objects), None)
    return head + body[:-4] + counter + body[-4:]


def test_the_uuid():
    assert UUID == "0000fcd2-0000-1000-8000-00805f9b34fb"


def test_temperatures_are_named_in_the_order_they_come_over_all_ids():
    packet = plain("0007" + "0161" + "02c409" + "02e029" + "45fa00" + "57ea" + "5801")
    assert [(value.key, value.celsius) for value in packet.values] == [
        ("temperature", 25.0), ("temperature 2", 107.2), ("temperature 3", 25.0), ("temperature 4", -22.0),
        ("temperature 5", 0.35),
    ]  # fmt: skip
    assert {(value.unit, value.source_unix, value.quality) for value in packet.values} == {
        (Unit.CELSIUS, None, Quality.GOOD)
    }
    assert (packet.battery_percent, packet.counter, packet.rejected) == (97.0, 7, ())


@pytest.mark.parametrize("head", [b"\x40", b"\x44", b"\x48", b"\x58"])
def test_trigger_and_other_reserved_bits_change_nothing(head):
    assert read(head + b"\x02\xc4\x09").values[0].celsius == 25.0


def test_a_value_below_absolute_zero_is_marked_and_keeps_its_place():
    packet = plain("020080" + "02c409")
    assert [(value.key, value.quality, value.reason) for value in packet.values] == [
        ("temperature", Quality.BAD, Reason.OUT_OF_RANGE),
        ("temperature 2", Quality.GOOD, Reason.NONE),
    ]
    assert packet.rejected == ("temperature: -327.68 °C is below absolute zero",)


def test_a_battery_above_full_is_rejected():
    assert plain("0165" + "02c409").battery_percent is None
    assert plain("0165" + "02c409").rejected == ("battery 101 %; allowed are 0 to 100",)


def test_what_follows_an_unknown_id_is_not_read():
    packet = plain("02c409" + "66" + "02e029")
    assert [value.celsius for value in packet.values] == [25.0]
    assert packet.rejected == ()
    assert plain("a1ff02ca09").rejected == ("object 0xa1 is not known; nothing is read",)


def test_ids_that_do_not_ascend_end_the_reading():
    packet = plain("45fa00" + "02c409")
    assert [value.celsius for value in packet.values] == [25.0]
    assert packet.rejected == ("object 0x02 after 0x45: ids ascend; the rest is not read",)


def test_an_object_cut_off_is_told():
    packet = plain("02c409" + "02e0")
    assert packet.values[0].celsius == 25.0
    assert packet.values[1].reason is Reason.UNDECODABLE
    assert math.isnan(packet.values[1].celsius)
    assert packet.rejected == ("object 0x02 has 1 bytes of 2",)
    assert plain("02c409" + "03bf").rejected == ("object 0x03 has 1 bytes of 2",)
    assert len(plain("02c409" + "03bf").values) == 1


@pytest.mark.parametrize(
    "object_hex", ["5300", "5303616263", "5402ffff", "3b0001", "3b020102ff", "3be20102ff"]
)  # upper bits of a command's length are reserved
def test_objects_that_tell_their_length_are_stepped_over(object_hex):
    number = int(object_hex[:2], 16)
    after = "5864" if number > 0x3B else "45fa00"
    packet = plain(object_hex + after)
    assert [value.celsius for value in packet.values] == [35.0 if number > 0x3B else 25.0]


@pytest.mark.parametrize("object_hex", ["53", "5304616263", "54ff", "3b", "3b00", "3b02"])
def test_objects_that_tell_more_than_there_is_end_the_reading(object_hex):
    packet = plain("02c409" + object_hex)
    assert [value.celsius for value in packet.values] == [25.0]


@pytest.mark.parametrize(
    ("payload", "says"),
    [
        (b"", "0 bytes"),
        (b"\x00\x02\xc4\x09", "version 0"),
        (b"\x20\x02\xc4\x09", "version 1"),
        (b"\x60\x02\xc4\x09", "version 3"),
        (b"\x42\x02\xc4\x09", "reserved bit 1"),
        (b"\x41\x02\xc4\x09", "no bind key"),
    ],
)
def test_what_is_no_plain_bthome_is_refused(payload, says):
    with pytest.raises(DecodeError, match=says):
        read(payload)


def test_nothing_but_a_head_has_no_values():
    packet = read(b"\x40")
    assert (packet.values, packet.battery_percent, packet.counter, packet.rejected) == ((), None, None, ())


def test_an_encrypted_packet_has_the_counter_of_the_encryption():
    packet = read(sealed("0007" + "02c409", b"\x04\x03\x02\x01"), mac=MAC, bind_key=KEY)
    assert packet.values[0].celsius == 25.0
    assert packet.counter == 0x01020304


def test_a_plain_packet_is_not_trusted_where_there_is_a_key():
    with pytest.raises(DecodeError, match="not trusted"):
        read(b"\x40\x02\xc4\x09", mac=MAC, bind_key=KEY)


@pytest.mark.parametrize("at", range(len(sealed("02c409"))))
def test_a_packet_altered_anywhere_is_refused(at):
    payload = bytearray(sealed("02c409"))
    payload[at] ^= 0x08
    with pytest.raises(DecodeError):
        read(bytes(payload), mac=MAC, bind_key=KEY)


def test_another_key_or_address_is_refused():
    for mac, key in ((MAC, bytes(16)), (bytes(6), KEY)):
        with pytest.raises(DecodeError, match="does not decrypt"):
            read(sealed("02c409"), mac=mac, bind_key=key)
    with pytest.raises(DecodeError, match="address"):
        read(sealed("02c409"), bind_key=KEY)


@pytest.mark.parametrize("size", range(1, 10))
def test_an_encrypted_packet_too_short_for_its_counter_and_tag_is_refused(size):
    with pytest.raises(DecodeError, match=f"{size} bytes; an encrypted BTHome packet has at least 10"):
        read(b"\x41" + bytes(size - 1), mac=MAC, bind_key=KEY)


@pytest.mark.parametrize(("mac", "key", "says"), [(MAC, bytes(15), "15 bytes"), (bytes(5), KEY, "address of 5")])
def test_a_key_or_address_of_another_length_cannot_work(mac, key, says):
    with pytest.raises(SourceConfigError, match=says):
        read(sealed("02c409"), mac=mac, bind_key=key)


def test_without_the_package_it_says_what_to_install(monkeypatch):
    bthome_cipher._cipher.cache_clear()
    monkeypatch.setitem(sys.modules, "cryptography.hazmat.primitives.ciphers.aead", None)
    with pytest.raises(SourceConfigError, match=r"install coldside\[ble-encrypted\]"):
        read(sealed("02c409"), mac=MAC, bind_key=KEY)
    assert read(b"\x40\x02\xc4\x09").values[0].celsius == 25.0


@given(st.binary(max_size=40), st.booleans())
def test_any_bytes_are_read_or_refused(payload, encrypted):
    with contextlib.suppress(DecodeError):
        for value in read(payload, mac=MAC, bind_key=KEY if encrypted else None).values:
            assert math.isnan(value.celsius) or -3276.8 <= value.celsius <= 3276.7
