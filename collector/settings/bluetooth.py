"""What must hold within and between Bluetooth sources, layouts and the probes they carry."""

import importlib.util
from pathlib import Path

from adapters.decode.described import Described
from adapters.decode.gatt import full_uuid
from adapters.errors import SourceConfigError
from collector.settings.check import Mistake, Where
from collector.settings.secret import read_secret, secret_trouble
from collector.settings.shape import BleSource, Config

__all__ = ["bind_key", "check_bluetooth", "described_layouts", "passive_patterns"]

SERVICE_DATA_16, SERVICE_DATA_128, MANUFACTURER_DATA = 0x16, 0x21, 0xFF
"""Advertisement data types (Bluetooth SIG assigned numbers, section 2.3; from memory)."""


def described_layouts(config: Config, found: list[Mistake]) -> dict[str, Described]:
    """Compile the layouts of a config; add to `found` why one cannot be."""
    compiled = {}
    for name, layout in config.layout.items():
        try:
            compiled[name] = Described(name, layout)
        except SourceConfigError as error:
            found.append((("layout", name), str(error)))
    return compiled


def check_bluetooth(config: Config, folder: Path, found: list[Mistake], warnings: list[str]) -> None:
    """Add to `found` what does not hold together, to `warnings` what is unwise.

    Args:
        config: of the right shape.
        folder: where files named in it are taken from.
        found: gets the mistakes.
        warnings: gets a sentence each.
    """
    layouts = described_layouts(config, found)
    mine = [(i, source) for i, source in enumerate(config.source) if isinstance(source, BleSource)]
    for i, source in mine:
        _check_device(source, ("source", i), folder, config, found)
        described = layouts.get(source.layout)
        if described is not None and not described.channels:
            found.append((("layout", source.layout), "holds no temperature; add a [[layout.NAME.value]] that is one"))
        elif described is not None:
            _check_keys(config, source, described, found)
    named = {bool(source.adapter) for _, source in mine}
    if len(named) > 1:
        i = next(i for i, source in mine if not source.adapter)
        what = "is missing: where one Bluetooth source names its adapter, all must, or two scans meet on one adapter"
        found.append((("source", i, "adapter"), what))
    if config.bluetooth.passive:
        for i, source in mine:
            if source.layout not in layouts and source.layout:
                continue
            if not passive_patterns(source, layouts.get(source.layout)):
                what = (
                    'a passive scan needs to know what to wait for: set read = "adverts", or a layout of advertisements'
                )
                found.append((("source", i, "read"), what))
    used = {source.layout for _, source in mine}
    warnings += [f"layout {name} is used by no source" for name in config.layout if name not in used]


def _check_device(source: BleSource, where: Where, folder: Path, config: Config, found: list[Mistake]) -> None:
    if not (source.address or source.device or source.service or source.company is not None):
        found.append(
            ((*where, "address"), "is missing; `coldside scan` shows it (or match by device, service, company)")
        )
    if source.layout and source.layout not in config.layout:
        there = ", ".join(config.layout) or "none"
        found.append(((*where, "layout"), f"there is no [layout.{source.layout}]; there is {there}"))
    if source.layout and source.read != "auto":
        found.append(((*where, "read"), "the layout says how it is read; leave one of the two out"))
    if source.bind_key_file:
        _check_bind_key(source, where, folder, found)


def _check_bind_key(source: BleSource, where: Where, folder: Path, found: list[Mistake]) -> None:
    here = (*where, "bind_key_file")
    if source.layout:
        found.append((here, "goes with BTHome advertisements, not with a layout"))
    why = secret_trouble(folder, source.bind_key_file)
    if why:
        found.append((here, f"{source.bind_key_file!r} {why}"))
        return
    try:
        bind_key(source, folder)
    except (SourceConfigError, UnicodeDecodeError) as error:
        found.append((here, str(error)))
    if importlib.util.find_spec("cryptography") is None:
        found.append((here, "needs the package cryptography: install coldside[ble-encrypted]"))


def bind_key(source: BleSource, folder: Path) -> bytes | None:
    """Read the key of encrypted advertisements; None when there is none.

    Raises:
        SourceConfigError: the file holds no key.
        OSError: it cannot be read.
    """
    text = read_secret(folder, source.bind_key_file)
    if text is None:
        return None
    try:
        key = bytes.fromhex(text.strip())
    except ValueError:
        key = b""
    if len(key) != 16:
        raise SourceConfigError(f"{source.bind_key_file!r} holds no bind key; a key is 32 hexadecimal digits")
    return key


def _check_keys(config: Config, source: BleSource, described: Described, found: list[Mistake]) -> None:
    """See that every probe of a described device names one of its channels."""
    for i, probe in enumerate(config.probe):
        if probe.source != source.name:
            continue
        key = probe.key or probe.name
        if key not in described.channels and not (not probe.key and len(described.channels) == 1):
            there = ", ".join(described.channels)
            found.append((("probe", i, "key"), f"layout {source.layout} has no channel {key!r}; there is {there}"))


def passive_patterns(source: BleSource, described: Described | None) -> tuple[tuple[int, bytes], ...]:
    """Tell what a passive scan should wait for, as data type and first bytes; empty when it cannot be known."""
    if described is not None:
        if described.layout.source == "manufacturer_data" and described.company is not None:
            return ((MANUFACTURER_DATA, described.company.to_bytes(2, "little")),)
        if described.layout.source == "service_data":
            return (_service_data(described.uuid),)
        return ()
    if source.read != "adverts":
        return ()
    return tuple(_service_data(full_uuid(text)) for text in ("fcd2", "181a", "2a6e"))


def _service_data(uuid: str) -> tuple[int, bytes]:
    if uuid.endswith("-0000-1000-8000-00805f9b34fb") and uuid.startswith("0000"):
        return SERVICE_DATA_16, bytes.fromhex(uuid[4:8])[::-1]
    return SERVICE_DATA_128, bytes.fromhex(uuid.replace("-", ""))[::-1]
