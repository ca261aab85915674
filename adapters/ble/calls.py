"""The calls to a connected device, each with a time-out and with its errors in this package's words."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.exc import BleakCharacteristicNotFoundError, BleakDBusError, BleakError, BleakGATTProtocolError

from adapters.errors import LinkError, LinkReason

__all__ = ["BROKEN", "Calls", "words"]

BROKEN = (BleakError, OSError, EOFError, AssertionError)
"""What bleak and its bus may raise; a time-out is an OSError."""

_REFUSALS = {"NotPermitted", "NotAuthorized", "NotSupported", "InProgress", "InvalidArguments", "InvalidValueLength"}
"""Errors of BlueZ that concern the one call and leave the link as it is."""


class Calls:
    """A client whose every call ends within `seconds`.

    Every method raises `LinkError` when the device refuses, is gone, or does not answer.
    """

    def __init__(self, client: BleakClient, seconds: float) -> None:
        self.client = client
        self._seconds = seconds

    async def read(self, characteristic: BleakGATTCharacteristic) -> bytes:
        """Read a characteristic."""
        async with self._bounded(f"reading {characteristic.uuid}"):
            return bytes(await self.client.read_gatt_char(characteristic))

    async def read_descriptor(self, descriptor: BleakGATTDescriptor) -> bytes:
        """Read a descriptor."""
        async with self._bounded(f"reading {descriptor.uuid}"):
            return bytes(await self.client.read_gatt_descriptor(descriptor))

    async def write(self, uuid: str, payload: bytes) -> None:
        """Write a characteristic, with a response where it gives one."""
        async with self._bounded(f"writing {uuid}"):
            await self.client.write_gatt_char(uuid, payload)

    async def subscribe(
        self,
        characteristic: BleakGATTCharacteristic,
        hear: Callable[[BleakGATTCharacteristic, bytearray], None],
        *,
        acquire: bool = False,
    ) -> None:
        """Have notifications or indications sent."""
        async with self._bounded(f"subscribing to {characteristic.uuid}"):
            await self.client.start_notify(characteristic, hear, bluez={"use_start_notify": not acquire})

    @contextlib.asynccontextmanager
    async def _bounded(self, doing: str) -> AsyncIterator[None]:
        try:
            async with asyncio.timeout(self._seconds):
                yield
        except TimeoutError as error:
            raise LinkError(LinkReason.LOST, f"{doing}: no answer in {self._seconds:g} s") from error
        except BleakCharacteristicNotFoundError as error:
            raise LinkError(LinkReason.NO_TEMPERATURE, f"{doing}: the device has no such characteristic") from error
        except BleakGATTProtocolError as error:
            raise LinkError(LinkReason.DEVICE_REFUSED, f"{doing}: {words(error)}") from error
        except BleakDBusError as error:
            refused = error.dbus_error.rpartition(".")[2] in _REFUSALS
            reason = LinkReason.DEVICE_REFUSED if refused else LinkReason.LOST
            raise LinkError(reason, f"{doing}: {words(error)}") from error
        except BROKEN as error:
            raise LinkError(LinkReason.LOST, f"{doing}: {words(error)}") from error


def words(error: BaseException) -> str:
    """Say an error of the radio in one line."""
    if isinstance(error, BleakDBusError):
        return f"{error.dbus_error.rpartition('.')[2]} {error.dbus_error_details or ''}".strip()
    return str(error) or type(error).__name__
