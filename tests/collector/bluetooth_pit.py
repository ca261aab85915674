"""Bluetooth probes of every kind we read, on the fake BlueZ: what they send, and what must therefore be on record.

Temperatures are sent in hundredths of a degree, each nudged by hundredths until the probe never sent it before: so a
value on record names the one measurement it came from.
"""

import struct
from dataclasses import dataclass, field
from typing import ClassVar

from cryptography.hazmat.primitives.ciphers.aead import AESCCM

__all__ = ["LAYOUTS", "Bell", "Encrypted", "Environmental", "Four", "Objects", "Polled", "Probe", "Thermometer", "Tips"]

LAYOUTS = """
[layout.four]
source = "service_data"
uuid = "fff0"
counter = { at = 0 }
value = [
  { names = ["a", "b", "c", "d"], at = 1, type = "sint16", exponent = -2, repeat = 4 },
  { names = ["charge"], at = 9, type = "uint8", unit = "percent" },
]
[layout.four-at-the-maker]
source = "manufacturer_data"
company = 0xFFFF
counter = { at = 0 }
value = [
  { names = ["a", "b", "c", "d"], at = 1, type = "sint16", exponent = -2, repeat = 4 },
  { names = ["charge"], at = 9, type = "uint8", unit = "percent" },
]
[layout.bell]
source = "notify"
uuid = "fff1"
counter = { at = 0, type = "uint16", endian = "big" }
value = [{ names = ["tip"], at = 2, type = "sint16", endian = "big", exponent = -2 }]
[layout.polled]
source = "read"
uuid = "fff2"
every = 0.2
counter = { at = 0 }
value = [{ names = ["tip"], at = 1, type = "uint16", exponent = -2, unit = "degF" }]
"""


@dataclass(eq=False)
class Probe:
    """One device.

    Attributes:
        name: of the source in the config.
        adapter, number: where it is in the air; the number makes its address.
        percent: of its battery; None: it does not tell.
        called: the name it sends.
        match: name by which the config finds it; empty: by its address.
        settings: further lines of its source.
        sure: whether its link, or the scan that hears it, is known to stand: what is sent now must be on record.
        gone: whether it has left for good.
        keys: its channels as they are recorded.
    """

    name: str
    adapter: str
    number: int
    percent: int | None = None
    called: str | None = None
    match: str = ""
    settings: str = ""
    sure: bool = False
    gone: bool = False
    must: dict[str, set[int]] = field(default_factory=dict)
    """By channel, the millidegrees that have to be on record."""
    may: dict[str, list[int]] = field(default_factory=dict)
    """All that were sent, in order."""
    spoilt: int = 0
    """Measurements sent in a form that cannot be read."""
    keys: ClassVar[tuple[str, ...]] = ("temperature",)
    fahrenheit: ClassVar[bool] = False
    layout: ClassVar[str] = ""
    faults_each: ClassVar[int] = 1
    """What one spoilt packet counts for."""

    def __post_init__(self):
        self.address = f"C0:1D:51:DE:{self.adapter[-1].zfill(2)}:{self.number:02X}"
        self.rssi = -40 - self.number
        self.count = 0
        self.device = None

    def table(self):
        """Give its part of the config: the source and its probes."""
        match = f'device = "{self.match}"' if self.match else f'address = "{self.address}"'
        text = f'[[source]]\nkind = "ble"\nname = "{self.name}"\nadapter = "{self.adapter}"\n{match}\nquiet = 3\n'
        text += self.settings + "\n"
        text += f'layout = "{self.layout}"\n' if self.layout else ""
        for k, key in enumerate(self.keys):
            x, y = (self.number * 11 + k * 7) % 118 + 1, (self.number * 5 + k * 11 + 3 * int(self.adapter[-1])) % 48 + 1
            text += f'[[probe]]\nname = "{self.name} {k}"\nsource = "{self.name}"\nkey = "{key}"\nx = {x}\ny = {y}\n'
            text += "stale_after = 3\n"
        return text

    def appear(self, bluez):
        self.device = bluez.adapters[self.adapter].add_device(self.address, name=self.called)
        self.build()

    def build(self):
        """Make its services."""

    def hundredths(self, celsius):
        """Turn a temperature of each channel into what is sent of it, and remember it."""
        return [self.hundredth(key, value) for key, value in zip(self.keys, celsius, strict=True)]

    def hundredth(self, key, celsius):
        sent = self.may.setdefault(key, [])
        raw = round(100 * (celsius * 9 / 5 + 32 if self.fahrenheit else celsius))
        while self.milli(raw) in sent:
            raw += 1
        sent.append(self.milli(raw))
        return raw

    def milli(self, raw):
        """Give the thousandths of a degree Celsius that must be on record of it."""
        return round((raw / 100 - 32) * 5 / 9 * 1000) if self.fahrenheit else raw * 10

    def told(self):
        """Take note that what was sent last went out."""
        if self.sure:
            for key in self.keys:
                self.must.setdefault(key, set()).add(self.may[key][-1])


