"""Feed random and mutated payloads to every decoder: `python -m tests.adapters.decode.fuzz --runs 1000000`.

A decoder may give values or raise `DecodeError`; anything else ends the run with the payload that did it. What is good
must be a finite number. The same seed feeds the same payloads.
"""

import argparse
import json
import math
import random
from collections import Counter
from collections.abc import Callable, Iterable

import cbor2
from cryptography.hazmat.primitives.ciphers.aead import AESCCM

from adapters.decode import bthome, gatt
from adapters.decode.described import Described
from adapters.decode.layout import (
    Count,
    Divider,
    FieldType,
    Layout,
    LayoutValue,
    Require,
    Rtd,
    Thermistor,
    Thermocouple,
)
from adapters.decode.mqtt_payload import PayloadReader
from adapters.decode.number_types import SIZES
from adapters.decode.senml import Resolver, decode_cbor, decode_json, parse_line
from adapters.decode.value import Value
from adapters.errors import DecodeError, SourceConfigError
from adapters.reading import Quality, Unit

NOW = 1_790_000_000.0
KEY, MAC = bytes(range(16)), bytes.fromhex("5448e68f80a5")
TYPES = FieldType.__args__
CHARACTERISTICS = {
    gatt.TEMPERATURE: ["c409", "0080", "ff7f", "4d95"],
    gatt.HIGH_TEMPERATURE: ["d600", "0080", "0180"],
    gatt.TEMPERATURE_MEASUREMENT: ["006c0100ff", "01d40300ff", "06300400ffea070b190a1e0002", "00ffff7f00"],
    gatt.INTERMEDIATE_TEMPERATURE: ["04300400ff02", "02300400ff00000000000000"],
    gatt.BATTERY_LEVEL: ["00", "64"],
    gatt.uuid16(0xFFF1): ["c409", "0000d742"],
}
VALUES = {uuid: [bytes.fromhex(text) for text in texts] for uuid, texts in CHARACTERISTICS.items()}
FORMATS = [bytes.fromhex(text) for text in ("0efe2f27010000", "14002f27010000", "17000527010000", "047fac27010000")]
BTHOME = [bytes.fromhex(text) for text in (
    "4002ca0903bf13", "4400090161020080", "40450a0b57ea58ea", "4053036162635401ff5801", "403b0101ff45fa00",
    "40f0010002f10102030402ca09", "4001610250c3", "406566ff",
)]  # fmt: skip
NUMBERS = [b"225.4", b"-12", b"nan", b"1e999", b" 7 ", b"0x10", b"", "２２５".encode(), b"1_0", b"inf"]
DOCUMENTS = [json.dumps(text).encode() for text in (
    {"probe": {"t": 225.4, "u": "F", "at": "2026-11-25T10:30:00Z", "k": "grate"}},
    {"probe": {"t": None, "u": "C", "at": 1790000000, "k": 7}},
    {"probe": {"t": "107.2", "u": "K", "at": 1790000000123, "k": "a/b"}}, [1, [2, [3]]], 10**400, True,
)]  # fmt: skip
PACKS = [
    [{"bn": "pit:", "bt": 1.79e9, "bu": "Cel", "n": "a", "v": 107.2}, {"n": "b", "v": 99.1, "t": 1}],
    [{"n": "a", "u": "Cel", "v": 1.5, "bver": 10}, {"n": "b", "u": "K", "vs": "x"}, {"n": "c", "s": 1}],
    [{"n": "a", "vb": True}, {"n": "a", "vd": "AQ"}, {"bn": "x", "bv": 1, "bs": 2, "ut": 60}],
]
LABELS = {
    "bver": -1, "bn": -2, "bt": -3, "bu": -4, "bv": -5, "bs": -6, "n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "s": 5,
    "t": 6, "ut": 7, "vd": 8,
}  # fmt: skip
SENML = [json.dumps(pack).encode() for pack in PACKS]
CBOR = [cbor2.dumps([{LABELS[label]: field for label, field in entry.items()} for entry in pack]) for pack in PACKS]
LINES = [b'[{"n":"a","u":"Cel","v":1},', b'{"n":"a","v":2}]', b",", b"[", b"]"]

