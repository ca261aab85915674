"""Which broker is told of the cook, and under which topics; from the config."""

from dataclasses import dataclass
from pathlib import Path

from adapters.mqtt.options import Tls
from collector.settings.secret import read_secret, secret_file
from collector.settings.shape import Publish

__all__ = ["PublishOptions", "publish_options"]


@dataclass(frozen=True, slots=True)
class PublishOptions:
    """Which broker, under which topic, how often."""

    host: str
    port: int
    base: str
    every_seconds: float = 10.0
    version_5: bool = True
    user: str | None = None
    password: str | None = None
    tls: Tls | None = None
    client_id: str = ""
    acknowledge: bool = False
    """Listen below the base for what to acknowledge."""


def publish_options(table: Publish, folder: Path) -> PublishOptions:
    """Make the options of a `[publish]` table; files named in it are taken from `folder`.

    Raises:
        OSError: the password cannot be read.
    """

    def file(name: str) -> Path | None:
        return folder / name if name else None

    key_file = secret_file(folder, table.key_file) if table.key_file else None
    tls = Tls(file(table.ca_file), file(table.certificate_file), key_file) if table.tls else None
    return PublishOptions(
        table.host, table.port or (8883 if table.tls else 1883), table.base, table.every, table.version == "5",
        table.user or None, read_secret(folder, table.password_file), tls, table.client_id, table.acknowledge,
    )  # fmt: skip
