"""The shape of the config file: every table, key and value it may hold. Defaults are what most cooks want."""

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from adapters.decode.layout import Layout, Sensor
from collector.model.plan import SHELVE_AT_MOST_SECONDS, Against
from collector.settings.display import Display

__all__ = [
    "AlarmTable",
    "AppriseChannel",
    "Availability",
    "BellChannel",
    "BleSource",
    "Bluetooth",
    "Broker",
    "Chamber",
    "ChannelTable",
    "CommandChannel",
    "Config",
    "Cook",
    "Heartbeat",
    "LadderTable",
    "MeatTable",
    "MqttChannel",
    "MqttSource",
    "PartTable",
    "PersonTable",
    "ProbeTable",
    "Publish",
    "RecordingSource",
    "RehearsalSource",
    "Serve",
    "SourceTable",
    "StepTable",
    "Store",
    "Subscription",
    "WebhookChannel",
    "ZoneTable",
]

Positive = Annotated[float, Meta(gt=0, le=1e6)]
NotNegative = Annotated[float, Meta(ge=0, le=1e6)]
Seed = Annotated[int, Meta(ge=0, le=2**53)]
Port = Annotated[int, Meta(ge=1, le=65535)]
Name = Annotated[str, Meta(min_length=1, max_length=60, extra={"means": "name"})]
File = Annotated[str, Meta(min_length=1, max_length=4096)]
Host = Annotated[str, Meta(min_length=1, max_length=255)]
Temperature = Annotated[str, Meta(extra={"means": "temperature"})]
"""A number and its unit, `"235 F"`. What a text means is checked with the shape, see `collector.settings.meaning`."""
Difference = Annotated[str, Meta(extra={"means": "difference"})]
NotNegativeDifference = Annotated[str, Meta(extra={"means": "difference, not negative"})]
PositiveDifference = Annotated[str, Meta(extra={"means": "difference, positive"})]
TopicFilter = Annotated[str, Meta(extra={"means": "topic filter"})]
Topic = Annotated[str, Meta(extra={"means": "topic"})]
KeyIn = Annotated[str, Meta(extra={"means": "key place"})]
Pointer = Annotated[str, Meta(extra={"means": "JSON Pointer"})]
Address = Annotated[str, Meta(extra={"means": "device address"})]
Uuid = Annotated[str, Meta(extra={"means": "UUID"})]
Hours = Annotated[str, Meta(extra={"means": "hours"})]
TimeOfDay = Annotated[str, Meta(extra={"means": "time of day"})]
Mass = Annotated[str, Meta(extra={"means": "mass"})]
Pair = tuple[float, float]
TemperatureUnit = Literal["C", "F", "K"]
ToleranceClass = Literal[
    "IEC 60751 AA", "IEC 60751 A", "IEC 60751 B", "IEC 60751 C", "IEC 60584-1 K class 1", "IEC 60584-1 K class 2"
]
"""Keys of `collector.model.tolerance.CLASSES`."""


