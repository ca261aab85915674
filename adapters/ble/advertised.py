"""Which part of an advertisement holds a device's temperatures, and how it is read."""

from adapters.ble.advert import Advert
from adapters.ble.options import DeviceOptions
from adapters.decode import bthome, gatt
from adapters.decode.value import Packet
from adapters.errors import DecodeError

__all__ = ["BTHOME", "ENVIRONMENTAL", "Advertised", "is_encrypted"]

BTHOME = gatt.uuid16(0xFCD2)
ENVIRONMENTAL = (gatt.uuid16(0x181A), gatt.uuid16(0x2A6E))


class Advertised:
    """Reads the advertisements of one device by its layout, or by the standards where it has none."""

    def __init__(self, options: DeviceOptions) -> None:
        self._described = options.described
        self._bind_key = options.bind_key

    def payload(self, advert: Advert) -> bytes | None:
        """Find the bytes that should hold the temperatures; None when this advertisement has none such."""
        described = self._described
        if described is None:
            data = advert.service_data
            found = data.get(BTHOME)
            if found is None and data and self._bind_key is None:  # with a key only what it seals is believed
                found = next((data[uuid] for uuid in ENVIRONMENTAL if uuid in data), None)
            return found
        if described.layout.source == "service_data":
            return advert.service_data.get(described.uuid)
        if described.layout.source == "manufacturer_data" and described.company is not None:
            return advert.manufacturer_data.get(described.company)
        return None

    def fits(self, payload: bytes) -> bool:
        """Tell whether a payload is of the length and type the layout describes; without a layout any is."""
        return self._described is None or self._described.fits(payload)

    def encrypted(self, advert: Advert) -> bool:
        """Tell whether the payload is encrypted, so that its counter must rise."""
        return self._described is None and is_encrypted(advert)

    def read(self, payload: bytes, advert: Advert) -> Packet:
        """Read the payload of an advertisement.

        Raises:
            DecodeError: it is not what it should be.
        """
        if self._described is not None:
            return self._described.read(payload)
        if BTHOME in advert.service_data:
            return bthome.read(payload, mac=_mac(advert.address), bind_key=self._bind_key)
        uuid = next((uuid for uuid in ENVIRONMENTAL if uuid in advert.service_data), "")
        return gatt.read_environmental(uuid, payload, "temperature")


def is_encrypted(advert: Advert) -> bool:
    """Tell whether an advertisement is encrypted BTHome."""
    payload = advert.service_data.get(BTHOME)
    return payload is not None and bool(payload[:1]) and bool(payload[0] & 1)


def _mac(address: str) -> bytes | None:
    """Give the six bytes of an address; None where the system shows a UUID instead."""
    try:
        mac = bytes.fromhex(address.replace(":", ""))
    except ValueError as error:
        if address.count("-") == 4:
            return None
        raise DecodeError(f"{address!r} is no address") from error
    return mac if len(mac) == 6 else None