class Advertiser(Probe):
    """Sends without a connection, each measurement as often as it is told to."""

    def measure(self, celsius, times=1):
        self.count += 1
        self.last = self.packet(self.hundredths(celsius))
        if sum(self.send(self.last) for _ in range(times)) == times:
            self.told()

    def spoil(self):
        """Send what cannot be read."""
        for payload in self.wrong():
            self.spoilt += self.send(payload)

    def send(self, payload):
        return self.device.advertise(self.rssi, {self.uuid: payload})


class Objects(Advertiser):
    """BTHome in plain: a packet id, the battery, two temperatures."""

    uuid = "fcd2"
    keys = ("temperature", "temperature 2")

    def objects(self, hundredths):
        return struct.pack("<BB", 0, self.count % 256) + (
            (b"" if self.percent is None else bytes([1, self.percent]))
            + b"".join(struct.pack("<Bh", 2, raw) for raw in hundredths)
        )

    def packet(self, hundredths):
        return b"\x40" + self.objects(hundredths)

    def wrong(self):
        yield b"\x20\x02\x00\x10"
        yield b"\x42\x02\x00\x10"


class Encrypted(Objects):
    """BTHome under a bind key."""

    keys = ("temperature",)
    key = bytes(range(16))

    def __post_init__(self):
        super().__post_init__()
        self.settings += 'bind_key_file = "bind.key"\n'
        self.overheard = []

    def packet(self, hundredths):
        return self.sealed(self.objects(hundredths), self.count)

    def sealed(self, objects, count):
        counter = struct.pack("<I", count)
        nonce = bytes.fromhex(self.address.replace(":", "")) + b"\xd2\xfc\x41" + counter
        box = AESCCM(self.key, tag_length=4).encrypt(nonce, objects, None)
        payload = b"\x41" + box[:-4] + counter + box[-4:]
        self.overheard.append(payload)
        return payload

    def replay(self, age):
        """Somebody sends an old packet again."""
        self.spoilt += self.send(self.overheard[-1 - age])

    def wrong(self):
        forged = bytearray(self.overheard[-1])
        forged[2] ^= 1
        yield bytes(forged)
        yield b"\x40" + self.objects([9_999])  # in plain, which anybody can send
        yield b"\x41\x00"


class Environmental(Advertiser):
    """The Temperature of Environmental Sensing as service data; it has neither counter nor battery."""

    def __post_init__(self):
        super().__post_init__()
        self.uuid = ("181a", "2a6e")[self.number % 2]

    def packet(self, hundredths):
        return struct.pack("<h", *hundredths)

    def wrong(self):
        yield b"\x01"
        yield b"\x01\x02\x03"


