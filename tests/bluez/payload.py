"""One advert as it is in the air, and its AD structures (Core Specification Supplement, part A)."""

import uuid as uuids
from dataclasses import dataclass

__all__ = ["Payload"]

FLAGS, NAME, TX_POWER, COMPANY = 0x01, 0x09, 0x0A, 0xFF
UUIDS_16, UUIDS_128, DATA_16, DATA_128 = 0x03, 0x07, 0x16, 0x21
BASE_TAIL = "-0000-1000-8000-00805f9b34fb"


@dataclass(frozen=True, slots=True)
class Payload:
    """What one advert says; UUIDs are full and lower-case, `rssi` is in dBm."""

    rssi: int
    service_data: dict[str, bytes]
    manufacturer_data: dict[int, bytes]
    uuids: tuple[str, ...]
    name: str | None
    tx_power: int | None

    def structures(self) -> list[tuple[int, bytes]]:
        """Give type and content of each AD structure."""
        found = [(FLAGS, b"\x06")]
        for full in self.uuids:
            number = _bytes_of(full)
            found.append((UUIDS_16 if len(number) == 2 else UUIDS_128, number))
        for full, data in self.service_data.items():
            number = _bytes_of(full)
            found.append((DATA_16 if len(number) == 2 else DATA_128, number + data))
        found += [(COMPANY, company.to_bytes(2, "little") + data) for company, data in self.manufacturer_data.items()]
        if self.name is not None:
            found.append((NAME, self.name.encode()))
        if self.tx_power is not None:
            found.append((TX_POWER, self.tx_power.to_bytes(1, "little", signed=True)))
        return found


def _bytes_of(full: str) -> bytes:
    if full.startswith("0000") and full.endswith(BASE_TAIL):
        return int(full[4:8], 16).to_bytes(2, "little")
    return uuids.UUID(full).bytes[::-1]