Outcome = Iterable[Value]


def mutated(dice: random.Random, seeds: list[bytes]) -> bytes:
    """Take a seed and spoil it, or leave it, or make bytes up."""
    way = dice.randrange(8)
    if way == 0:
        return dice.randbytes(dice.randrange(40))
    payload = bytearray(dice.choice(seeds))
    if way == 1:
        return bytes(payload)
    for _ in range(dice.choice((1, 1, 2, 5))):
        at = dice.randrange(len(payload) + 1)
        if way == 2:
            del payload[at:]
        elif way == 3:
            payload[at:at] = dice.randbytes(dice.randrange(1, 5))
        elif way == 4:
            payload[at:at] = dice.choice(seeds)[dice.randrange(8) :]
        elif way == 5:
            del payload[at : at + dice.randrange(1, 4)]
        elif payload and way == 6:
            payload[at % len(payload)] ^= 1 << dice.randrange(8)
        elif payload:
            payload[at % len(payload)] = dice.choice((0, 0x7F, 0x80, 0xFF, dice.randrange(256)))
    return bytes(payload)


def read_gatt(dice: random.Random) -> Outcome:
    uuid = dice.choice([*VALUES])
    payload = mutated(dice, VALUES[uuid])
    shown = gatt.label(payload)
    assert len(shown) <= 40
    assert not shown or shown.isprintable()
    if uuid == gatt.TEMPERATURE and dice.randrange(2):
        return gatt.read_environmental(dice.choice([gatt.ENVIRONMENTAL_SENSING, uuid]), payload, "p").values
    form = None
    if uuid == gatt.uuid16(0xFFF1):
        form = gatt.parse_format(mutated(dice, FORMATS))
        if form.field_type is not None and dice.randrange(4):
            payload = dice.randbytes(SIZES[form.field_type])
    return gatt.read_characteristic(uuid, payload, "p", form).values


def read_bthome(dice: random.Random) -> Outcome:
    return bthome.read(mutated(dice, BTHOME)).values


CIPHER = AESCCM(KEY, tag_length=4)


def read_sealed(dice: random.Random) -> Outcome:
    """Spoil what is sealed, so that the tag holds; now and then spoil the seal."""
    objects, counter = mutated(dice, BTHOME)[1:], dice.randbytes(4)
    body = CIPHER.encrypt(MAC + b"\xd2\xfc\x41" + counter, objects, None)
    payload = b"\x41" + body[:-4] + counter + body[-4:]
    if dice.randrange(4) == 0:
        payload = mutated(dice, [payload])
    return bthome.read(payload, mac=MAC, bind_key=KEY).values


def random_layout(dice: random.Random) -> Layout:
    """Make a layout up; not each can work."""
    rows = []
    for row in range(dice.randrange(1, 4)):
        repeat = dice.randrange(1, 4)
        unit = dice.choice(["degC", "degF", "K", "ohm", "mV", "count", "uV", "V", "percent"])
        sensor = {
            "ohm": dice.choice([Rtd(), Thermistor(a=1e-3, b=2.3e-4, c=8e-8), Thermistor(beta=3950, ohms=1e5)]),
            "count": Thermistor(beta=3950, ohms=1e5, divider=Divider(ohms=1e4, full=4095)),
            "mV": Thermocouple(type=dice.choice("EJKNT"), cold_celsius=dice.choice([0, 25])),
            "uV": Thermocouple(type=dice.choice("EJKNT"), cold_from="0.0"),
            "V": Thermistor(a=1e-3, b=2.3e-4, c=8e-8, divider=Divider(ohms=1e4, full=3.3, sensor_to="supply")),
        }.get(unit)
        rows.append(
            LayoutValue(
                names=tuple(f"{row}.{i}" for i in range(repeat)), at=dice.randrange(12), type=dice.choice(TYPES),
                endian=dice.choice(["little", "big"]), multiplier=dice.choice([1.0, -1.0, 0.01, 1e12]),
                exponent=dice.randrange(-12, 13), binary_exponent=dice.randrange(-32, 33),
                add=dice.choice([0.0, 273.15, -1e12]), unit=unit, sensor=sensor, repeat=repeat,
                absent=tuple(dice.randrange(1 << 8) for _ in range(dice.randrange(3))),
                stride=dice.choice([None, 1, 2, 5]), valid=dice.choice([(-60.0, 1000.0), (-273.15, 1e12)]),
            )
        )  # fmt: skip
    return Layout(
        source="notify", uuid="fff1", value=tuple(rows),
        counter=dice.choice([None, Count(at=dice.randrange(12), type="uint24", endian="big")]),
        require=dice.choice([(), (Require(at=dice.randrange(12), value=0x10, mask=0x10),)]),
    )  # fmt: skip


