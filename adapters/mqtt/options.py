"""What a broker source is told: where the broker is, which topics, how their payloads are read."""

from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from adapters.decode.mqtt_payload import PayloadReader

__all__ = ["Availability", "BrokerAddress", "BrokerOptions", "Subscription", "Tls"]


class Tls(msgspec.Struct, frozen=True):
    """How to trust the broker and be trusted by it."""

    ca_file: Path | None = None
    """Certificates to trust; None for those of the system."""
    certificate_file: Path | None = None
    """Our own certificate, with `key_file`, where the broker asks for one."""
    key_file: Path | None = None


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """How a broker is reached by whoever only tells it something."""

    host: str
    port: int = 1883
    version_5: bool = True
    """MQTT 5 rather than 3.1.1."""
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: Tls | None = None
    client_id: str = ""
    """Empty: the broker gives one."""


class Subscription(msgspec.Struct, frozen=True):
    """One topic filter and how its payloads are read."""

    filter: str
    qos: int
    reader: PayloadReader


class Availability(msgspec.Struct, frozen=True):
    """A topic on which a bridge's last will says that its probes are gone."""

    topic: str
    online: bytes = b"online"
    offline: bytes = b"offline"
    keys: tuple[str, ...] = ()
    """The probes behind this bridge; empty: all of the source."""


@dataclass(frozen=True, slots=True)
class BrokerOptions:
    """One broker and what to hear there."""

    name: str
    host: str
    subscriptions: tuple[Subscription, ...]
    port: int = 1883
    version_5: bool = True
    """MQTT 5 rather than 3.1.1."""
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: Tls | None = None
    client_id: str = ""
    """Fixed, so that the broker keeps our session while we are away. Empty: made of host name and source name."""
    availability: tuple[Availability, ...] = ()
    keepalive_seconds: int = 30
    session_expiry_seconds: int = 86_400
    """How long the broker keeps what we have not acknowledged while we are away (MQTT 5)."""
    share: str = ""
    """Group among whose members the broker deals the messages out (MQTT 5); empty: we get all."""
