"""Which watch belongs to this machine: BlueZ on Linux, none elsewhere (bleak itself is all there is there)."""

import sys
from typing import TYPE_CHECKING, Any

__all__ = ["BluezWatch", "Known", "advert_fields"]

if TYPE_CHECKING or sys.platform == "linux":
    from adapters.ble.bluez import BluezWatch, Known, advert_fields
else:  # pragma: no cover - not run on the machines this is tested on
    BluezWatch = Known = None

    def advert_fields(platform_data: tuple[Any, ...]) -> None:
        """Know nothing beside the advertisement."""
