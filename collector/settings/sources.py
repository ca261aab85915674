"""What must hold within and between the sources of a config: names, files, credentials, topics."""

from collections.abc import Sequence
from pathlib import Path

from adapters.decode.mqtt_payload import PayloadReader
from adapters.errors import SourceConfigError
from adapters.mqtt.filters import covers, overlaps
from adapters.mqtt.sharing import check_share
from adapters.reading import Unit
from collector.settings.check import Mistake, Where
from collector.settings.secret import file_trouble, secret_trouble
from collector.settings.shape import MqttChannel, MqttSource, Publish, RecordingSource, SourceTable, Subscription

__all__ = ["check_broker", "check_sources", "reader_of"]

_UNITS = {"C": Unit.CELSIUS, "F": Unit.FAHRENHEIT, "K": Unit.KELVIN}

_SECRETS = ("password_file", "key_file")


def check_sources(
    sources: Sequence[SourceTable],
    folder: Path,
    found: list[Mistake],
    warnings: list[str],
) -> None:
    """Add to `found` what does not hold together, to `warnings` what is unwise.

    Args:
        sources: the source tables, each of the right shape.
        folder: where files named in them are taken from.
        found: gets the mistakes.
        warnings: gets a sentence each.
    """
    seen: dict[str, int] = {}
    for i, source in enumerate(sources):
        where: Where = ("source", i)
        if source.name in seen:
            found.append(((*where, "name"), f"source {seen[source.name] + 1} has this name too"))
        seen.setdefault(source.name, i)
        if isinstance(source, MqttSource):
            check_broker(source, f"source {source.name}", where, folder, found, warnings)
            _check_topics(source, where, found)
            _check_share(source, where, found, warnings)
        elif isinstance(source, RecordingSource):
            why = file_trouble(folder / source.file)
            if why:
                found.append(((*where, "file"), f"{source.file!r} {why}"))


def check_broker(
    source: MqttSource | Publish | MqttChannel,
    name: str,
    where: Where,
    folder: Path,
    found: list[Mistake],
    warnings: list[str],
) -> None:
    """Check how a broker is reached; `name` is what a warning calls it."""
    if source.password_file and not source.user:
        found.append(((*where, "user"), "is missing: a password goes with a user"))
    if bool(source.certificate_file) != bool(source.key_file):
        found.append(((*where, "certificate_file"), "certificate_file and key_file go together"))
    for key in ("password_file", "ca_file", "certificate_file", "key_file"):
        file = getattr(source, key)
        if not file:
            continue
        secret = key in _SECRETS
        why = secret_trouble(folder, file) if secret else file_trouble(folder / file)
        if why:
            found.append(((*where, key), f"{file!r} {why}"))
    if source.user and not source.tls and source.host not in ("localhost", "127.0.0.1", "::1"):
        warnings.append(f"{name}: the password goes over the network in clear; set tls = true")


def reader_of(table: Subscription) -> PayloadReader:
    """Make what reads the payloads of a subscription.

    Raises:
        SourceConfigError: it is described in a way that cannot work.
    """
    temperature = _UNITS.get(table.unit)
    return PayloadReader(
        table.payload, value=table.value, unit=temperature or Unit.CELSIUS, unit_pointer=table.unit_pointer,
        time_pointer=table.time_pointer, key=table.key, sensor=table.sensor,
        electrical="" if temperature else table.unit,
    )  # fmt: skip


def _check_share(source: MqttSource, where: Where, found: list[Mistake], warnings: list[str]) -> None:
    if source.share is None:
        return
    try:
        check_share(source.share)
    except SourceConfigError as error:
        found.append(((*where, "share"), str(error)))
    if source.version != "5":
        found.append(((*where, "share"), 'is of MQTT 5: take version = "3.1.1" away'))
    warnings.append(
        f"source {source.name}: every member of the group {source.share!r} gets a part of each probe's readings, this "
        "collector too; two collectors that are each to see all of a pit do not share"
    )
    if any(table.qos == 0 for table in source.subscribe):
        warnings.append(f"source {source.name}: at qos = 0 what a member that dies was sent is lost; set qos = 1")


def _check_topics(source: MqttSource, where: Where, found: list[Mistake]) -> None:
    """Check that no topic is heard by two subscriptions unless one covers the other."""
    for k, table in enumerate(source.subscribe):
        here = (*where, "subscribe", k)
        if table.key.startswith("/") and table.payload != "json":
            found.append(((*here, "key"), f'{table.key!r} points into JSON, but payload is "{table.payload}"'))
        else:
            try:
                reader_of(table)
            except SourceConfigError as error:
                found.append(((*here, "sensor" if table.sensor is not None else "unit"), str(error)))
        for earlier, other in enumerate(source.subscribe[:k]):
            a, b = table.filter, other.filter
            if overlaps(a, b) and not covers(a, b) and not covers(b, a):
                what = (
                    f"{a!r} and {b!r} of subscribe {earlier + 1} share topics, so the broker may send a message "
                    "twice; write one filter that covers both"
                )
                found.append(((*here, "filter"), what))
