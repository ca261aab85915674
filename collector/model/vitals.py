"""How a device is heard and how long it will last, as it goes on record."""

import math

import msgspec

__all__ = ["DeviceVitals"]


class DeviceVitals(msgspec.Struct, frozen=True):
    """Signal, battery and packet rate of one source at one moment."""

    source: str
    rssi_dbm: int | None
    battery_percent: float | None
    """None when the device does not tell."""
    packets_per_minute: float

    def rounded(self) -> "DeviceVitals":
        """Give what the disk will give again: tenths; a battery's level that is no number is not known."""
        percent = self.battery_percent
        battery = round(percent, 1) if percent is not None and math.isfinite(percent) else None
        return DeviceVitals(self.source, self.rssi_dbm, battery, round(self.packets_per_minute, 1))
