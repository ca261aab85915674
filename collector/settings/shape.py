"""The shape of the config file: every table, key and value it may hold. Defaults are what most cooks want."""

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

__all__ = [
    "AlarmTable",
    "Availability",
    "Chamber",
    "Config",
    "Cook",
    "Display",
    "MqttSource",
    "ProbeTable",
    "RecordingSource",
    "RehearsalSource",
    "SourceTable",
    "Store",
    "Subscription",
    "ZoneTable",
]

Positive = Annotated[float, Meta(gt=0, le=1e6)]
NotNegative = Annotated[float, Meta(ge=0, le=1e6)]
Seed = Annotated[int, Meta(ge=0, le=2**53)]
Port = Annotated[int, Meta(ge=1, le=65535)]
Name = Annotated[str, Meta(min_length=1, max_length=60)]
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
TemperatureUnit = Literal["C", "F", "K"]


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


class Display(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How things are shown; what is stored does not depend on it."""

    unit: Literal["C", "F"] = "F"
    theme: Literal["dark", "light", "high-contrast"] = "dark"
    ascii: bool = False
    mouse: bool = True
    bell: bool = False
    keys: dict[str, str] = msgspec.field(default_factory=dict)


class Store(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The record on disk."""

    path: str = ""
    """Empty: the usual place (`coldside paths`)."""
    commit_seconds: Annotated[float, Meta(gt=0, le=60)] = 1.0
    """What `kill -9` may cost."""
    durable_seconds: Annotated[float, Meta(gt=0, le=600)] = 10.0
    """What a power cut may cost."""


class Subscription(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One topic filter and how its payloads are read."""

    filter: TopicFilter
    qos: Literal[0, 1] = 1
    payload: Literal["number", "json", "senml", "senml-cbor"] = "number"
    value: Pointer = ""
    """JSON Pointer to the value; empty: the whole document."""
    unit: TemperatureUnit = "C"
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


class MqttSource(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind", tag="mqtt"):
    """A broker and what to hear there."""

    name: Name
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
    subscribe: Annotated[tuple[Subscription, ...], Meta(min_length=1)]
    availability: tuple[Availability, ...] = ()


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


SourceTable = MqttSource | RecordingSource | RehearsalSource


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
    tolerance: PositiveDifference = "1 K"
    offset: Difference = "0 K"
    stale_after: Positive = 120.0
    """Seconds."""
    range: tuple[Temperature, Temperature] = ("-40 C", "400 C")
    target: Temperature | None = None


class ZoneTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A named rectangle of a level."""

    name: Name
    level: Name = "grate"
    x: tuple[float, float]
    y: tuple[float, float]


class AlarmTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What differs from an alarm's defaults."""

    enabled: bool | None = None
    priority: Annotated[int, Meta(ge=1, le=3)] | None = None
    limit: NotNegativeDifference | None = None
    deadband: NotNegativeDifference | None = None
    on_delay: NotNegative | None = None
    off_delay: NotNegative | None = None


class Config(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The whole file."""

    chamber: Chamber
    cook: Cook
    display: Display = msgspec.field(default_factory=Display)
    store: Store = msgspec.field(default_factory=Store)
    source: Annotated[tuple[SourceTable, ...], Meta(min_length=1)]
    probe: Annotated[tuple[ProbeTable, ...], Meta(min_length=1)]
    zone: tuple[ZoneTable, ...] = ()
    alarm: dict[str, AlarmTable] = msgspec.field(default_factory=dict)
