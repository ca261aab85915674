"""BTHome against the examples of its own pages, and against package bthome-ble over random frames.

Sources: `bthome.json`, the published examples, both encryption vectors among them; `bthome_frames.json`, what
bthome-ble 3.25.0 said of 550 random frames, recorded by `record_bthome_frames.py`.

Where the package is more lax, each checked below:

1. ids in disorder: it warns and reads on; we stop there, for a byte may have been taken for an id.
2. below absolute zero, and a battery above 100 %: it passes them on; we mark or leave out.
3. the reserved bit 1: it reads an address after it, as an earlier page had it; we refuse the packet.
4. a temperature cut off: it says nothing; we give the channel without a value.
5. 0x58 (steps of 0.35 °C): it rounds to a tenth, so it is up to 0.05 °C off the page's own definition.
6. battery or packet id told twice: it gives all; we take the first.

Its replay check accepts a falling counter below 100; ours is the session's business, not the decoder's.
"""

import math

import pytest

from adapters.decode.bthome import read
from adapters.errors import DecodeError
from adapters.reading import Quality, Reason


def test_published_objects(reference):
    for row in reference("bthome.json")["objects"]:
        packet = read(b"\x40" + bytes.fromhex(row["hex"]))
        assert [value.celsius for value in packet.values] == ([row["celsius"]] if "celsius" in row else [])
        assert packet.battery_percent == row.get("battery_percent")
        assert packet.counter == row.get("packet_id")
        assert packet.rejected == ()
        # Its length is right: what follows it is found.
        if int(row["hex"][:2], 16) < 0x58:
            assert [value.celsius for value in read(b"\x40" + bytes.fromhex(row["hex"] + "5801")).values][-1] == 0.35


def test_the_published_advertisement(reference):
    row = reference("bthome.json")["advertisement"]
    _, found, payload = bytes.fromhex(row["hex"]).partition(b"\x16\xd2\xfc")
    assert found
    (value,) = read(payload).values
    assert (value.key, value.celsius) == ("temperature", row["celsius"])


def test_published_encryption(reference):
    for row in reference("bthome.json")["encryption"]:
        key, mac = bytes.fromhex(row["key"]), bytes.fromhex(row["mac"])
        packet = read(bytes.fromhex(row["service_data"]), mac=mac, bind_key=key)
        assert [value.celsius for value in packet.values] == [row["celsius"]], row["what"]
        assert packet.counter == row["counter"] == int.from_bytes(bytes.fromhex(row["service_data"])[-8:-4], "little")


@pytest.fixture
def frames(reference):
    recorded = reference("bthome_frames.json")
    assert recorded["package"] == "bthome-ble 3.25.0"
    assert len(recorded["frames"]) == 550
    return recorded["frames"]


def ours(frame):
    key = frame["key"] and bytes.fromhex(frame["key"])
    return read(bytes.fromhex(frame["hex"]), mac=bytes.fromhex(frame["mac"]), bind_key=key)


def test_what_the_package_does_not_trust_is_refused(frames):
    distrusted = [frame for frame in frames if not frame["trusted"]]
    assert {frame["kind"] for frame in distrusted} == {"version", "other key", "altered", "no key", "downgraded"}
    for frame in distrusted:
        with pytest.raises(DecodeError):
            ours(frame)


def has_reserved_bit(frame):
    return int(frame["hex"][:2], 16) & 0b10


def test_an_address_in_the_packet_is_refused(frames):
    """Difference 3."""
    packed = [frame for frame in frames if frame["trusted"] and has_reserved_bit(frame)]
    assert len(packed) == 20
    for frame in packed:
        with pytest.raises(DecodeError, match="reserved bit 1"):
            ours(frame)


def test_the_package_over_random_frames(frames):
    seen = dict.fromkeys(("cut", "disorder", "cold", "rounded", "battery", "counter"), 0)
    for frame in frames:
        if not frame["trusted"] or has_reserved_bit(frame):
            continue
        packet = ours(frame)
        found = [value for value in packet.values if value.reason is not Reason.UNDECODABLE]
        seen["cut"] += len(packet.values) - len(found)  # difference 4
        assert [math.isnan(value.celsius) for value in packet.values] == [v not in found for v in packet.values]
        told = frame["temperatures"]
        batteries = frame["batteries"]
        ids = frame["packet_ids"]
        if any("ids ascend" in sentence for sentence in packet.rejected):  # difference 1
            seen["disorder"] += 1
            told = told[: len(found)]
            batteries = batteries if packet.battery_percent is not None else [101]
            ids = ids if packet.counter is not None else []
        else:
            assert frame["kind"] in ("plain", "repeated", "unknown", "truncated", "encrypted", "any", "disordered")
        assert [value.celsius for value in found] == pytest.approx(told, abs=0.0501)
        for value, celsius in zip(found, told, strict=True):
            assert (value.quality is Quality.BAD) == (value.celsius < -273.15)  # difference 2
            seen["cold"] += value.quality is Quality.BAD
            if value.celsius != pytest.approx(celsius, abs=1e-9):  # difference 5
                assert round(value.celsius / 0.35) * 0.35 == pytest.approx(value.celsius, abs=1e-9)
                seen["rounded"] += 1
        percent = next(iter(batteries), None)  # difference 6
        assert packet.battery_percent == (percent if percent is None or percent <= 100 else None)
        seen["battery"] += packet.battery_percent is not None
        counter = frame["counter"] if frame["counter"] is not None else next(iter(ids), None)
        assert packet.counter == counter
        seen["counter"] += packet.counter is not None
    assert all(seen.values()), seen