class Chamber(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The cook chamber."""

    name: Name = "pit"
    shape: Literal["cylinder", "box"] = "cylinder"
    length: Positive
    """Along the pit, from the fire end."""
    width: Positive
    """Across, at the grate."""
    unit: Literal["cm", "in"]
    fire_side: Literal["left", "right"] = "left"


class Cook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the grate should hold."""

    target: Temperature
    """A temperature with its unit: `"235 F"`."""
    band: PositiveDifference = "25 F"
    """How far above and below is all right: `"25 F"` is 25 degrees Fahrenheit each way."""


class Store(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The record on disk."""

    path: str = ""
    """Empty: the usual place (`coldside paths`)."""
    commit_seconds: Annotated[float, Meta(gt=0, le=60)] = 1.0
    """What `kill -9` may cost."""
    durable_seconds: Annotated[float, Meta(gt=0, le=600)] = 10.0
    """What a power cut may cost."""
    keep_days: Annotated[float, Meta(ge=0, le=36500)] = 0.0
    """Cooks that ended longer ago are deleted when a new one begins; 0: all are kept."""
    server: Annotated[str, Meta(max_length=1024)] = ""
    """`"postgresql://USER@HOST/DATABASE"`: the record of many pits, to which this one's is brought too."""
    password_file: str = ""
    """Of the user at the server; without it `~/.pgpass` is asked."""


class Serve(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Dashboards and phones on other machines; without this table there is no way in but the unix socket."""

    listen: Annotated[str, Meta(min_length=1, max_length=120)]
    """`0.0.0.0:8765`: the whole house; `127.0.0.1:8765`: this machine."""
    certificate_file: str = ""
    """PEM, with the chain. Must be, for more than this machine."""
    key_file: str = ""
    hosts: Annotated[tuple[Host, ...], Meta(max_length=32)] = ()
    """Names by which it is reached, beside its own address."""
    link: Annotated[str, Meta(max_length=120)] = ""
    """`https://pit.local:8765`: messages to people get a link that begins so and acknowledges; empty: they do not."""


class Broker(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a broker is reached."""

    host: Host
    port: Port | None = None
    version: Literal["3.1.1", "5"] = "5"
    user: str = ""
    password_file: str = ""
    tls: bool = False
    ca_file: str = ""
    certificate_file: str = ""
    key_file: str = ""
    client_id: str = ""


class Publish(Broker, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A broker that is told of the cook."""

    base: Topic = "coldside/pit"
    """Topics are below it."""
    every: Annotated[float, Meta(ge=1, le=3600)] = 10.0
    """Seconds between two publications of what moves; alarms go at once."""
    acknowledge: bool = False
    """Who publishes a key of an alarm or a trouble below `base/acknowledge` acknowledges it."""


class Heartbeat(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An address elsewhere that is called while all is well, and alarms when it no longer is."""

    url_file: File
    """File with the address, which is as good as a password."""
    every: Annotated[float, Meta(ge=10, le=3600)] = 60.0
    """Seconds."""


class Subscription(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One topic filter and how its payloads are read."""

    filter: TopicFilter
    qos: Literal[0, 1] = 1
    payload: Literal["number", "json", "senml", "senml-cbor"] = "number"
    value: Pointer = ""
    """JSON Pointer to the value; empty: the whole document."""
    unit: Literal["C", "F", "K", "ohm", "uV", "mV", "V", "count"] = "C"
    """Of the value; ohms, volts and counts need a `sensor`."""
    sensor: Sensor | None = None
    """What turns an electrical value into a temperature; `cold_from` is a JSON Pointer here."""
    unit_pointer: Pointer = ""
    time_pointer: Pointer = ""
    key: KeyIn = "topic"
    """Where the probe key is: `topic`, `level N` of the topic from 1, or a JSON Pointer."""


class Availability(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A topic on which a bridge's last will says that it is gone."""

    topic: Topic
    online: str = "online"
    offline: str = "offline"
    keys: tuple[str, ...] = ()
    """The probe keys behind this bridge; empty: all of the source."""


class MqttSource(Broker, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="mqtt"):
    """A broker and what to hear there."""

    name: Name
    subscribe: Annotated[tuple[Subscription, ...], Meta(min_length=1)]
    availability: tuple[Availability, ...] = ()
    share: str | None = None
    """Group of collectors among which the broker deals the messages out; none: this one gets all."""


class BleSource(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="ble"):
    """A Bluetooth Low Energy device."""

    name: Name
    address: Address = ""
    """As `coldside scan` shows it. This, or one of the next three; all that is given must hold."""
    device: Annotated[str, Meta(max_length=248)] = ""
    """The name it sends, with `*` and `?` for what varies."""
    service: Uuid = ""
    company: Annotated[int, Meta(ge=0, le=65535)] | None = None
    adapter: Annotated[str, Meta(max_length=60)] = ""
    """`hci0`; empty: the first that is on."""
    layout: str = ""
    """Name of a `[layout.NAME]`; empty: the device follows a standard."""
    read: Literal["auto", "adverts", "connection"] = "auto"
    bind_key_file: str = ""
    """File with the key of encrypted BTHome advertisements, 32 hexadecimal digits."""
    clock: Literal["local", "utc", "ignore"] = "local"
    quiet: Annotated[float, Meta(ge=2, le=86400)] = 60.0
    """Seconds without a word after which the device counts as lost and is connected to anew."""
    notify_by: Literal["signal", "socket"] = "signal"


class Bluetooth(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How adapters are used."""

    slots: Annotated[int, Meta(ge=1, le=64)] = 5
    """Connections one adapter holds at a time."""
    passive: bool = False
    """Scan without asking devices for more: needs BlueZ with its experimental interfaces on."""


class RecordingSource(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="recording"
):
    """A recorded night played again."""

    name: Name
    file: File
    speed: Positive = 1.0
    loop: bool = False


class RehearsalSource(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="rehearsal"
):
    """A simulated pit with the probes of this config."""

    name: Name
    seed: Seed = 1
    speed: Positive = 1.0


SourceTable = MqttSource | BleSource | RecordingSource | RehearsalSource


class ProbeTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One probe in its place."""

    name: Name
    source: Name
    key: str = ""
    """What its source calls it; empty: its name."""
    duty: Literal["chamber", "meat", "ambient"] = "chamber"
    level: str = ""
    x: float | None = None
    """From the fire end, in the chamber's unit."""
    y: float | None = None
    """From the back to the door."""
    tolerance: PositiveDifference | None = None
    """How far off it may be, as a standard deviation; None: what its class says, else 1 K. A calibration's own comes
    before both."""
    tolerance_class: ToleranceClass | None = None
    """Class its maker states."""
    offset: Difference = "0 K"
    """Added to what it says, where it was never calibrated."""
    stale_after: Positive = 120.0
    """Seconds."""
    range: tuple[Temperature, Temperature] = ("-40 C", "400 C")
    target: Temperature | None = None


class PartTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A part of a piece with a probe in it."""

    probe: Name
    wrap: Temperature | None = None
    """In place of the piece's."""
    done: Temperature | None = None


class MeatTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A piece of meat."""

    name: Name
    cut: Literal["brisket", "pork shoulder", "ribs", "other"] = "brisket"
    species: Literal["beef", "pork", "lamb", "poultry"] | None = None
    """Empty: by its cut, where that names a species: brisket and pork shoulder do."""
    mass: Mass | None = None
    """`"13 lb"` or `"6 kg"`."""
    intact: bool | None = None
    """false: injected, bladed, tied open or ground. A probe pierces it, so true changes nothing."""
    part: Annotated[dict[str, PartTable], Meta(min_length=1, max_length=8)]
    """`[meat.part.flat]`, `[meat.part.point]`: what its parts are called, and the probe in each."""
    x: Pair | None = None
    y: Pair | None = None
    """Where it lies on the grate, in the chamber's unit."""
    wrap: Temperature | None = None
    done: Temperature | None = None
    hold: Temperature = "135 F"
    """No colder than this while it is held hot."""
    rest: Annotated[float, Meta(ge=0, le=1440)] = 60.0
    """Minutes from done until it is served, at least."""
    serve: TimeOfDay = ""
    """`"13:00"`, local time."""
    cooling: Literal["food-code", "appendix-b"] = "food-code"
    """Whose limits it is cooled by: the FDA Food Code's two stages, or those of USDA FSIS Appendix B."""


class ZoneTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A named rectangle of a level."""

    name: Name
    level: Name = "grate"
    x: Pair
    y: Pair


class AlarmTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What differs from an alarm's defaults."""

    enabled: bool | None = None
    priority: Annotated[int, Meta(ge=1, le=3)] | None = None
    limit: NotNegativeDifference | None = None
    deadband: NotNegativeDifference | None = None
    percent: Annotated[float, Meta(ge=0, le=100)] | None = None
    """The limit of an alarm that is judged in percent."""
    minutes: Positive | None = None
    """The limit of an alarm that is judged by time."""
    against: Against | None = None
    """What a cold spot is cold against."""
    on_delay: NotNegative | None = None
    off_delay: NotNegative | None = None
    latch: bool | None = None
    """Stays, when its condition is over, until it is reset."""
    shelve_at_most: Annotated[float, Meta(ge=0, le=SHELVE_AT_MOST_SECONDS / 60.0)] | None = None
    """Minutes; 0: it may not be shelved."""


class WebhookChannel(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="webhook"
):
    """An address that takes a JSON document."""

    name: Name
    url_file: File
    """File with the address, which is as good as a password."""
    picture: Literal["none", "base64", "multipart"] = "none"
    """The map, as PNG: in a field of the document, or a part beside it."""


class CommandChannel(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="command"
):
    """A program on this machine that is given the document on its standard input."""

    name: Name
    command: Annotated[tuple[Annotated[str, Meta(max_length=4096)], ...], Meta(min_length=1, max_length=64)]
    """Program and arguments; no shell reads them."""
    seconds: Annotated[float, Meta(gt=0, le=120)] = 10.0
    """As long as it may take."""


class MqttChannel(Broker, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="mqtt"):
    """A topic that holds the newest message."""

    name: Name
    topic: Topic


class AppriseChannel(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="apprise"
):
    """Any service that the library Apprise knows; needs the extra `notify`."""

    name: Name
    url_file: File
    """File with one address of Apprise a line, which are as good as passwords."""
    picture: bool = True
    """Send the map with it."""


class BellChannel(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="bell"):
    """The bell of the terminal in which the collector runs."""

    name: Name


ChannelTable = WebhookChannel | CommandChannel | MqttChannel | AppriseChannel | BellChannel


class PersonTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Somebody who is told of troubles."""

    name: Name
    channels: Annotated[tuple[Name, ...], Meta(min_length=1, max_length=16)]
    """By each of them, every time."""
    quiet: Hours = ""
    """`"22:30-06:00"`, local time: what is not urgent waits until they are over."""


class StepTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One rung of a ladder."""

    after: Annotated[float, Meta(ge=0, le=1440)]
    """Minutes since the trouble stood."""
    tell: tuple[Name, ...]


class LadderTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who is told of troubles of some priorities, and when again."""

    priorities: Annotated[tuple[Literal["urgent", "check", "note"], ...], Meta(min_length=1)]
    steps: Annotated[tuple[StepTable, ...], Meta(min_length=1, max_length=32)]
    repeat: Annotated[float, Meta(ge=1, le=1440)] = 10.0
    """Minutes: the last step comes again, and again, until somebody acknowledges."""


class Config(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The whole file."""

    chamber: Chamber
    cook: Cook
    display: Display = msgspec.field(default_factory=Display)
    store: Store = msgspec.field(default_factory=Store)
    serve: Serve | None = None
    publish: Publish | None = None
    heartbeat: Heartbeat | None = None
    bluetooth: Bluetooth = msgspec.field(default_factory=Bluetooth)
    layout: dict[str, Layout] = msgspec.field(default_factory=dict)
    """How devices that follow no standard send their temperatures."""
    source: Annotated[tuple[SourceTable, ...], Meta(min_length=1)]
    probe: Annotated[tuple[ProbeTable, ...], Meta(min_length=1)]
    zone: tuple[ZoneTable, ...] = ()
    meat: Annotated[tuple[MeatTable, ...], Meta(max_length=16)] = ()
    alarm: dict[str, AlarmTable] = msgspec.field(default_factory=dict)
    channel: tuple[ChannelTable, ...] = ()
    person: tuple[PersonTable, ...] = ()
    ladder: tuple[LadderTable, ...] = ()
