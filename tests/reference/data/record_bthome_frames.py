"""Record what package bthome-ble says of random frames, into `bthome_frames.json` beside this file.

Run where the package is installed (it is not among the tests' dependencies: it brings a dozen others, one of them
GPL): `python tests/reference/data/record_bthome_frames.py`. The same seed and version give the same file.
"""

import json
import logging
import random
from importlib.metadata import version
from pathlib import Path

from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bthome_ble import BTHomeBluetoothDeviceData
from bthome_ble.const import MEAS_TYPES
from cryptography.hazmat.primitives.ciphers.aead import AESCCM
from habluetooth import BluetoothServiceInfoBleak

SEED = 20250107
UUID = "0000fcd2-0000-1000-8000-00805f9b34fb"
TEMPERATURES = [0x02, 0x45, 0x57, 0x58]
KINDS = {
    "plain": 120, "repeated": 60, "unknown": 50, "truncated": 60, "disordered": 40, "any": 60, "version": 20,
    "address": 20, "encrypted": 60, "other key": 20, "altered": 20, "no key": 10, "downgraded": 10,
}  # fmt: skip
DESCRIPTION = (
    "Each frame has its own parser. plain: known ids ascending, temperatures often; repeated: some ids more "
    "than once; unknown: one id no page knows put in; truncated: cut anywhere; disordered: ids in any order; any: "
    "random bytes after a plain head; version: another version in bits 5-7; address: reserved bit 1 set; encrypted: by "
    "its key; other key: decrypted with another one; altered: one bit flipped; no key: encrypted, none given; "
    "downgraded: plain, a key given."
)


def value(dice, number):
    form = MEAS_TYPES[number].data_format
    if form in ("string", "raw"):
        body = bytes(dice.choices(range(0x20, 0x7F), k=dice.randrange(6)))
        return bytes([len(body)]) + body
    if form == "command":
        args = dice.randbytes(dice.randrange(4))
        return bytes([len(args), dice.randrange(5)]) + args
    return dice.randbytes(MEAS_TYPES[number].data_length)


def objects(dice, kind):
    ids = [*MEAS_TYPES, *TEMPERATURES * 10]
    chosen = {dice.choice(ids) for _ in range(dice.randrange(1, 7))}
    row = sorted(chosen)
    if kind == "repeated":
        row = sorted(row + dice.choices([*row, 0x02, 0x58, 0x01, 0x00], k=dice.randrange(1, 4)))
    if kind == "disordered":
        dice.shuffle(row)
    pieces = [bytes([number]) + value(dice, number) for number in row]
    if kind == "unknown":
        strangers = [number for number in range(256) if number not in MEAS_TYPES]
        pieces.insert(dice.randrange(len(pieces) + 1), bytes([dice.choice(strangers)]) + dice.randbytes(2))
    return b"".join(pieces)


def frame(dice, kind):
    mac, key = dice.randbytes(6), dice.randbytes(16)
    head, body, given = 0x40 | dice.choice([0, 4]), objects(dice, kind), None
    if kind == "truncated":
        body = body[: dice.randrange(len(body))]
    elif kind == "any":
        body = dice.randbytes(dice.randrange(1, 20))
    elif kind == "version":
        head = dice.choice([0, 1, 3, 4, 5, 6, 7]) << 5
    elif kind == "address":
        head, body = head | 2, mac[::-1] + body
    elif kind == "downgraded":
        given = key
    elif kind in ("encrypted", "other key", "altered", "no key"):
        head |= 1
        counter = dice.randbytes(4)
        sealed = AESCCM(key, tag_length=4).encrypt(mac + b"\xd2\xfc" + bytes([head]) + counter, body, None)
        body = bytearray(sealed[:-4] + counter + sealed[-4:])
        if kind == "altered":
            body[dice.randrange(len(body))] ^= 1 << dice.randrange(8)
        given = {"no key": None, "other key": dice.randbytes(16)}.get(kind, key)
    return bytes([head]) + bytes(body), mac, given


def hear(payload, mac, key):
    """Return what the package says of one frame."""
    address = ":".join(f"{byte:02X}" for byte in mac)
    advert = AdvertisementData(
        local_name="probe", manufacturer_data={}, service_data={UUID: payload}, service_uuids=[], tx_power=None,
        rssi=-60, platform_data=(),
    )  # fmt: skip
    service_info = BluetoothServiceInfoBleak(
        name="probe", address=address, rssi=-60, manufacturer_data={}, service_data={UUID: payload}, service_uuids=[],
        source="local", device=BLEDevice(address, "probe", {}), advertisement=advert, connectable=False, time=1000.0,
        tx_power=None,
    )  # fmt: skip
    parser = BTHomeBluetoothDeviceData(bindkey=key)
    update = parser.update(service_info)
    found = {entry.key: sensor.native_value for entry, sensor in update.entity_values.items()}

    def row(name):
        numbered = [found[f"{name}_{i}"] for i in range(1, 30) if f"{name}_{i}" in found]
        return numbered or ([found[name]] if name in found else [])

    encrypted = bool(payload[0] & 1)
    return {
        "trusted": parser.bthome_version.value == 2
        and not parser.downgrade_detected
        and (not encrypted or parser.bindkey_verified),
        "temperatures": row("temperature"),
        "batteries": row("battery"),
        "packet_ids": row("packet_id"),
        "counter": int(parser.encryption_counter) if encrypted and parser.bindkey_verified else None,
    }


def main():
    logging.disable()
    dice = random.Random(SEED)
    frames = []
    for kind, count in KINDS.items():
        for _ in range(count):
            payload, mac, key = frame(dice, kind)
            said = hear(payload, mac, key)
            frames.append({"kind": kind, "hex": payload.hex(), "mac": mac.hex(), "key": key and key.hex(), **said})
    lines = ",\n".join(json.dumps(entry) for entry in frames)
    head = {"package": f"bthome-ble {version('bthome-ble')}", "seed": SEED, "description": DESCRIPTION}
    text = json.dumps(head)[:-1] + ',\n"frames": [\n' + lines + "\n]}\n"
    Path(__file__).with_name("bthome_frames.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
