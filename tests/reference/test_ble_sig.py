"""Standard characteristics against the SIG's definitions and worked answers of IEEE 11073.

Sources: GATT Specification Supplement and Assigned Numbers (the SIG's own YAML) and worked FLOAT answers in public
material, named in the rows of `ble_sig.json`; rows that name none are computed from the definitions. Package
bluetooth-sig 0.6.0 is no reference for FLOAT: it reads the exponent of 0x2A1C as unsigned - 128, so 36.4 becomes
3.64e129.
"""

import datetime as dt
import math

import pytest

from adapters.decode.gatt import parse_format, read_characteristic, uuid16
from adapters.decode.number_types import SIZES, number_of, raw_bits
from adapters.errors import DecodeError
from adapters.reading import Quality, Reason


def check(row, number):
    def read(packet):
        (value,) = packet.values
        assert value.key == "probe"
        assert value.source_unix is None
        if row["celsius"] is None:
            assert math.isnan(value.celsius)
            assert (value.quality, value.reason) == (Quality.BAD, Reason.NOT_A_NUMBER)
        else:
            assert value.celsius == pytest.approx(row["celsius"], abs=1e-9)
            assert (value.quality, value.reason) == (Quality.GOOD, Reason.NONE)
        return value

    payload = bytes.fromhex(row["hex"])
    if "refused" in row:
        with pytest.raises(DecodeError, match=row["refused"]):
            read_characteristic(uuid16(number), payload, "probe", None)
        return None, None
    packet = read_characteristic(uuid16(number), payload, "probe", None)
    return packet, read(packet) if "celsius" in row else None


@pytest.mark.parametrize(("table", "number"), [("temperature_2a6e", 0x2A6E), ("high_temperature_2bdf", 0x2BDF)])
def test_temperatures(reference, table, number):
    for row in reference("ble_sig.json")[table]:
        check(row, number)


@pytest.mark.parametrize("field_type", ["medfloat16", "medfloat32"])
def test_decimal_floats(reference, field_type):
    for row in reference("ble_sig.json")[field_type]:
        number = number_of(raw_bits(bytes.fromhex(row["hex"]), 0, field_type), field_type)
        assert math.isnan(number) if row["number"] is None else number == row["number"], row


@pytest.mark.parametrize("number", [0x2A1C, 0x2A1E])
def test_temperature_measurements(reference, number):
    for row in reference("ble_sig.json")["temperature_measurement_2a1c"]:
        packet, value = check(row, number)
        if packet is not None:
            assert value.unit == row["unit"]
            measured = row.get("measured")
            assert packet.measured == (dt.datetime.fromisoformat(measured) if measured else None)
            assert packet.rejected == ()


def test_battery_levels(reference):
    for row in reference("ble_sig.json")["battery_2a19"]:
        packet, _ = check(row, 0x2A19)
        if packet is not None:
            assert (packet.values, packet.battery_percent) == ((), row["percent"])


def test_presentation_formats(reference):
    for row in reference("ble_sig.json")["presentation_format_2904"]:
        form = parse_format(bytes.fromhex(row["hex"]))
        assert (form.field_type, form.exponent, form.unit) == (row["type"], row["exponent"], row["unit"])
        if "celsius" in row:
            assert form.celsius(bytes.fromhex(row["value"])) == pytest.approx(row["celsius"], abs=1e-9)
        else:
            with pytest.raises(DecodeError, match="no temperature"):
                form.celsius(bytes.fromhex(row["value"]))


def test_every_format_of_one_number_is_known(reference):
    known = reference("ble_sig.json")["format_types"]
    for code in range(256):
        name, size = known.get(f"{code:#04x}", (None, None))
        form = parse_format(bytes([code, 0, 0x2F, 0x27, 1, 0, 0]))
        assert form.field_type == name
        assert name is None or SIZES[name] == size