class Four(Advertiser):
    """A described box with a counter, four channels and a battery."""

    keys = ("a", "b", "c", "d")
    faults_each = 5
    uuid = "fff0"

    @property
    def layout(self):
        return "four-at-the-maker" if self.adapter == "hci1" else "four"

    def packet(self, hundredths):
        return struct.pack("<B4hB", self.count % 256, *hundredths, self.percent)

    def send(self, payload):
        if self.layout == "four":
            return super().send(payload)
        return self.device.advertise(self.rssi, manufacturer_data={0xFFFF: payload})

    def wrong(self):
        self.count += 1
        yield bytes([self.count % 256, 7])  # cut off: four channels without a value


class Connected(Probe):
    """Wants a connection, and advertises nothing but itself while it has none."""

    flags: ClassVar[tuple[str, ...]] = ("notify",)
    wanders_db = 10
    """BlueZ makes no signal of an advert without data whose strength differs by less than 8 dB from the last."""

    def measure(self, celsius, times=1):
        self.celsius = celsius
        self.count += 1
        if not self.device.connected:
            self.device.advertise(self.rssi - self.wanders_db * (self.count % 2))
        else:
            self.notify(celsius)

    def notify(self, celsius):
        if all(c.notifying for c in self.channels):
            sent = [c.notify(p) for c, p in zip(self.channels, self.packets(celsius), strict=True)]
            if all(sent):
                self.told()

    def spoil(self):
        self.spoilt += self.channels[0].notify(b"\x01")


class Bell(Connected):
    """A described device that notifies, with a counter."""

    layout = "bell"
    keys = ("tip",)

    def build(self):
        self.channels = [self.device.gatt.add_service("fff0").add_characteristic("fff1", flags=self.flags)]

    def packets(self, celsius):
        yield struct.pack(">Hh", self.count % 65536, *self.hundredths(celsius))


class Polled(Connected):
    """A described device that is read; what it measured it shows twice."""

    layout = "polled"
    keys = ("tip",)
    fahrenheit = True
    shown = 0
    measured = 0

    def build(self):
        self.device.gatt.add_service("fff0").add_characteristic("fff2", flags=["read"], value=self.show)

    def notify(self, celsius):
        """It only answers."""

    def show(self):
        """Answer; that it asks a third time proves that the answers before have reached it."""
        self.shown += 1
        if self.shown % 2:
            if self.measured:
                self.told()
            self.measured += 1
            self.payload = struct.pack("<BH", self.measured % 256, *self.hundredths(self.celsius))
        return self.payload

    def spoil(self):
        """It is only ever asked."""


class Tips(Connected):
    """Two Temperature characteristics, told apart by what they call themselves."""

    keys = ("point", "flat[2J")
    flags = ("read", "notify")

    def build(self):
        service = self.device.gatt.add_service("181a")
        self.channels = []
        for at, name in enumerate((b"point", b"\x1b\xe2\x80\xaeflat\x1b[2J")):
            made = service.add_characteristic("2a6e", flags=self.flags, value=lambda at=at: self.read(at))
            made.add_descriptor("2901", name)
            self.channels.append(made)

    def read(self, at):
        """Answer the one read before the subscription: of one channel only."""
        return struct.pack("<h", self.hundredth(self.keys[at], self.celsius[at]))

    def packets(self, celsius):
        return [struct.pack("<h", raw) for raw in self.hundredths(celsius)]


class Thermometer(Connected):
    """A Health Thermometer in degrees Fahrenheit that indicates, with a Battery Level."""

    fahrenheit = True
    flags = ("indicate",)

    def build(self):
        gatt = self.device.gatt
        self.channels = [gatt.add_service("1809").add_characteristic("2a1c", flags=self.flags)]
        gatt.add_service("180f").add_characteristic("2a19", flags=["read"], value=lambda: bytes([self.percent]))

    def packets(self, celsius):
        (raw,) = self.hundredths(celsius)
        yield struct.pack("<Bi", 1, -2 << 24 | raw)
