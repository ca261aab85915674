"""One advertisement as the radio hands it on."""

import msgspec

__all__ = ["Advert"]


class Advert(msgspec.Struct, frozen=True, gc=False):
    """What one device said of itself, with no connection."""

    address: str
    """Six bytes in hexadecimal with colons; on macOS a UUID."""
    received_unix: float
    """When we heard it, Unix seconds UTC."""
    rssi: int | None
    """Signal strength, dBm. None for a device that is connected already and does not advertise."""
    name: str | None = None
    """As sent: hostile text, never printed as it is."""
    random_address: bool = False
    """Whether the address is random and may change."""
    service_data: dict[str, bytes] = msgspec.field(default_factory=dict)
    """By full UUID, lower case."""
    manufacturer_data: dict[int, bytes] = msgspec.field(default_factory=dict)
    """By company identifier."""
    services: tuple[str, ...] = ()
    """Full UUIDs, lower case."""
    adapter: str = ""
    """Which of our adapters heard it."""