class DescribedRuns:
    """Described devices, another layout every hundred payloads."""

    def __init__(self) -> None:
        self._left = 0
        self._described: Described | None = None

    def __call__(self, dice: random.Random) -> Outcome:
        while self._described is None or not self._left:
            try:
                self._described, self._left = Described("fuzz", random_layout(dice)), 100
            except SourceConfigError:
                continue
        self._left -= 1
        payload = dice.randbytes(dice.randrange(40))
        self._described.fits(payload)
        values = self._described.read(payload).values
        assert tuple(value.key for value in values) == self._described.channels
        return values


READERS = [
    PayloadReader("number"),
    PayloadReader("json", value="/probe/t", unit_pointer="/probe/u", time_pointer="/probe/at", key="/probe/k"),
    PayloadReader("json", value="/1/0", key="level 2"),
    PayloadReader("senml"),
    PayloadReader("senml-cbor"),
]
SEEDS = [NUMBERS, DOCUMENTS, DOCUMENTS, SENML, CBOR]


def read_mqtt(dice: random.Random) -> Outcome:
    at = dice.randrange(len(READERS))
    return READERS[at].read(dice.choice(["pit/grate", "pit", ""]), mutated(dice, SEEDS[at]), NOW)


def read_senml(dice: random.Random) -> Outcome:
    which = dice.randrange(3)
    if which == 2:
        resolver = Resolver()
        records = [resolver.resolve(record, NOW) for record in parse_line(mutated(dice, LINES))]
    else:
        decode, seeds = ((decode_json, SENML), (decode_cbor, CBOR))[which]
        records = decode(mutated(dice, seeds), NOW)
    return [Value(r.name, r.value, Unit.CELSIUS, r.time_unix) for r in records if isinstance(r.value, float)]


def decoders() -> dict[str, Callable[[random.Random], Outcome]]:
    return {
        "gatt": read_gatt, "bthome": read_bthome, "bthome sealed": read_sealed, "described": DescribedRuns(),
        "mqtt payload": read_mqtt, "senml": read_senml,
    }  # fmt: skip


def run(runs: int, seed: int) -> dict[str, Counter[str]]:
    """Feed each decoder its share of the runs; return how many ended how, by decoder."""
    dice, counts = random.Random(seed), {}
    for name, decode in decoders().items():
        counts[name] = Counter[str]()
        for number in range(runs // len(decoders())):
            try:
                values = list(decode(dice))
            except DecodeError:
                counts[name]["refused"] += 1
                continue
            except Exception as fault:
                fault.add_note(f"{name}, run {number} of seed {seed}")
                raise
            good = [value for value in values if value.quality is not Quality.BAD]
            assert all(math.isfinite(value.celsius) for value in good), (name, number, good)
            assert not any(math.isinf(value.celsius) for value in values), (name, number, values)
            counts[name]["good" if good else "read, nothing good"] += 1
    return counts


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    for name, outcomes in run(chosen.runs, chosen.seed).items():
        told = ", ".join(f"{outcome} {count}" for outcome, count in sorted(outcomes.items()))
        print(f"{name:14} {outcomes.total():9,}: {told}")


if __name__ == "__main__":
    main()
