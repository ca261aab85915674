"""What the payloads of a device that was heard amount to: read by a standard, or candidates for a layout."""

import msgspec

from adapters.ble.advert import Advert
from adapters.ble.advertised import BTHOME, ENVIRONMENTAL, Advertised, is_encrypted
from adapters.ble.options import DeviceOptions, Match
from adapters.ble.survey import Device, Group
from adapters.decode.candidates import Findings, find
from adapters.decode.value import Packet
from adapters.errors import DecodeError, SourceConfigError

__all__ = ["Recognised", "bare_advert", "recognise"]

_NOTHING = Findings(0)
_STANDARD = {BTHOME: "BTHome", **dict.fromkeys(ENVIRONMENTAL, "Environmental Sensing")}


class Recognised(msgspec.Struct, frozen=True):
    """One place of a device and what could be made of it."""

    group: Group
    standard: str = ""
    """The standard it follows; empty when none that we read."""
    packet: Packet | None = None
    """Its last payload, read by that standard."""
    trouble: str = ""
    """Why it cannot be read by the standard it should follow."""
    encrypted: bool = False
    findings: Findings = _NOTHING
    """Where it follows no standard."""


def recognise(device: Device, *, search: bool = True, bind_key: bytes | None = None) -> tuple[Recognised, ...]:
    """Look at every place of a device.

    Args:
        device: as surveyed.
        search: whether to look for candidates where no standard is followed.
        bind_key: of its encrypted BTHome.
    """
    return tuple(_recognise(device, group, search=search, bind_key=bind_key) for group in device.groups)


def bare_advert(device: Device, group: Group | None = None) -> Advert:
    """Make an advertisement of a device with the last payload of one place, or of all."""
    groups = device.groups if group is None else (group,)
    return Advert(
        device.address, device.last_unix, device.rssi_last, device.name, device.random_address,
        {g.place.uuid: g.last for g in groups if g.place.source == "service_data"},
        {g.place.company: g.last for g in groups if g.place.company is not None},
        device.services,
    )  # fmt: skip


def _recognise(device: Device, group: Group, *, search: bool, bind_key: bytes | None) -> Recognised:
    advert = bare_advert(device, group)
    reader = Advertised(DeviceOptions(device.address, Match(), bind_key=bind_key))
    payload = reader.payload(advert)
    trouble = ""
    standard = _STANDARD.get(group.place.uuid, "") if group.place.source == "service_data" else ""
    if payload is not None:
        try:
            return Recognised(group, standard, reader.read(payload, advert), encrypted=is_encrypted(advert))
        except (DecodeError, SourceConfigError) as error:
            trouble = str(error)
    # Many a home-made payload stands under Environmental Sensing: a layout may read it all the same.
    findings = find(group.history) if search and standard != "BTHome" else _NOTHING
    return Recognised(group, standard, None, trouble, is_encrypted(advert), findings)
