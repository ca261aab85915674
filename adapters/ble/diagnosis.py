"""Whether Bluetooth can be used on this machine now, and if not, why and what to do about it."""

import msgspec

from adapters.ble.mend import MENDS
from adapters.ble.platform import BluezWatch
from adapters.errors import LinkError, LinkReason

__all__ = ["Diagnosis", "diagnose"]


class Diagnosis(msgspec.Struct, frozen=True):
    """How one adapter stands."""

    adapter: str
    """Its name; empty when none was asked for and none found."""
    reason: LinkReason | None = None
    """Why it cannot be used. None when it can."""
    detail: str = ""
    mend: str = ""
    """What to do about it."""
    told: bool = True
    """Whether this system can tell at all before a scan is tried."""


async def diagnose(adapter: str = "") -> Diagnosis:
    """Look at an adapter, or at the one that would be used; never raises for what it finds."""
    if BluezWatch is None:
        return Diagnosis(adapter, told=False)
    try:
        watch = await BluezWatch.open()
    except LinkError as error:
        return _trouble(adapter, error)
    try:
        return Diagnosis(await watch.adapter(adapter))
    except LinkError as error:
        return _trouble(adapter, error)
    finally:
        await watch.close()


def _trouble(adapter: str, error: LinkError) -> Diagnosis:
    return Diagnosis(adapter, error.reason, error.detail, MENDS.get(error.reason, ""))
