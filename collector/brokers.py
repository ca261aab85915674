"""How brokers are reached: from the config's tables, and by a client that tells them something.

Ingest has a session of its own (`adapters.mqtt.session`), which can hold an acknowledgement back.
"""

import logging
from pathlib import Path
from typing import TYPE_CHECKING, Any

from adapters.mqtt.options import BrokerAddress, Tls
from collector.settings.secret import read_secret, secret_file
from collector.settings.shape import Broker

if TYPE_CHECKING:
    import aiomqtt

__all__ = ["address_of", "client_of"]

PLAIN_PORT, TLS_PORT = 1883, 8883


def address_of(table: Broker, folder: Path) -> BrokerAddress:
    """Make of a table how its broker is reached; files named in it are taken from `folder`.

    Raises:
        OSError: the password cannot be read.
    """
    ca, own = (folder / name if name else None for name in (table.ca_file, table.certificate_file))
    key = secret_file(folder, table.key_file) if table.key_file else None
    return BrokerAddress(
        table.host, table.port or (TLS_PORT if table.tls else PLAIN_PORT), table.version == "5", table.user or None,
        read_secret(folder, table.password_file), Tls(ca, own, key) if table.tls else None, table.client_id,
    )  # fmt: skip


def client_of(address: BrokerAddress, log_name: str, timeout_seconds: float, **more: Any) -> "aiomqtt.Client":
    """Make a client, not connected yet; aiomqtt is imported with the first.

    Args:
        address: how the broker is reached.
        log_name: of the log that the library writes to.
        timeout_seconds: of each exchange with the broker.
        **more: as `aiomqtt.Client` takes it.

    Raises:
        LinkError: a certificate file cannot be used.
    """
    import aiomqtt

    from adapters.mqtt.session import tls_context

    return aiomqtt.Client(
        address.host, address.port, username=address.user, password=address.password,
        identifier=address.client_id or None,
        protocol=aiomqtt.ProtocolVersion.V5 if address.version_5 else aiomqtt.ProtocolVersion.V311,
        tls_context=None if address.tls is None else tls_context(address.tls), timeout=timeout_seconds,
        logger=logging.getLogger(log_name), **more,
    )  # fmt: skip
