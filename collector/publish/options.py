"""Which broker is told of the cook, and under which topics; from the config."""

from pathlib import Path

import msgspec

from adapters.mqtt.options import BrokerAddress
from collector.brokers import address_of
from collector.settings.shape import Publish

__all__ = ["PublishOptions", "publish_options"]


class PublishOptions(msgspec.Struct, frozen=True):
    """Which broker, under which topic, how often."""

    broker: BrokerAddress
    base: str
    every_seconds: float = 10.0
    acknowledge: bool = False
    """Listen below the base for what to acknowledge."""


def publish_options(table: Publish, folder: Path) -> PublishOptions:
    """Make the options of a `[publish]` table; files named in it are taken from `folder`.

    Raises:
        OSError: the password cannot be read.
    """
    return PublishOptions(address_of(table, folder), table.base, table.every, table.acknowledge)
