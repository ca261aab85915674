"""What must hold within and between the sources of a config: names, files, credentials, topics."""

import os
import stat
from collections.abc import Sequence
from pathlib import Path

from adapters.mqtt.filters import covers, overlaps
from collector.settings.check import Mistake, Where
from collector.settings.shape import MqttSource, RecordingSource, RehearsalSource

__all__ = ["check_sources", "secret_file"]

_SECRETS = ("password_file", "key_file")


def check_sources(
    sources: Sequence[MqttSource | RecordingSource | RehearsalSource],
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
            _check_broker(source, where, folder, found, warnings)
            _check_topics(source, where, found)
        elif isinstance(source, RecordingSource):
            why = _unreadable(folder / source.file)
            if why:
                found.append(((*where, "file"), f"{source.file!r} {why}"))


def secret_file(folder: Path, name: str) -> Path:
    """Find a file with a secret: among the credentials the service manager hands over, else beside the config."""
    credentials = os.environ.get("CREDENTIALS_DIRECTORY")
    if credentials and (Path(credentials) / name).exists():
        return Path(credentials) / name
    return folder / name


def _unreadable(file: Path) -> str:
    """Say why a file cannot be read; empty when it can."""
    try:
        kind = file.stat().st_mode
    except (FileNotFoundError, ValueError):
        return "is not there"
    except OSError as error:
        return f"cannot be read: {error.strerror}"
    if not stat.S_ISREG(kind):
        return "is not a regular file"
    return "" if os.access(file, os.R_OK) else "cannot be read"


def _check_broker(source: MqttSource, where: Where, folder: Path, found: list[Mistake], warnings: list[str]) -> None:
    if source.password_file and not source.user:
        found.append(((*where, "user"), "is missing: a password goes with a user"))
    if bool(source.certificate_file) != bool(source.key_file):
        found.append(((*where, "certificate_file"), "certificate_file and key_file go together"))
    for key in ("password_file", "ca_file", "certificate_file", "key_file"):
        name = getattr(source, key)
        if not name:
            continue
        file = secret_file(folder, name) if key == "password_file" else folder / name
        why = _unreadable(file)
        if why:
            found.append(((*where, key), f"{name!r} {why}"))
        elif key in _SECRETS and file.stat().st_mode & 0o077:
            warnings.append(f"{file}: others on this machine can read this secret; chmod 600 it")
    if source.user and not source.tls and source.host not in ("localhost", "127.0.0.1", "::1"):
        warnings.append(f"source {source.name}: the password goes over the network in clear; set tls = true")


def _check_topics(source: MqttSource, where: Where, found: list[Mistake]) -> None:
    """Check that no topic is heard by two subscriptions unless one covers the other."""
    for k, table in enumerate(source.subscribe):
        here = (*where, "subscribe", k)
        if table.key.startswith("/") and table.payload != "json":
            found.append(((*here, "key"), f'{table.key!r} points into JSON, but payload is "{table.payload}"'))
        for earlier, other in enumerate(source.subscribe[:k]):
            a, b = table.filter, other.filter
            if overlaps(a, b) and not covers(a, b) and not covers(b, a):
                what = (
                    f"{a!r} and {b!r} of subscribe {earlier + 1} share topics, so the broker may send a message "
                    "twice; write one filter that covers both"
                )
                found.append(((*here, "filter"), what))
